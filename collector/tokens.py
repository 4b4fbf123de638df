"""Tokens with which devices push readings: made once, shown once, kept as hashes alone."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

    from collector.stores.sqlite_file import SqliteFile

MARK = "gvd_"
"""What every token begins with, so that one left in a file or a log is recognised."""

_RANDOM_BYTES = 32


class NameTaken(Exception):
    """A device of this name has a token that still counts."""


class NoToken(Exception):
    """A device of this name has no token that counts."""


@dataclass(frozen=True, slots=True)
class DeviceToken:
    """What is known of a token; not the token. `sensor` None: it may speak for every sensor.

    `revoked_ms` is when it ended, or ends: one that was rotated counts on beside its successor
    until then, or until the successor is first used. Instants are ms since the epoch, UTC.
    """

    name: str
    sensor: str | None
    made_ms: int
    revoked_ms: int | None

    def counts(self, at_ms: int) -> bool:
        """Return whether it opens anything at this instant."""
        return self.revoked_ms is None or at_ms < self.revoked_ms


class DeviceTokens:
    """The tokens ever made. Other processes see a change at once: nothing is remembered here."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    def make(self, name: str, *, sensor: str | None, at_ms: int) -> str:
        """Make a token and return it. It can't be had again. Raises NameTaken."""
        with self._file.writing() as db:
            taken = (
                "SELECT 1 FROM device_token "
                "WHERE name = ? AND (revoked_ms IS NULL OR revoked_ms > ?)"
            )
            if db.execute(taken, (name, at_ms)).fetchone() is not None:
                msg = f'"{name}" has a token already'
                raise NameTaken(msg)
            return _insert(db, name, sensor, at_ms)

    def rotate(self, name: str, *, at_ms: int, until_ms: int) -> str:
        """Make the successor of a device's token and return it; it speaks for the same sensor.

        The old one counts until `until_ms`, or until the successor is first used. A successor that
        was never used is replaced, and the token that the device has stays. Raises NoToken.
        """
        with self._file.writing() as db:
            newest = db.execute(
                "SELECT id, sensor FROM device_token WHERE name = ? AND revoked_ms IS NULL", (name,)
            ).fetchone()
            if newest is None:
                msg = f'"{name}" has no token that counts'
                raise NoToken(msg)
            # While an older one still counts, the newest has never been used.
            unused = db.execute(
                "UPDATE device_token SET revoked_ms = ? WHERE name = ? AND revoked_ms > ?",
                (until_ms, name, at_ms),
            ).rowcount
            db.execute(
                "UPDATE device_token SET revoked_ms = ? WHERE id = ?",
                (at_ms if unused else until_ms, newest[0]),
            )
            return _insert(db, name, newest[1], at_ms)

    def revoke(self, name: str, *, at_ms: int) -> bool:
        """End every token of a device at once; return whether it had one that counted."""
        change = (
            "UPDATE device_token SET revoked_ms = ? "
            "WHERE name = ? AND (revoked_ms IS NULL OR revoked_ms > ?)"
        )
        with self._file.writing() as db:
            return db.execute(change, (at_ms, name, at_ms)).rowcount > 0

    def listed(self) -> Sequence[DeviceToken]:
        """Return every token ever made, in the order of making; those revoked too."""
        query = "SELECT name, sensor, made_ms, revoked_ms FROM device_token ORDER BY id"
        with self._file.reading() as db:
            return [DeviceToken(*row) for row in db.execute(query)]

    def holder(self, given: str, *, at_ms: int) -> DeviceToken | None:
        """Return the token that was given, if it counts; None otherwise.

        The first use of a successor ends the token before it: the device has it now. Every token is
        compared, each in constant time, so that how long it takes tells nothing.
        """
        hashed = _hash(given)
        found: DeviceToken | None = None
        known: list[DeviceToken] = []
        query = "SELECT hash, name, sensor, made_ms, revoked_ms FROM device_token"
        with self._file.reading() as db:
            for kept, *rest in db.execute(query):
                one = DeviceToken(*rest)
                known.append(one)
                if hmac.compare_digest(kept, hashed):
                    found = one
        if found is None or not found.counts(at_ms):
            return None
        if found.revoked_ms is None and any(
            one.name == found.name and one.revoked_ms is not None and one.counts(at_ms)
            for one in known
        ):
            self._end_before(found.name, at_ms)
        return found

    def _end_before(self, name: str, at_ms: int) -> None:
        with self._file.writing() as db:
            db.execute(
                "UPDATE device_token SET revoked_ms = ? WHERE name = ? AND revoked_ms > ?",
                (at_ms, name, at_ms),
            )


def _insert(db: sqlite3.Connection, name: str, sensor: str | None, at_ms: int) -> str:
    token = MARK + secrets.token_urlsafe(_RANDOM_BYTES)
    db.execute(
        "INSERT INTO device_token (name, hash, sensor, made_ms) VALUES (?, ?, ?, ?)",
        (name, _hash(token), sensor, at_ms),
    )
    return token


def _hash(token: str) -> str:
    # A token holds 256 random bits: nobody can try them out, so no slow hash is needed.
    return hashlib.sha256(token.encode("utf-8", errors="backslashreplace")).hexdigest()
