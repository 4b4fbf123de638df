"""What people changed in the books: batches, sensors, people, plans. Only ever added to.

An entry is the whole new written form of one thing, or None where it was taken away. The newest
entry of a thing is in force; all before it are its history, with who, when and why.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import func, insert, select

from api.records.tables import as_ms, entries, instant, observations

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from sqlalchemy import Connection

NOTHING_BEFORE = 0
"""What stands for the entry before the first."""


class Kind(StrEnum):
    """What an entry is about. An entry about an observation, by its number, takes it back.

    One about a plan is one version of it, as its text; there is never a second of that version.
    """

    BATCH = "batch"
    SENSOR = "sensor"
    PERSON = "person"
    SWAP = "swap"
    ABSENCE = "absence"
    OBSERVATION = "observation"
    PLAN = "plan"


@dataclass(frozen=True, slots=True)
class Entry:
    """One change of one thing. `body` is its whole new written form; None: it was taken away.

    `key` is the thing's code, id or number, `previous` the entry of the same thing before this
    one. `origin` names what it was entered from, so that sending it twice keeps it once.
    """

    id: int
    kind: Kind
    key: str
    body: Mapping[str, object] | None
    previous: int
    by: str
    note: str
    entered_at: datetime
    origin: str | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """How far what people entered is known: the newest observation and the newest entry."""

    observations: int
    entries: int


NOTHING_KNOWN = Known(0, 0)


class ChangedMeanwhile(Exception):
    """Someone else has changed the same thing since it was looked at; look again."""


def append(
    db: Connection,
    kind: Kind,
    key: str,
    *,
    body: Mapping[str, object] | None,
    by: str,
    note: str,
    at: datetime,
    origin: str | None = None,
) -> int:
    """Keep a change, found valid; return its number.

    There is one writer at a time, so whoever knows a number knows all before it.
    """
    last = newest_of(db, kind, key)
    row = insert(entries).values(
        kind=kind.value,
        key=key,
        body=None if body is None else json.dumps(body, ensure_ascii=False, sort_keys=True),
        previous=NOTHING_BEFORE if last is None else last.id,
        by=by,
        note=note,
        origin=origin,
        entered_ms=as_ms(at),
    )
    number: int = db.execute(row.returning(entries.c.id)).scalar_one()
    return number


def newest_of(db: Connection, kind: Kind, key: str) -> Entry | None:
    """Return the entry of a thing that is in force; None if nobody has entered one."""
    found = history(db, kind, key)
    return found[-1] if found else None


def history(db: Connection, kind: Kind, key: str) -> tuple[Entry, ...]:
    """Return every change of one thing, the oldest first."""
    of = select(entries).where(entries.c.kind == kind.value, entries.c.key == key)
    return tuple(_entry(row) for row in db.execute(of.order_by(entries.c.id)))


def by_origin(db: Connection, origin: str) -> Entry | None:
    """Return what was entered from an origin, if anything was."""
    row = db.execute(select(entries).where(entries.c.origin == origin)).one_or_none()
    return None if row is None else _entry(row)


def in_force(db: Connection, *, up_to: int | None = None) -> tuple[Entry, ...]:
    """Return the newest entry of each thing, in the order in which things were first entered.

    `up_to`: as it was when this entry was the newest of all; None: now.
    """
    ends = select(func.min(entries.c.id).label("first"), func.max(entries.c.id).label("last"))
    ends = ends.group_by(entries.c.kind, entries.c.key)
    if up_to is not None:
        ends = ends.where(entries.c.id <= up_to)
    of = ends.subquery()
    found = select(entries).join(of, entries.c.id == of.c.last).order_by(of.c.first)
    return tuple(_entry(row) for row in db.execute(found))


def taken_back(entries: Iterable[Entry]) -> frozenset[int]:
    """Return the numbers of the observations that entries take back."""
    return frozenset(
        int(one.key) for one in entries if one.kind is Kind.OBSERVATION and one.body is None
    )


def of_kind(db: Connection, kind: Kind) -> tuple[Entry, ...]:
    """Return every entry about things of one kind, the oldest first."""
    of = select(entries).where(entries.c.kind == kind.value)
    return tuple(_entry(row) for row in db.execute(of.order_by(entries.c.id)))


def known(db: Connection) -> Known:
    """Return how far people have entered by now."""
    seen = db.execute(select(func.max(observations.c.id))).scalar_one()
    changed = db.execute(select(func.max(entries.c.id))).scalar_one()
    return Known(seen or 0, changed or 0)


def _entry(row: object) -> Entry:
    kept = row._mapping  # type: ignore[attr-defined]
    return Entry(
        id=kept["id"],
        kind=Kind(kept["kind"]),
        key=kept["key"],
        body=None if kept["body"] is None else json.loads(kept["body"]),
        previous=kept["previous"],
        by=kept["by"],
        note=kept["note"],
        entered_at=instant(kept["entered_ms"]),
        origin=kept["origin"],
    )
