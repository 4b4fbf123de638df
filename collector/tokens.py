"""Tokens with which devices push readings: made once, shown once, kept as hashes alone."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.stores.sqlite_file import SqliteFile

MARK = "gvd_"
"""What every token begins with, so that one left in a file or a log is recognised."""

_RANDOM_BYTES = 32


class NameTaken(Exception):
    """A device of this name has a token that still counts."""


@dataclass(frozen=True, slots=True)
class DeviceToken:
    """What is known of a token; not the token. `sensor` None: it may speak for every sensor.

    Instants are milliseconds since the epoch, UTC.
    """

    name: str
    sensor: str | None
    made_ms: int
    revoked_ms: int | None


class DeviceTokens:
    """The tokens ever made. Other processes see a change at once: nothing is remembered here."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    def make(self, name: str, *, sensor: str | None, at_ms: int) -> str:
        """Make a token and return it. It can't be had again. Raises NameTaken."""
        token = MARK + secrets.token_urlsafe(_RANDOM_BYTES)
        with self._file.writing() as db:
            taken = "SELECT 1 FROM device_token WHERE name = ? AND revoked_ms IS NULL"
            if db.execute(taken, (name,)).fetchone() is not None:
                msg = f'"{name}" has a token already'
                raise NameTaken(msg)
            db.execute(
                "INSERT INTO device_token (name, hash, sensor, made_ms) VALUES (?, ?, ?, ?)",
                (name, _hash(token), sensor, at_ms),
            )
        return token

    def revoke(self, name: str, *, at_ms: int) -> bool:
        """End the token of a device at once; return whether it had one that counted."""
        change = "UPDATE device_token SET revoked_ms = ? WHERE name = ? AND revoked_ms IS NULL"
        with self._file.writing() as db:
            return db.execute(change, (at_ms, name)).rowcount == 1

    def listed(self) -> Sequence[DeviceToken]:
        """Return every token ever made, in the order of making; those revoked too."""
        query = "SELECT name, sensor, made_ms, revoked_ms FROM device_token ORDER BY id"
        with self._file.reading() as db:
            return [DeviceToken(*row) for row in db.execute(query)]

    def holder(self, given: str) -> DeviceToken | None:
        """Return the token that was given, if it counts; None otherwise.

        Every token is compared, each in constant time, so that how long it takes tells nothing.
        """
        hashed = _hash(given)
        found: DeviceToken | None = None
        query = "SELECT hash, name, sensor, made_ms, revoked_ms FROM device_token"
        with self._file.reading() as db:
            for known, *rest in db.execute(query):
                if hmac.compare_digest(known, hashed):
                    found = DeviceToken(*rest)
        return found if found is not None and found.revoked_ms is None else None


def _hash(token: str) -> str:
    # A token holds 256 random bits: nobody can try them out, so no slow hash is needed.
    return hashlib.sha256(token.encode("utf-8", errors="backslashreplace")).hexdigest()
