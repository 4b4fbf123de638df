"""Alarms that are held as records: shelved, suppressed by design, out of service, and let go."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import select

from api.records.alarms import AlarmRecord, alarm, alarm_record, begin_alarm, changes_of, move
from api.records.alarms import standing_alarm as standing
from api.records.tables import alarms, as_ms
from rules.model.alarm import HELD, AlarmState, Cue

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import Moved


def held_alarms(db: Connection) -> tuple[AlarmRecord, ...]:
    """Return the alarms that tell nobody now, in the order in which they began."""
    found = select(alarms).where(alarms.c.state.in_(HELD)).order_by(alarms.c.id)
    return tuple(alarm_record(row) for row in db.execute(found))


def shelve(
    db: Connection, alarm_id: int, *, by: str, at: datetime, until: datetime, why: str
) -> AlarmRecord:
    """Lay an alarm aside until an instant; return the alarm that is shelved.

    Of an alarm that is normal the next occurrence is shelved, as a new alarm.

    Raises
    ------
    UnknownAlarm
        There is no such alarm.
    rules.alarms.CueOutOfPlaceError
        It is held already.
    """
    record = _to_hold(db, alarm_id, at)
    return move(
        db,
        record,
        Cue.SHELVED,
        at=at,
        by=by,
        note=why,
        held_until_ms=as_ms(until),
        held_by=by,
        held_why=why,
    ).alarm


def take_out(db: Connection, alarm_id: int, *, by: str, at: datetime, why: str) -> AlarmRecord:
    """Take the condition of an alarm out of service; return the alarm that is. Raises as shelve."""
    record = _to_hold(db, alarm_id, at)
    return move(
        db,
        record,
        Cue.TAKEN_OUT,
        at=at,
        by=by,
        note=why,
        held_until_ms=None,
        held_by=by,
        held_why=why,
    ).alarm


def let_go(
    db: Connection,
    record: AlarmRecord,
    cue: Cue,
    *,
    at: datetime,
    by: str | None = None,
    note: str | None = None,
    suppressed: str | None = None,
) -> Moved:
    """End the holding of an alarm; if its condition is still true it is unacknowledged again.

    `suppressed` says by which work it is suppressed by design from now on, None: by none.
    CueOutOfPlaceError if the alarm is not held in that way.
    """
    unseen = _was_unseen(db, record)
    moved = move(db, record, cue, at=at, by=by, note=note, unseen=unseen)
    if suppressed is None or moved.alarm.state is not AlarmState.UNACKNOWLEDGED:
        return moved
    return move(db, moved.alarm, Cue.SUPPRESSED, at=at, note=suppressed, held_why=suppressed)


def _to_hold(db: Connection, alarm_id: int, at: datetime) -> AlarmRecord:
    record = alarm(db, alarm_id)
    if record.state is not AlarmState.NORMAL:
        return record
    again = standing(db, record.batch, record.condition)
    return again or begin_alarm(
        db,
        batch=record.batch,
        condition=record.condition,
        priority=record.priority,
        latch=record.latch,
        at=at,
    )


def _was_unseen(db: Connection, record: AlarmRecord) -> bool:
    """Return whether something happened that no person knows of.

    Whoever shelves an alarm has seen it, but not what was raised afterwards. A rule has seen
    nothing: what nobody had looked at before still waits. Out of service, an alarm is not believed.
    """
    raised = False
    for change in reversed(changes_of(db, record.id)):
        if change.before is change.after:
            raised = raised or change.cue is Cue.RAISED
            continue
        if record.state is AlarmState.SHELVED:
            return raised
        waited = {AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED}
        return record.state is AlarmState.SUPPRESSED_BY_DESIGN and change.before in waited
    return False
