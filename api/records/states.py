"""The evaluator's state as it is kept: packed small; the newest to go on from, some for charts.

What is reckoned of a batch, its water and its doses, is a sum over days. A chart of a past day can
only show the sums that the watch really carried if it starts from a state of that time.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

from sqlalchemy import delete, insert, select

from api.records.tables import watch_milestones
from rules.evaluator import EvaluatorState

if TYPE_CHECKING:
    from sqlalchemy import Connection

EVERY_MIN = 360
KEPT_MIN = 28 * 1440
"""A milestone each six hours of UTC, kept for four weeks: as far back as charts are looked at."""

_LEVEL = 3
"""Of zlib: a quarter of the text, in a fifth of the time that the usual level takes."""


def packed(state: EvaluatorState) -> bytes:
    """Return a state as bytes from which `unpacked` makes an equal one."""
    return zlib.compress(state.to_json().encode(), _LEVEL)


def unpacked(kept: bytes) -> EvaluatorState:
    """Return the state that was packed; ValueError if the bytes are none."""
    try:
        text = zlib.decompress(kept).decode()
    except zlib.error as trouble:
        msg = "these bytes are no packed state"
        raise ValueError(msg) from trouble
    return EvaluatorState.from_json(text)


def is_milestone(minute: int) -> bool:
    """Return whether the state before a cell is to be kept."""
    return minute % EVERY_MIN == 0


def keep_milestone(db: Connection, next_minute: int, state: bytes) -> None:
    """Keep the packed state before cell `next_minute`, and let go of those that are too old."""
    db.execute(
        delete(watch_milestones).where(
            (watch_milestones.c.next_minute < next_minute - KEPT_MIN)
            | (watch_milestones.c.next_minute == next_minute)
        )
    )
    db.execute(insert(watch_milestones).values(next_minute=next_minute, state=state))


def milestone_before(db: Connection, minute: int) -> tuple[int, EvaluatorState] | None:
    """Return the newest milestone at or before a cell: the cell that comes next, and the state.

    None if there is none, or if another version of the program wrote it and it can't be read.
    """
    found = (
        select(watch_milestones)
        .where(watch_milestones.c.next_minute <= minute)
        .order_by(watch_milestones.c.next_minute.desc())
        .limit(1)
    )
    row = db.execute(found).one_or_none()
    if row is None:
        return None
    try:
        state = unpacked(row.state)
    except ValueError:
        return None
    next_minute: int = row.next_minute
    return next_minute, state
