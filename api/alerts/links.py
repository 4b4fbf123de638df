"""Signed links by which one person answers one alarm without signing in, and the alarm's code.

A link is good for one person, one opening of one alarm, and a day. The key lies in the data folder,
readable by graftvigil's user alone; whoever had it could answer alarms in anybody's name. Where
the records are in PostgreSQL it lies there, and each node reads links that another one sent.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import secrets
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from api.records.nodes import shared_key
from api.records.session import writing
from api.records.tables import as_ms, instant

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy import Engine

KEY_FILE = "answer-key"
LASTS = timedelta(days=1)
_KEY_BYTES = 32
_SIGNED_BYTES = 18
_OTHERS = 0o077
_BETWEEN = "~"  # in no person's id, and needs no escape in an address
_CODE_LETTERS = 4


class Refusal(StrEnum):
    """Why a link is not taken."""

    TAMPERED = "tampered"
    EXPIRED = "expired"


@dataclass(frozen=True, slots=True)
class Link:
    """Who may answer which opening of which alarm, and until when, UTC.

    `change_id` is the change that raised the alarm: raised anew, it needs a new link.
    """

    alarm_id: int
    change_id: int
    person: str
    until: datetime


@dataclass(frozen=True, slots=True)
class ManyLink:
    """Who may take on which openings, all those that one message listed, and until when, UTC.

    `openings` are pairs of the number of an alarm and of the change that raised it.
    """

    openings: tuple[tuple[int, int], ...]
    person: str
    until: datetime


class KeyReadable(Exception):
    """Others than graftvigil's user can read the key; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Links:
    """Makes and reads links with one key."""

    key: bytes = field(repr=False)

    @classmethod
    def of_this_process(cls) -> Links:
        """Return links that are good until this process ends."""
        return cls(secrets.token_bytes(_KEY_BYTES))

    @classmethod
    def kept_in(cls, folder: Path) -> Links:
        """Return links with the key that a folder holds, which is made on first use.

        Raises KeyReadable if others can read it, ValueError if it is cut short, OSError if it
        cannot be read or made. Nodes over the same records share one key: see `shared_in`.
        """
        path = folder / KEY_FILE
        if not path.exists():
            _make_key(path)
        if path.stat().st_mode & _OTHERS:
            msg = (
                f"{path}: others can read this key, and answer alarms with it. Delete the file; a "
                "new one is made, and links in older messages stop working"
            )
            raise KeyReadable(msg)
        key = path.read_bytes()
        if len(key) != _KEY_BYTES:
            msg = f"{path}: is not a key of {_KEY_BYTES} bytes. Delete the file; a new one is made"
            raise ValueError(msg)
        return cls(key)

    def shared_in(self, records: Engine) -> Links:
        """Return links with the key that all nodes share; ours, if it is the first."""
        with writing(records) as db:
            return Links(shared_key(db, KEY_FILE, ours=self.key))

    def token(self, link: Link) -> str:
        """Return a link as text that fits in an address."""
        parts = (str(link.alarm_id), str(link.change_id), link.person, f"{as_ms(link.until):x}")
        said = _BETWEEN.join(parts)
        return f"{said}{_BETWEEN}{self._signed('link', said)}"

    def read(self, token: str, *, now: datetime) -> Link | Refusal:
        """Return what a token stands for, or why it is not taken."""
        said, _, signature = token.rpartition(_BETWEEN)
        expected = self._signed("link", said)
        if not hmac.compare_digest(expected.encode(), signature.encode("utf-8", "replace")):
            return Refusal.TAMPERED
        alarm_id, change_id, person, until = said.split(_BETWEEN)
        link = Link(int(alarm_id), int(change_id), person, instant(int(until, 16)))
        return link if now < link.until else Refusal.EXPIRED

    def many_token(self, link: ManyLink) -> str:
        """Return a link to several openings as text that fits in an address."""
        named = ".".join(f"{alarm:x}-{change:x}" for alarm, change in link.openings)
        said = _BETWEEN.join((named, link.person, f"{as_ms(link.until):x}"))
        return f"{said}{_BETWEEN}{self._signed('many', said)}"

    def read_many(self, token: str, *, now: datetime) -> ManyLink | Refusal:
        """Return what a token of several openings stands for, or why it is not taken."""
        said, _, signature = token.rpartition(_BETWEEN)
        expected = self._signed("many", said)
        if not hmac.compare_digest(expected.encode(), signature.encode("utf-8", "replace")):
            return Refusal.TAMPERED
        named, person, until = said.split(_BETWEEN)
        pairs = (one.split("-") for one in named.split("."))
        openings = tuple((int(alarm, 16), int(change, 16)) for alarm, change in pairs)
        link = ManyLink(openings, person, instant(int(until, 16)))
        return link if now < link.until else Refusal.EXPIRED

    def code(self, alarm_id: int, change_id: int) -> str:
        """Return the short code of one opening of an alarm, as a button or a gateway sends it."""
        digest = self._digest("code", f"{alarm_id}{_BETWEEN}{change_id}")
        letters = base64.b32encode(digest).decode().lower()[:_CODE_LETTERS]
        return f"{alarm_id}-{letters}"

    def _signed(self, purpose: str, said: str) -> str:
        cut = self._digest(purpose, said)[:_SIGNED_BYTES]
        return base64.urlsafe_b64encode(cut).decode()

    def _digest(self, purpose: str, said: str) -> bytes:
        text = f"{purpose}\n{said}".encode("utf-8", "surrogatepass")
        return hmac.new(self.key, text, hashlib.sha256).digest()


def _make_key(path: Path) -> None:
    """Write a new key, whole or not at all, readable by this user alone from its first byte."""
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    fresh.unlink(missing_ok=True)
    file = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(file, "wb") as key:
        key.write(secrets.token_bytes(_KEY_BYTES))
        key.flush()
        os.fsync(key.fileno())
    fresh.replace(path)
