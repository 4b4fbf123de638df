"""Every alarm that waits for someone, with whom it was told to, and the messages that makes due.

The decision is `rules.escalation`'s; here it is given what the records know, and what it says is
owed in the outbox under a cause of its own, so that no step is ever owed twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from api.records.alarms import standing_alarms
from api.records.outbox import Cause, MessageKind, OutboxRow, messages_about, owe_step
from api.records.tables import alarm_changes, as_ms, instant, outbox, watch_gaps
from api.records.ways import failed_way_in
from rules.escalation import Course, Outcome, Told, owed_now
from rules.model.alarm import AlarmState, Cue
from rules.model.people import Role
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import AlarmRecord
    from rules.escalation import Owed
    from rules.model.site import Site

FIRST_STEP = f"0.{Role.ON_DUTY.value}"
"""The step under which a message counts that another part owed, such as word of unwatched time."""

_MINUTE = timedelta(minutes=1)
_WAITING = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED)


@dataclass(frozen=True, slots=True)
class Running:
    """An alarm that waits, the change that raised it last, and its course up to now."""

    alarm: AlarmRecord
    change_id: int
    course: Course


def running_courses(db: Connection, site: Site) -> tuple[Running, ...]:
    """Return every alarm that nobody has acknowledged, with its course.

    One that was raised while nobody watched is left out until the message about that time is owed.
    """
    waiting = [alarm for alarm in standing_alarms(db) if alarm.state in _WAITING]
    if not waiting:
        return ()
    ids = [alarm.id for alarm in waiting]
    raised, messages = raised_by(db, ids), messages_about(db, ids)
    found: list[Running] = []
    for alarm in waiting:
        change_id = raised.get(alarm.id)
        if change_id is None:
            continue
        told = tuple(_told(row) for row in messages[alarm.id] if _tells(row, change_id))
        if not told and (gap := _gap_over(db, alarm.opened_at)) is not None:
            told = _told_of_gap(db, gap, alarm.batch)
            if not told:
                continue
        course = Course(
            priority=alarm.priority,
            opened_at=alarm.opened_at + _MINUTE,  # a cell is judged as a whole
            acknowledged=False,
            over=alarm.ended_at is not None,
            told=told,
            failed_way=failed_way_in(site, alarm.condition),
        )
        found.append(Running(alarm, change_id, course))
    return tuple(found)


def raised_by(db: Connection, alarm_ids: Collection[int]) -> Mapping[int, int]:
    """Return the number of the change that raised each of some alarms last."""
    found = (
        select(alarm_changes.c.alarm_id, func.max(alarm_changes.c.id).label("change_id"))
        .where(alarm_changes.c.alarm_id.in_(alarm_ids), alarm_changes.c.cue == Cue.RAISED.value)
        .group_by(alarm_changes.c.alarm_id)
    )
    return {row.alarm_id: row.change_id for row in db.execute(found)}


def steps_due(db: Connection, site: Site, *, now: datetime) -> tuple[tuple[Running, Owed], ...]:
    """Return the messages that are due to be owed now, with their alarms; nothing is written."""
    return tuple(
        (one, owed) for one in running_courses(db, site) for owed in owed_now(site, one.course, now)
    )


def owe_steps(db: Connection, site: Site, *, now: datetime) -> int:
    """Owe every message that has come due; return how many are new."""
    people = {person.id: person for person in site.person}
    new = 0
    for one, owed in steps_due(db, site, now=now):
        kind = MessageKind.OPENED if one.course.failed_way is None else MessageKind.WAY
        cause = Cause(
            f"change.{one.change_id}.{owed.step}",
            kind,
            one.alarm.batch,
            one.alarm.opened_at,
            alarm_id=one.alarm.id,
        )
        new += owe_step(db, cause, owed, person=people[owed.person], at=now)
    return new


def _tells(row: OutboxRow, change_id: int) -> bool:
    """Return whether a message tells of the alarm as it was raised by this very change."""
    ours = row.kind in {MessageKind.OPENED, MessageKind.WAY}
    return ours and (f"{row.cause}.").startswith(f"change.{change_id}.")


def _told(row: OutboxRow) -> Told:
    return Told(
        step=row.step or FIRST_STEP,
        person=row.person,
        way=row.channel,
        at=row.owed_at,
        outcome=row.outcome,
        held_until=row.held_until,
        instead_of=row.instead_of,
    )


def _gap_over(db: Connection, at: datetime) -> int | None:
    found = select(watch_gaps.c.id).where(
        watch_gaps.c.from_minute * MINUTE_MS <= as_ms(at),
        watch_gaps.c.to_minute * MINUTE_MS > as_ms(at),
    )
    gap: int | None = db.execute(found).scalar()
    return gap


def _told_of_gap(db: Connection, gap_id: int, batch: str) -> tuple[Told, ...]:
    """Return whom the message about unwatched time told; it passes itself over where it fails."""
    rows = db.execute(
        select(outbox.c.id, outbox.c.person, outbox.c.channel, outbox.c.owed_ms).where(
            outbox.c.gap_id == gap_id, outbox.c.batch == batch
        )
    )
    return tuple(
        Told(FIRST_STEP, row.person, row.channel, instant(row.owed_ms), Outcome.ARRIVED)
        for row in rows
    )
