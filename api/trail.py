"""What was changed in the books by whom, from what to what, the oldest first."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from api.records.entries import Kind, history
from api.records.observations import entered
from api.records.photos import photos_of_batch

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from sqlalchemy import Connection


class Done(StrEnum):
    """What a line of a trail tells."""

    IN_FILE = "in_file"
    ENTERED = "entered"
    CHANGED = "changed"
    TAKEN_AWAY = "taken_away"
    OBSERVED = "observed"
    TAKEN_BACK = "taken_back"
    PHOTO_ADDED = "photo_added"
    PHOTO_REMOVED = "photo_removed"


@dataclass(frozen=True, slots=True)
class Difference:
    """One field that differs; None where it is not written."""

    field: str
    was: object
    now: object


@dataclass(frozen=True, slots=True)
class TrailLine:
    """One thing done. `number` is that of the entry or the observation; `by` is "" for the file."""

    at: datetime
    done: Done
    number: int
    by: str
    note: str
    differences: tuple[Difference, ...] = ()


def differences(
    was: Mapping[str, object] | None, now: Mapping[str, object] | None
) -> tuple[Difference, ...]:
    """Return the fields in which two written forms differ, in the order of the newer one.

    >>> differences({"count": 24, "bench": "b1"}, {"count": 22, "bench": "b1"})
    (Difference(field='count', was=24, now=22),)
    """
    old, new = was or {}, now or {}
    return tuple(
        Difference(field, old.get(field), new.get(field))
        for field in dict.fromkeys((*new, *old))
        if old.get(field) != new.get(field)
    )


def trail_of(db: Connection, kind: Kind, key: str) -> tuple[TrailLine, ...]:
    """Return all that was done to one thing; of a batch also what was observed."""
    lines: list[TrailLine] = []
    before: Mapping[str, object] | None = None
    for one in history(db, kind, key):
        if one.body is None:
            done = Done.TAKEN_AWAY
        elif not one.by:
            done = Done.IN_FILE
        else:
            done = Done.ENTERED if before is None else Done.CHANGED
        found = () if done is Done.IN_FILE else differences(before, one.body)
        lines.append(TrailLine(one.entered_at, done, one.id, one.by, one.note, found))
        before = one.body
    if kind is Kind.BATCH:
        lines += _observed(db, key)
        lines += _photos(db, key)
    return tuple(sorted(lines, key=lambda line: line.at))


def _observed(db: Connection, code: str) -> list[TrailLine]:
    lines: list[TrailLine] = []
    for one in entered(db, batch=code):
        number = one.id or 0
        seen = one.observation.model_dump(mode="json", exclude_none=True, exclude={"by", "note"})
        told = tuple(Difference(field, None, value) for field, value in seen.items())
        by, note = one.observation.by, one.observation.note
        lines.append(TrailLine(one.entered_at, Done.OBSERVED, number, by, note, told))
        for back in history(db, Kind.OBSERVATION, str(number)):
            at, note = back.entered_at, back.note
            lines.append(TrailLine(at, Done.TAKEN_BACK, number, back.by, note))
    return lines


def _photos(db: Connection, code: str) -> Iterator[TrailLine]:
    """Yield which observations got a photo and lost it, by the number of the observation."""
    for one in photos_of_batch(db, code):
        yield TrailLine(one.added_at, Done.PHOTO_ADDED, one.observation, one.by, "")
        if one.removed_at is not None:
            by, why = one.removed_by or "", one.removed_why or ""
            yield TrailLine(one.removed_at, Done.PHOTO_REMOVED, one.observation, by, why)
