"""Alarms as records: one row an occurrence, and one row for every change of its state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import case, insert, select, update

from api.records.particulars import NOTHING_BESIDE, Particulars
from api.records.tables import alarm_changes, alarms, as_ms, instant, instant_or_none
from rules.alarms import TRANSITIONS, Circumstances, after
from rules.model.alarm import HELD, AlarmState, Cue, Priority
from rules.model.words import Side

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection, Row, Select

WAITING = tuple(state for state, cue in TRANSITIONS if cue is Cue.ACKNOWLEDGED)
"""The states in which an alarm waits for someone."""

_OF_A_CELL = (Cue.RAISED, Cue.CLEARED, Cue.SHELF_RAN_OUT, Cue.SUPPRESSION_ENDED)


@dataclass(frozen=True, slots=True)
class AlarmRecord:
    """One occurrence of a condition of a batch.

    `condition` is a limit's or a dose limit's id or "blind.<quantity>". `since` is when the row of
    cells began that led to it, or the sum; `opened_at` the cell in which the delay had passed,
    `ended_at` the cell in which it was over. `value` is what the batch felt at `opened_at`, in the
    unit of the quantity, or the sum in that of its kind; None when blind. `particulars` is what was
    known beside it, `worst` the worst value while it was open, known once it has
    been over. A `latch`ing alarm waits for a person once it is over. While it is held, `held_until`
    is when its shelf runs out, `held_by` who did it and `held_why` for what reason. All instants
    are in UTC.
    """

    id: int
    batch: str
    condition: str
    priority: Priority
    state: AlarmState
    opened_at: datetime
    since: datetime
    ended_at: datetime | None
    value: float | None
    acknowledged_at: datetime | None
    acknowledged_by: str | None
    particulars: Particulars = NOTHING_BESIDE
    latch: bool = True
    worst: float | None = None
    held_until: datetime | None = None
    held_by: str | None = None
    held_why: str | None = None


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """One change of an alarm: when, from what to what, because of what, by whom.

    While an alarm is held, what is raised and cleared is a change that leaves it as it was.
    `value` is what was felt when it was raised, the worst when it was over.
    """

    id: int
    alarm_id: int
    at: datetime
    before: AlarmState
    after: AlarmState
    cue: Cue
    by: str | None
    note: str | None
    value: float | None = None


class UnknownAlarm(Exception):
    """There is no alarm of this number."""

    def __init__(self, alarm_id: int) -> None:
        self.alarm_id = alarm_id
        super().__init__(f"there is no alarm {alarm_id}")


class NothingToAcknowledge(Exception):
    """The alarm stands in a state that waits for nobody; `alarm` is how it stands now."""

    def __init__(self, alarm: AlarmRecord) -> None:
        self.alarm = alarm
        self.state = alarm.state
        super().__init__(f"alarm {alarm.id} is {alarm.state}: nothing to acknowledge")


def standing_alarms(db: Connection) -> tuple[AlarmRecord, ...]:
    """Return every alarm that is not normal: highest priority first, then the oldest first."""
    urgency = case(
        {name.value: place for place, name in enumerate(Priority)}, value=alarms.c.priority
    )
    found = select(alarms).where(alarms.c.state != AlarmState.NORMAL)
    return _all(db, found.order_by(urgency, alarms.c.since_ms, alarms.c.id))


def alarm_history(
    db: Connection, batch: str | None = None, *, most: int
) -> tuple[AlarmRecord, ...]:
    """Return the newest alarms first, of one batch or (None) of all, `most` at most."""
    found = select(alarms)
    if batch is not None:
        found = found.where(alarms.c.batch == batch)
    return _all(db, found.order_by(alarms.c.opened_ms.desc(), alarms.c.id.desc()).limit(most))


def alarm(db: Connection, alarm_id: int) -> AlarmRecord:
    """Return one alarm, else raise UnknownAlarm."""
    row = db.execute(select(alarms).where(alarms.c.id == alarm_id)).one_or_none()
    if row is None:
        raise UnknownAlarm(alarm_id)
    return alarm_record(row)


def changes_of(db: Connection, alarm_id: int) -> tuple[AlarmChange, ...]:
    """Return what happened to an alarm, in order; none for an alarm that does not exist."""
    found = select(alarm_changes).where(alarm_changes.c.alarm_id == alarm_id)
    return tuple(_change(row) for row in db.execute(found.order_by(alarm_changes.c.id)))


def acknowledge(
    db: Connection, alarm_id: int, *, by: str, at: datetime, note: str | None = None
) -> AlarmRecord:
    """Keep that person `by` has seen the alarm and takes it on; return how it stands after.

    Must run in a transaction (`api.records.session.writing`). Of two people who tap at once, one
    succeeds; the other is told that nothing is left to acknowledge.

    Raises
    ------
    UnknownAlarm
        There is no such alarm.
    NothingToAcknowledge
        It is acknowledged already, held, or normal again.
    """
    seen = alarm(db, alarm_id)
    if seen.state not in WAITING:
        raise NothingToAcknowledge(seen)
    try:
        moved = move(
            db,
            seen,
            Cue.ACKNOWLEDGED,
            at=at,
            by=by,
            note=note,
            acknowledged_ms=as_ms(at),
            acknowledged_by=by,
        )
    except AlarmMovedOn as trouble:
        raise NothingToAcknowledge(alarm(db, alarm_id)) from trouble
    return moved.alarm


@dataclass(frozen=True, slots=True)
class Moved:
    """An alarm that something moved, or that was kept of it, and the number of that change."""

    alarm: AlarmRecord
    change_id: int


class AlarmMovedOn(Exception):
    """Someone else has moved the alarm in the meantime: look at it again."""


def move(
    db: Connection,
    record: AlarmRecord,
    cue: Cue,
    *,
    at: datetime,
    active: bool | None = None,
    unseen: bool = False,
    by: str | None = None,
    note: str | None = None,
    figure: float | None = None,
    **columns: object,
) -> Moved:
    """Move an alarm as the table of states says, and keep the change.

    `active` says whether its condition is true, None: as the record has it. `figure` is kept with
    the change, `columns` with the alarm. CueOutOfPlaceError if the cue means nothing in its state;
    AlarmMovedOn if it no longer stands in it.
    """
    still = record.ended_at is None if active is None else active
    circumstances = Circumstances(active=still, latching=record.latch, unseen=unseen)
    state = after(record.state, cue, circumstances)
    if state not in HELD:
        columns |= {"held_until_ms": None, "held_by": None, "held_why": None}
    moved = (
        update(alarms)
        .where(alarms.c.id == record.id, alarms.c.state == record.state.value)
        .values(state=state.value, **columns)
    )
    if db.execute(moved).rowcount != 1:
        msg = f"alarm {record.id} is no longer {record.state}"
        raise AlarmMovedOn(msg)
    change = insert(alarm_changes).values(
        alarm_id=record.id,
        at_ms=as_ms(at),
        before=record.state.value,
        after=state.value,
        cue=cue.value,
        by=by,
        note=note,
        value=figure,
    )
    change_id: int = db.execute(change.returning(alarm_changes.c.id)).scalar_one()
    return Moved(alarm(db, record.id), change_id)


def begin_alarm(
    db: Connection,
    *,
    batch: str,
    condition: str,
    priority: Priority,
    latch: bool,
    at: datetime,
) -> AlarmRecord:
    """Return a new alarm that is normal: nothing is wrong yet, and it must be moved at once."""
    fresh = insert(alarms).values(
        batch=batch,
        condition=condition,
        priority=priority.value,
        state=AlarmState.NORMAL.value,
        opened_ms=as_ms(at),
        since_ms=as_ms(at),
        ended_ms=as_ms(at),
        latch=latch,
    )
    alarm_id: int = db.execute(fresh.returning(alarms.c.id)).scalar_one()
    return alarm(db, alarm_id)


def raise_alarm(
    db: Connection,
    *,
    batch: str,
    condition: str,
    priority: Priority,
    opened_at: datetime,
    since: datetime,
    value: float | None,
    latch: bool = True,
    suppressed: str | None = None,
    particulars: Particulars = NOTHING_BESIDE,
) -> Moved | None:
    """Keep that a condition opened; None if an alarm of it stands open already.

    An occurrence that has returned but that nobody acknowledged, or that is held, goes on as the
    same alarm; otherwise a new one begins. `suppressed` says by which work it is suppressed by
    design, None: by none.
    """
    record = standing_alarm(db, batch, condition)
    if record is None:
        record = begin_alarm(
            db, batch=batch, condition=condition, priority=priority, latch=latch, at=opened_at
        )
    elif record.ended_at is None:
        return None
    if suppressed is not None and record.state not in HELD:
        cue, why = Cue.SUPPRESSED, suppressed
        record = move(db, record, cue, at=opened_at, note=why, held_why=why).alarm
    return move(
        db,
        record,
        Cue.RAISED,
        at=opened_at,
        active=True,
        figure=value,
        value=value,
        priority=priority.value,
        opened_ms=as_ms(opened_at),
        since_ms=as_ms(since),
        ended_ms=None,
        latch=latch,
        particulars=particulars.to_json(),
    )


def clear_alarm(
    db: Connection,
    *,
    batch: str,
    condition: str,
    at: datetime,
    note: str | None = None,
    worst: float | None = None,
    side: Side | None = None,
) -> Moved | None:
    """Keep that a condition is over; None if no alarm of it stands open.

    `worst` is the worst value while it was open. Of an alarm that was true more than once, the
    worst of all is kept, on that `side` of its bound; None: the last.
    """
    record = standing_alarm(db, batch, condition)
    if record is None or record.ended_at is not None:
        return None
    ever = worst if worst is not None else record.worst
    if worst is not None and record.worst is not None and side is not None:
        ever = max(worst, record.worst) if side is Side.HIGH else min(worst, record.worst)
    return move(
        db,
        record,
        Cue.CLEARED,
        at=at,
        active=False,
        note=note,
        figure=worst,
        ended_ms=as_ms(at),
        worst=ever,
    )


def open_alarms(db: Connection, batch: str | None = None) -> tuple[AlarmRecord, ...]:
    """Return the alarms whose condition is true now, acknowledged or not, the oldest first."""
    found = select(alarms).where(alarms.c.state != AlarmState.NORMAL, alarms.c.ended_ms.is_(None))
    if batch is not None:
        found = found.where(alarms.c.batch == batch)
    return _all(db, found.order_by(alarms.c.since_ms, alarms.c.id))


def alarms_changed(
    db: Connection, *, start: datetime, end: datetime, batch: str | None = None
) -> tuple[AlarmRecord, ...]:
    """Return the alarms that a cell raised, cleared or let go in a span of time, in order.

    From `start` until before `end`; what was held meanwhile is left out.
    """
    changed = (
        select(alarm_changes.c.alarm_id)
        .where(alarm_changes.c.at_ms >= as_ms(start), alarm_changes.c.at_ms < as_ms(end))
        .where(alarm_changes.c.cue.in_(_OF_A_CELL), alarm_changes.c.after.not_in(HELD))
    )
    found = select(alarms).where(alarms.c.id.in_(changed))
    if batch is not None:
        found = found.where(alarms.c.batch == batch)
    return _all(db, found.order_by(alarms.c.since_ms, alarms.c.id))


def standing_alarm(db: Connection, batch: str, condition: str) -> AlarmRecord | None:
    """Return the alarm of a condition that is not normal; None if there is none."""
    found = select(alarms).where(
        alarms.c.batch == batch,
        alarms.c.condition == condition,
        alarms.c.state != AlarmState.NORMAL,
    )
    row = db.execute(found).one_or_none()
    return None if row is None else alarm_record(row)


def _all(db: Connection, found: Select[tuple[object, ...]]) -> tuple[AlarmRecord, ...]:
    return tuple(alarm_record(row) for row in db.execute(found))


def alarm_record(row: Row[tuple[object, ...]]) -> AlarmRecord:
    """Return a row of the table of alarms as a value."""
    return AlarmRecord(
        id=row.id,
        batch=row.batch,
        condition=row.condition,
        priority=Priority(row.priority),
        state=AlarmState(row.state),
        opened_at=instant(row.opened_ms),
        since=instant(row.since_ms),
        ended_at=instant_or_none(row.ended_ms),
        value=row.value,
        acknowledged_at=instant_or_none(row.acknowledged_ms),
        acknowledged_by=row.acknowledged_by,
        particulars=Particulars.from_json(row.particulars),
        latch=row.latch,
        worst=row.worst,
        held_until=instant_or_none(row.held_until_ms),
        held_by=row.held_by,
        held_why=row.held_why,
    )


def _change(row: Row[tuple[object, ...]]) -> AlarmChange:
    return AlarmChange(
        id=row.id,
        alarm_id=row.alarm_id,
        at=instant(row.at_ms),
        before=AlarmState(row.before),
        after=AlarmState(row.after),
        cue=Cue(row.cue),
        by=row.by,
        note=row.note,
        value=row.value,
    )
