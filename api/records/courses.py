"""Every alarm, and every group of alarms, that waits for someone, with whom it was told to so far.

An alarm that is told by itself has a course of its own. Of a group, the oldest round that still
waits has one; of the rounds that joined it later only the first word is owed, so that what goes on
joining never puts off the steps of what nobody has answered. Held alarms have none.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import and_, or_, select

from api.records.alarms import WAITING, alarm_record, standing_alarms
from api.records.groups import (
    RINGS,
    alarm_group,
    group_ids_of,
    memberships,
    messages_of_groups,
)
from api.records.guarded import NO_BATCH, condition_of
from api.records.outbox import MessageKind, messages_about
from api.records.tables import (
    alarm_changes,
    alarm_group_members,
    alarms,
    as_ms,
    instant,
    outbox,
    watch_gaps,
)
from api.records.ways import failed_way_in
from rules.escalation import Course, Outcome, Told, is_first_step
from rules.model.alarm import AlarmState, Cue, Priority
from rules.model.people import Role
from rules.model.reading import MINUTE_MS
from rules.vital_signs import Sign

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
    from collections.abc import Set as AbstractSet
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import AlarmRecord
    from api.records.groups import AlarmGroup
    from api.records.outbox import OutboxRow
    from rules.escalation import Owed
    from rules.model.site import Site

FIRST_STEP = f"0.{Role.ON_DUTY.value}"
"""The step under which a message counts that another part owed, such as word of unwatched time."""

TOLD_FOR = timedelta(days=1)
"""How long ways are sought for word of what ended by itself before anybody could be told."""

TOLD_BY_HAND = frozenset(condition_of(sign.value) for sign in (Sign.RECORDS, Sign.ALERTS))
"""What the guard tells by itself, since the outbox is part of what is wrong."""

_MINUTE = timedelta(minutes=1)
_BY_A_CELL = (Cue.RAISED, Cue.SHELF_RAN_OUT, Cue.SUPPRESSION_ENDED)


@dataclass(frozen=True, slots=True)
class Ring:
    """The opening of an alarm that rings now: the number of its change, and since when it is told.

    `unanswered` are all its openings from which nobody has answered, by number, with their
    instants; a latched alarm can ring again and again.
    """

    change_id: int
    at: datetime
    unanswered: Mapping[int, datetime]


@dataclass(frozen=True, slots=True)
class Running:
    """What is told by itself: an alarm, or one round of a group; with its course up to now.

    `key` begins the causes of its messages. `alarms` are those of it that wait, the gravest first.
    `group` and `round` are None and 0 for one alarm. `rows` are all messages of the group.
    """

    key: str
    alarms: tuple[AlarmRecord, ...]
    course: Course
    group: AlarmGroup | None = None
    round: int = 0
    rows: tuple[OutboxRow, ...] = field(default=(), repr=False)

    def says_it_already(self, owed: Owed, site: Site, soon: datetime) -> bool:
        """Return whether a first word is said by another message of the group, there or on its way.

        One that waits for its turn takes in whoever joins; danger does not wait for the end of
        quiet hours with it.
        """
        if self.group is None or not is_first_step(site, self.course.priority, owed.step):
            return False
        urgent = self.course.priority is Priority.HIGH
        return any(
            row.gave_up_at is None
            and ((row.group_round or 0) >= self.round or row.waits)
            and not (row.waits and urgent and (row.held_until or soon) > soon)
            for row in self.rows
            if (row.person, row.channel) == (owed.person, owed.way)
            and not row.cause.startswith(f"{self.key}.")
        )


def running_courses(
    db: Connection, site: Site, *, now: datetime, alone: Collection[int] = ()
) -> tuple[Running, ...]:
    """Return everything that nobody has answered, with its course.

    What was raised while nobody watched is left out until the message about that time is owed.
    `alone`: the numbers of openings that are told by themselves even in a group.
    """
    waiting = [
        one
        for one in standing_alarms(db)
        if one.state in WAITING and one.condition not in TOLD_BY_HAND
    ]
    waiting += _ended_untold(db, now)
    if not waiting:
        return ()
    ids = [one.id for one in waiting]
    rings = rings_now(db, ids)
    known = {one.id: one for one in waiting if one.id in rings}
    groups = {group_id: alarm_group(db, group_id) for group_id in group_ids_of(db, ids)}
    in_groups = {member.change_id for member in memberships(db, groups)} - set(alone)
    singles = {
        running.alarms[0].id: running
        for running in _singles(db, site, known.values(), rings, in_groups)
    }
    found = [
        running
        for alarm_id, running in singles.items()
        if running.course.told or rings[alarm_id].change_id not in in_groups
    ]
    for group in groups.values():
        found += _rounds(db, group, known, rings, singles)
    return tuple(found)


def rings_now(db: Connection, alarm_ids: Collection[int]) -> Mapping[int, Ring]:
    """Return the last opening of each of some alarms; held ones that were raised are none."""
    opened = (
        select(alarm_changes, alarms.c.batch)
        .join(alarms, alarms.c.id == alarm_changes.c.alarm_id)
        .where(
            alarm_changes.c.alarm_id.in_(alarm_ids),
            alarm_changes.c.cue.in_(RINGS),
            alarm_changes.c.after == AlarmState.UNACKNOWLEDGED.value,
        )
    )
    found: dict[int, Ring] = {}
    for row in db.execute(opened.order_by(alarm_changes.c.id)):
        # A cell is judged as a whole: what it causes is so at its end.
        of_cell = row.batch and row.cue in _BY_A_CELL
        at = instant(row.at_ms) + (_MINUTE if of_cell else timedelta())
        before = found.get(row.alarm_id)
        again = row.before == AlarmState.RETURNED_UNACKNOWLEDGED.value and before is not None
        earlier = before.unanswered if again and before is not None else {}
        found[row.alarm_id] = Ring(row.id, at, {**earlier, row.id: at})
    return found


def raised_by(db: Connection, alarm_ids: Collection[int]) -> Mapping[int, int]:
    """Return the number of the change that raised each of some alarms last."""
    return {alarm_id: ring.change_id for alarm_id, ring in rings_now(db, alarm_ids).items()}


def _ended_untold(db: Connection, now: datetime) -> list[AlarmRecord]:
    """Return alarms that came right by themselves while a message about them has not arrived."""
    unsent = and_(outbox.c.sent_ms.is_(None), outbox.c.due_ms > as_ms(now - TOLD_FOR))
    alone = select(outbox.c.alarm_id).where(outbox.c.kind == MessageKind.OPENED.value, unsent)
    together = (
        select(alarm_group_members.c.alarm_id)
        .join(outbox, outbox.c.group_id == alarm_group_members.c.group_id)
        .where(outbox.c.step.is_not(None), unsent)
    )
    found = select(alarms).where(
        or_(alarms.c.id.in_(alone), alarms.c.id.in_(together)),
        alarms.c.state == AlarmState.NORMAL.value,
        alarms.c.acknowledged_ms.is_(None),
    )
    return [alarm_record(row) for row in db.execute(found.order_by(alarms.c.id))]


def _singles(
    db: Connection,
    site: Site,
    waiting: Iterable[AlarmRecord],
    rings: Mapping[int, Ring],
    in_groups: AbstractSet[int],
) -> Iterator[Running]:
    waiting = tuple(waiting)
    messages = messages_about(db, [one.id for one in waiting])
    for alarm in waiting:
        ring = rings[alarm.id]
        key = f"change.{ring.change_id}"
        told = tuple(_told(row) for row in messages[alarm.id] if _tells(row, key))
        alone = not told and alarm.batch != NO_BATCH and ring.change_id not in in_groups
        gap = _gap_over(db, ring.at - _MINUTE) if alone else None
        if gap is not None:
            told = _told_of_gap(db, gap, alarm.batch)
            if not told:
                continue
        course = Course(
            priority=alarm.priority,
            opened_at=ring.at,
            acknowledged=False,
            over=alarm.ended_at is not None,
            told=told,
            failed_way=failed_way_in(site, alarm.condition),
            first_only=not in_groups.isdisjoint(ring.unanswered),
        )
        yield Running(key, (alarm,), course)


def _rounds(
    db: Connection,
    group: AlarmGroup,
    waiting: Mapping[int, AlarmRecord],
    rings: Mapping[int, Ring],
    singles: Mapping[int, Running],
) -> Iterator[Running]:
    """Yield the rounds of a group that wait for someone, the oldest first."""
    rounds: dict[int, dict[int, int]] = defaultdict(dict)
    for member in memberships(db, (group.id,)):
        ring = rings.get(member.alarm_id)
        if member.alarm_id in singles and ring and member.change_id in ring.unanswered:
            rounds[member.round].setdefault(member.alarm_id, member.change_id)
    rows = messages_of_groups(db, (group.id,)) if rounds else ()
    graver: Priority | None = None
    for number, ours in sorted(rounds.items()):
        members = sorted((waiting[one] for one in ours), key=lambda one: (_urgency(one), one.id))
        priority = members[0].priority
        worst = [one for one in members if one.priority is priority]
        key = f"group.{group.id}.{number}"
        course = Course(
            priority=priority,
            opened_at=min(rings[one.id].unanswered[ours[one.id]] for one in worst),
            acknowledged=False,
            over=all(one.ended_at is not None for one in members),
            told=tuple(_told(row) for row in rows if _tells(row, key)),
            first_only=graver is not None and _order(graver) <= _order(priority),
            said_at=_said_before(singles, worst),
        )
        if course.said_at is None and (gap := _gap_over(db, course.opened_at - _MINUTE)):
            # Nobody could be told before somebody watched again: from then the steps count.
            course = replace(course, opened_at=_end_of_gap(db, gap))
        if course.said_at is not None:
            course = replace(course, opened_at=min(course.opened_at, course.said_at))
        graver = priority if graver is None or _order(priority) < _order(graver) else graver
        yield Running(key, tuple(members), course, group, number, rows)


def _said_before(singles: Mapping[int, Running], members: Sequence[AlarmRecord]) -> datetime | None:
    """Return when the first of some alarms was told by itself, before there was a group."""
    told = [one.at for alarm in members for one in singles[alarm.id].course.told]
    return min(told, default=None)


def _urgency(one: AlarmRecord) -> int:
    return _order(one.priority)


def _order(priority: Priority) -> int:
    return list(Priority).index(priority)


def _tells(row: OutboxRow, key: str) -> bool:
    """Return whether a message tells of what causes that begin with `key` are about."""
    ours = row.kind in {MessageKind.OPENED, MessageKind.WAY, MessageKind.GROUPED}
    return ours and f"{row.cause}.".startswith(f"{key}.")


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


def _end_of_gap(db: Connection, gap_id: int) -> datetime:
    found = select(watch_gaps.c.to_minute).where(watch_gaps.c.id == gap_id)
    return instant(db.execute(found).scalar_one() * MINUTE_MS)


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
