"""What a person does to an alarm besides acknowledging it, and what follows from it at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.records.alarms import alarm
from api.records.holds import let_go, shelve, take_out
from api.records.tables import as_ms
from api.records.works import works_in_hand
from api.watch.gathering import tell_rung
from api.watch.ground import named
from rules.model.alarm import AlarmState, Cue
from rules.model.reading import minute_of
from rules.shelving import shelf

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import AlarmRecord
    from api.watch.ground import Ground


def shelve_alarm(
    db: Connection,
    alarm_id: int,
    *,
    ground: Ground,
    by: str,
    at: datetime,
    why: str,
    minutes: int | None = None,
) -> AlarmRecord:
    """Lay an alarm aside for a time, the usual one of its priority if `minutes` is None.

    Raises UnknownAlarm, rules.alarms.CueOutOfPlaceError when it is held already, and
    rules.shelving.ShelvedTooLong.
    """
    priority = alarm(db, alarm_id).priority
    held = shelf(ground.site.site, priority, at, minutes=minutes)
    return shelve(db, alarm_id, by=by, at=at, until=held.until, why=why)


def take_alarm_out(
    db: Connection, alarm_id: int, *, by: str, at: datetime, why: str
) -> AlarmRecord:
    """Take the condition of an alarm out of service. Raises UnknownAlarm, CueOutOfPlaceError."""
    return take_out(db, alarm_id, by=by, at=at, why=why)


def let_alarm_go(
    db: Connection,
    alarm_id: int,
    *,
    ground: Ground,
    by: str,
    at: datetime,
    note: str | None = None,
) -> AlarmRecord:
    """Take an alarm from the shelf, or put it back in service; who is on duty is told if it rings.

    Raises UnknownAlarm, and rules.alarms.CueOutOfPlaceError when it is neither shelved nor out of
    service.
    """
    record = alarm(db, alarm_id)
    cue = Cue.PUT_BACK if record.state is AlarmState.OUT_OF_SERVICE else Cue.UNSHELVED
    minute = minute_of(as_ms(at))
    works = works_in_hand(db, at)
    work = ground.suppressing(works, record.batch, record.condition, minute)
    moved = let_go(
        db, record, cue, at=at, by=by, note=note, suppressed=None if work is None else named(work)
    )
    if moved.alarm.state is AlarmState.UNACKNOWLEDGED:
        tell_rung(db, [moved], minute=minute, ground=ground, now=at)
    return moved.alarm
