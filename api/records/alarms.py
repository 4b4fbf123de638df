"""Alarms as records: one row an occurrence, and one row for every change of its state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import case, insert, select, update

from api.records.particulars import NOTHING_BESIDE, Particulars
from api.records.tables import alarm_changes, alarms, as_ms, instant, instant_or_none
from rules.alarms import TRANSITIONS, after
from rules.model.alarm import AlarmState, Cue, Priority

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection, Row, Select
    from sqlalchemy.sql.elements import ColumnElement

_WAITING = tuple(state for state, cue in TRANSITIONS if cue is Cue.ACKNOWLEDGED)


@dataclass(frozen=True, slots=True)
class AlarmRecord:
    """One occurrence of a condition of a batch.

    `condition` is a limit's or a dose limit's id or "blind.<quantity>". `since` is when the row of
    cells began that led to it, or the sum; `opened_at` the cell in which the delay had passed,
    `ended_at` the cell in which it was over. `value` is what the batch felt at `opened_at`, in the
    unit of the quantity, or the sum in that of its kind; None when blind. `particulars` is what was
    known beside it. All instants are in UTC.
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


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """One change of an alarm's state: when, from what to what, because of what, by whom."""

    id: int
    alarm_id: int
    at: datetime
    before: AlarmState
    after: AlarmState
    cue: Cue
    by: str | None
    note: str | None


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
    urgency = case({name.value: place for place, name in enumerate(Priority)}, value=_priority())
    found = _alarms().where(alarms.c.state != AlarmState.NORMAL)
    return _all(db, found.order_by(urgency, alarms.c.since_ms, alarms.c.id))


def alarm_history(
    db: Connection, batch: str | None = None, *, most: int
) -> tuple[AlarmRecord, ...]:
    """Return the newest alarms first, of one batch or (None) of all, `most` at most."""
    found = _alarms()
    if batch is not None:
        found = found.where(alarms.c.batch == batch)
    return _all(db, found.order_by(alarms.c.opened_ms.desc(), alarms.c.id.desc()).limit(most))


def alarm(db: Connection, alarm_id: int) -> AlarmRecord:
    """Return one alarm, else raise UnknownAlarm."""
    row = db.execute(_alarms().where(alarms.c.id == alarm_id)).one_or_none()
    if row is None:
        raise UnknownAlarm(alarm_id)
    return _record(row)


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
        It is acknowledged already, or normal again.
    """
    for before in _WAITING:
        settled = after(before, Cue.ACKNOWLEDGED)
        claimed = (
            update(alarms)
            .where(alarms.c.id == alarm_id, alarms.c.state == before)
            .values(state=settled.value, acknowledged_ms=as_ms(at), acknowledged_by=by)
        )
        if db.execute(claimed).rowcount == 1:
            _note_change(db, alarm_id, at, before, settled, Cue.ACKNOWLEDGED, by=by, note=note)
            return alarm(db, alarm_id)
    raise NothingToAcknowledge(alarm(db, alarm_id))


@dataclass(frozen=True, slots=True)
class Moved:
    """An alarm that a cell raised or cleared, and the number of that change."""

    alarm: AlarmRecord
    change_id: int


def raise_alarm(
    db: Connection,
    *,
    batch: str,
    condition: str,
    priority: Priority,
    opened_at: datetime,
    since: datetime,
    value: float | None,
    particulars: Particulars = NOTHING_BESIDE,
) -> Moved | None:
    """Keep that a condition opened; None if an alarm of it stands open already.

    An occurrence that has returned but that nobody acknowledged goes on as the same alarm, once
    more unacknowledged; otherwise a new alarm begins.
    """
    standing = _standing(db, batch, condition)
    if standing is not None:
        if (standing.state, Cue.RAISED) not in TRANSITIONS:
            return None
        state = after(standing.state, Cue.RAISED)
        db.execute(
            update(alarms)
            .where(alarms.c.id == standing.id)
            .values(
                state=state.value,
                priority=priority.value,
                opened_ms=as_ms(opened_at),
                since_ms=as_ms(since),
                ended_ms=None,
                value=value,
                particulars=particulars.to_json(),
            )
        )
        alarm_id, before = standing.id, standing.state
    else:
        before = AlarmState.NORMAL
        state = after(before, Cue.RAISED)
        fresh = insert(alarms).values(
            batch=batch,
            condition=condition,
            priority=priority.value,
            state=state.value,
            opened_ms=as_ms(opened_at),
            since_ms=as_ms(since),
            value=value,
            particulars=particulars.to_json(),
        )
        (alarm_id,) = db.execute(fresh.returning(alarms.c.id)).one()
    change_id = _note_change(db, alarm_id, opened_at, before, state, Cue.RAISED)
    return Moved(alarm(db, alarm_id), change_id)


def clear_alarm(
    db: Connection, *, batch: str, condition: str, at: datetime, note: str | None = None
) -> Moved | None:
    """Keep that a condition is over; None if no alarm of it stands open."""
    standing = _standing(db, batch, condition)
    if standing is None or (standing.state, Cue.CLEARED) not in TRANSITIONS:
        return None
    state = after(standing.state, Cue.CLEARED)
    db.execute(
        update(alarms)
        .where(alarms.c.id == standing.id)
        .values(state=state.value, ended_ms=as_ms(at))
    )
    change_id = _note_change(db, standing.id, at, standing.state, state, Cue.CLEARED, note=note)
    return Moved(alarm(db, standing.id), change_id)


def open_alarms(db: Connection, batch: str | None = None) -> tuple[AlarmRecord, ...]:
    """Return the alarms whose condition is true now, acknowledged or not, the oldest first."""
    found = _alarms().where(alarms.c.state != AlarmState.NORMAL, alarms.c.ended_ms.is_(None))
    if batch is not None:
        found = found.where(alarms.c.batch == batch)
    return _all(db, found.order_by(alarms.c.since_ms, alarms.c.id))


def alarms_changed(
    db: Connection, *, start: datetime, end: datetime, batch: str | None = None
) -> tuple[AlarmRecord, ...]:
    """Return the alarms that a cell raised or cleared from `start` until before `end`, in order."""
    changed = (
        select(alarm_changes.c.alarm_id)
        .where(alarm_changes.c.at_ms >= as_ms(start), alarm_changes.c.at_ms < as_ms(end))
        .where(alarm_changes.c.cue.in_((Cue.RAISED.value, Cue.CLEARED.value)))
    )
    found = _alarms().where(alarms.c.id.in_(changed))
    if batch is not None:
        found = found.where(alarms.c.batch == batch)
    return _all(db, found.order_by(alarms.c.since_ms, alarms.c.id))


def _standing(db: Connection, batch: str, condition: str) -> AlarmRecord | None:
    found = _alarms().where(
        alarms.c.batch == batch,
        alarms.c.condition == condition,
        alarms.c.state != AlarmState.NORMAL,
    )
    row = db.execute(found).one_or_none()
    return None if row is None else _record(row)


def _note_change(
    db: Connection,
    alarm_id: int,
    at: datetime,
    before: AlarmState,
    settled: AlarmState,
    cue: Cue,
    *,
    by: str | None = None,
    note: str | None = None,
) -> int:
    change = insert(alarm_changes).values(
        alarm_id=alarm_id,
        at_ms=as_ms(at),
        before=before.value,
        after=settled.value,
        cue=cue.value,
        by=by,
        note=note,
    )
    change_id: int = db.execute(change.returning(alarm_changes.c.id)).scalar_one()
    return change_id


def _priority() -> ColumnElement[str]:
    return alarms.c.priority


def _alarms() -> Select[tuple[object, ...]]:
    return select(alarms)


def _all(db: Connection, found: Select[tuple[object, ...]]) -> tuple[AlarmRecord, ...]:
    return tuple(_record(row) for row in db.execute(found))


def _record(row: Row[tuple[object, ...]]) -> AlarmRecord:
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
    )
