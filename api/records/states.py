"""The evaluator's state as it is kept: packed small; the newest to go on from, some for charts.

What is reckoned of a batch, its water and its doses, is a sum over days. A chart of a past day can
only show the sums that the watch really carried if it starts from a state of that time.
"""

from __future__ import annotations

import zlib
from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import delete, func, insert, select

from api.records.node_tables import house_milestones, house_positions
from api.records.tables import watch_milestones
from rules.evaluator import EvaluatorState

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection

    from api.records.watch import WatchPosition

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


def state_of(position: WatchPosition) -> EvaluatorState:
    """Return the evaluator's state at a position; ValueError if it can't be read."""
    return joined([unpacked(one) for one in (position.state, *position.others)])


def is_milestone(minute: int) -> bool:
    """Return whether the state before a cell is to be kept."""
    return minute % EVERY_MIN == 0


def milestone_in(minute: int) -> int:
    """Return how many cells from `minute` on end at the next state that is to be kept."""
    return EVERY_MIN - minute % EVERY_MIN


def keep_milestone(db: Connection, next_minute: int, state: bytes) -> None:
    """Keep the packed state before cell `next_minute`, and let go of those that are too old."""
    db.execute(
        delete(watch_milestones).where(
            (watch_milestones.c.next_minute < next_minute - KEPT_MIN)
            | (watch_milestones.c.next_minute == next_minute)
        )
    )
    db.execute(insert(watch_milestones).values(next_minute=next_minute, state=state))


def keep_house_milestone(db: Connection, house: str, next_minute: int, state: bytes) -> None:
    """Keep the packed state of a house before a cell, and let go of those that are too old."""
    at = house_milestones.c
    old = at.next_minute < next_minute - KEPT_MIN
    db.execute(
        delete(house_milestones).where(
            (at.house == house) & (old | (at.next_minute == next_minute))
        )
    )
    db.execute(insert(house_milestones).values(next_minute=next_minute, house=house, state=state))


def milestone_before(db: Connection, minute: int) -> tuple[int, EvaluatorState] | None:
    """Return the newest milestone at or before a cell: the cell that comes next, and the state.

    Where nodes share the houses out, all houses have it. None if there is none, or if another
    version of the program wrote it and it can't be read.
    """
    shared = _shared_milestone(db, minute)
    if shared is not None:
        return shared
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


def joined(states: Sequence[EvaluatorState]) -> EvaluatorState:
    """Return the state of all houses. Each batch is as its furthest state has it.

    Minute and channels are those of the least far that has judged anything: what follows is judged
    from there on.

    >>> joined([EvaluatorState(7), EvaluatorState(None), EvaluatorState(6)]).minute
    6
    """
    by_age = sorted(states, key=lambda state: -1 if state.minute is None else state.minute)
    batches = {code: batch for state in by_age for code, batch in state.batches.items()}
    first = next((state for state in by_age if state.minute is not None), by_age[0])
    return replace(first, batches=batches)


def _shared_milestone(db: Connection, minute: int) -> tuple[int, EvaluatorState] | None:
    at = house_milestones.c
    houses = set(db.execute(select(house_positions.c.house)).scalars())
    found = (
        select(at.next_minute)
        .where(at.next_minute <= minute, at.house.in_(houses))
        .group_by(at.next_minute)
        .having(func.count() == len(houses))
        .order_by(at.next_minute.desc())
        .limit(1)
    )
    newest = db.execute(found).scalar()
    if newest is None:
        return None
    rows = db.execute(select(at.state).where(at.next_minute == newest).order_by(at.house))
    try:
        return newest, joined([unpacked(state) for state in rows.scalars()])
    except ValueError:
        return None
