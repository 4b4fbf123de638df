"""What the watch keeps: how far it has come, what came late, when nobody watched, standings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import delete, func, insert, select, update

from api.records.node_tables import house_positions
from api.records.tables import (
    as_ms,
    instant,
    late_marks,
    standing_changes,
    watch_gaps,
    watch_position,
)
from rules.model.event import Standing, StandingChanged
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy import Connection

_ONLY = 1


@dataclass(frozen=True, slots=True)
class WatchPosition:
    """How far the watch has come. Saved in the same transaction as what the last cell caused.

    `began_minute` is the first cell it ever closed, `next_minute` the one it closes next.
    `sequence` is the last reading it has seen. `revision` names the site and plans that
    `state`, the evaluator's, packed by `api.records.states`, was made with.

    Where nodes share the houses out, all is that of the house least far, without a `sequence`, and
    `others` are the states of the other houses; `api.records.states.state_of` puts them together.
    """

    began_minute: int
    next_minute: int
    sequence: int
    revision: str
    state: bytes
    others: tuple[bytes, ...] = ()


@dataclass(frozen=True, slots=True)
class LateMark:
    """A reading that was kept after its cell had been closed; `noted_at` is when it was seen."""

    channel: str
    at_ms: int
    minute: int
    noted_at: datetime


@dataclass(frozen=True, slots=True)
class WatchGap:
    """Nobody watched from the start of `from_minute` until the start of `to_minute`.

    Readings of those cells were judged afterwards, at `noted_at` or later: that is when it was last
    seen to reach so far.
    """

    id: int
    from_minute: int
    to_minute: int
    noted_at: datetime

    @property
    def start(self) -> datetime:
        """The first unwatched instant, UTC."""
        return instant(self.from_minute * MINUTE_MS)

    @property
    def end(self) -> datetime:
        """The first watched instant after it, UTC."""
        return instant(self.to_minute * MINUTE_MS)


class WatchMovedOn(Exception):
    """Another watch has closed the same cell: this one must stop, or load its position anew."""


def load_position(db: Connection) -> WatchPosition | None:
    """Return how far the watch has come in every house; None before its first start."""
    shared = db.execute(select(house_positions).order_by(house_positions.c.next_minute)).all()
    if shared:
        return WatchPosition(
            began_minute=min(row.began_minute for row in shared),
            next_minute=shared[0].next_minute,
            sequence=0,
            revision=shared[0].revision,
            state=shared[0].state,
            others=tuple(row.state for row in shared[1:]),
        )
    return whole_position(db)


def next_cell(db: Connection) -> int:
    """Return the cell that comes next where the watch is least far; 0 before its first start."""
    shared = db.execute(select(func.min(house_positions.c.next_minute))).scalar()
    if shared is None:
        shared = db.execute(select(func.max(watch_position.c.next_minute))).scalar()
    return shared or 0


def whole_position(db: Connection) -> WatchPosition | None:
    """Return how far the one watch of the whole site has come; None before its first start."""
    row = db.execute(select(watch_position).where(watch_position.c.id == _ONLY)).one_or_none()
    if row is None:
        return None
    return WatchPosition(
        began_minute=row.began_minute,
        next_minute=row.next_minute,
        sequence=row.sequence,
        revision=row.revision,
        state=row.state,
    )


def begin_position(db: Connection, position: WatchPosition) -> None:
    """Keep the first position; `sqlalchemy.exc.IntegrityError` if there is one already."""
    db.execute(
        insert(watch_position).values(
            id=_ONLY,
            began_minute=position.began_minute,
            next_minute=position.next_minute,
            sequence=position.sequence,
            revision=position.revision,
            state=position.state,
        )
    )


def save_position(db: Connection, position: WatchPosition, *, moved_from: WatchPosition) -> None:
    """Move on from exactly `moved_from`'s cell and sequence, else raise WatchMovedOn."""
    moved = (
        update(watch_position)
        .where(
            watch_position.c.id == _ONLY,
            watch_position.c.next_minute == moved_from.next_minute,
            watch_position.c.sequence == moved_from.sequence,
        )
        .values(
            next_minute=position.next_minute,
            sequence=position.sequence,
            revision=position.revision,
            state=position.state,
        )
    )
    if db.execute(moved).rowcount != 1:
        msg = f"cell {moved_from.next_minute} was closed by another watch"
        raise WatchMovedOn(msg)


def note_late(db: Connection, marks: Sequence[LateMark]) -> None:
    """Keep readings that came after their cell had been closed; one that is kept stays as it is."""
    first, last = (pick((mark.minute for mark in marks), default=0) for pick in (min, max))
    within = late_marks.c.minute.between(first, last)
    kept = {
        (channel, at_ms)
        for channel, at_ms in db.execute(
            select(late_marks.c.channel, late_marks.c.at_ms).where(within)
        )
    }
    marks = [mark for mark in marks if (mark.channel, mark.at_ms) not in kept]
    if marks:
        rows = [
            {
                "channel": mark.channel,
                "at_ms": mark.at_ms,
                "minute": mark.minute,
                "noted_ms": as_ms(mark.noted_at),
            }
            for mark in marks
        ]
        db.execute(insert(late_marks), rows)


def late_readings(db: Connection, *, first_minute: int, end_minute: int) -> tuple[LateMark, ...]:
    """Return the late marks of cells from `first_minute` until before `end_minute`, in order."""
    found = select(late_marks).where(
        late_marks.c.minute >= first_minute, late_marks.c.minute < end_minute
    )
    return tuple(
        LateMark(
            channel=row.channel,
            at_ms=row.at_ms,
            minute=row.minute,
            noted_at=instant(row.noted_ms),
        )
        for row in db.execute(found.order_by(late_marks.c.at_ms, late_marks.c.channel))
    )


def late_between(db: Connection, first_minute: int, end_minute: int) -> int:
    """Return how many readings have come late of cells from `first_minute` until `end_minute`."""
    found = select(func.count()).where(
        late_marks.c.minute >= first_minute, late_marks.c.minute < end_minute
    )
    return db.execute(found).scalar_one()


def late_count(db: Connection) -> int:
    """Return how many readings have ever come late."""
    return db.execute(select(func.count()).select_from(late_marks)).scalar_one()


def note_standing(db: Connection, change: StandingChanged) -> None:
    """Keep that a batch reads differently from a cell on; said again of a cell, the last counts."""
    of_cell = (
        standing_changes.c.batch == change.batch,
        standing_changes.c.minute == change.minute,
    )
    db.execute(delete(standing_changes).where(*of_cell))
    db.execute(
        insert(standing_changes).values(
            batch=change.batch,
            minute=change.minute,
            before=None if change.before is None else change.before.value,
            after=None if change.after is None else change.after.value,
        )
    )


def standing_history(
    db: Connection, batch: str, *, first_minute: int, end_minute: int
) -> tuple[StandingChanged, ...]:
    """Return a batch's changes of standing from `first_minute` until before `end_minute`."""
    found = select(standing_changes).where(
        standing_changes.c.batch == batch,
        standing_changes.c.minute >= first_minute,
        standing_changes.c.minute < end_minute,
    )
    return tuple(
        StandingChanged(
            minute=row.minute,
            batch=row.batch,
            before=None if row.before is None else Standing(row.before),
            after=None if row.after is None else Standing(row.after),
        )
        for row in db.execute(found.order_by(standing_changes.c.minute))
    )


def note_gap(db: Connection, *, from_minute: int, to_minute: int, noted_at: datetime) -> WatchGap:
    """Keep that nobody watched from one cell until before another."""
    gap = insert(watch_gaps).values(
        from_minute=from_minute, to_minute=to_minute, noted_ms=as_ms(noted_at)
    )
    gap_id: int = db.execute(gap.returning(watch_gaps.c.id)).scalar_one()
    return WatchGap(gap_id, from_minute, to_minute, instant(as_ms(noted_at)))


def widen_gap(db: Connection, gap: WatchGap, *, to_minute: int, noted_at: datetime) -> WatchGap:
    """Keep that the same gap went on until before `to_minute`, as was noted at `noted_at`."""
    wider = {"to_minute": to_minute, "noted_ms": as_ms(noted_at)}
    db.execute(update(watch_gaps).where(watch_gaps.c.id == gap.id).values(**wider))
    return WatchGap(gap.id, gap.from_minute, to_minute, instant(as_ms(noted_at)))


def gap_over(db: Connection, minute: int) -> WatchGap | None:
    """Return the gap in which cell `minute` lies, if nobody watched it."""
    found = select(watch_gaps).where(
        watch_gaps.c.from_minute <= minute, watch_gaps.c.to_minute > minute
    )
    row = db.execute(found.order_by(watch_gaps.c.id.desc()).limit(1)).one_or_none()
    if row is None:
        return None
    return WatchGap(row.id, row.from_minute, row.to_minute, instant(row.noted_ms))


def watch_gap(db: Connection, gap_id: int) -> WatchGap | None:
    """Return one gap by its number."""
    row = db.execute(select(watch_gaps).where(watch_gaps.c.id == gap_id)).one_or_none()
    if row is None:
        return None
    return WatchGap(row.id, row.from_minute, row.to_minute, instant(row.noted_ms))


def watch_gaps_newest(db: Connection, *, most: int) -> tuple[WatchGap, ...]:
    """Return when nobody watched, the newest first, `most` at most."""
    found = select(watch_gaps).order_by(watch_gaps.c.from_minute.desc()).limit(most)
    return tuple(
        WatchGap(row.id, row.from_minute, row.to_minute, instant(row.noted_ms))
        for row in db.execute(found)
    )
