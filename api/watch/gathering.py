"""Owes messages about alarms that ring and alarms that are over: each alone, or gathered.

What rings again and again, and what many alarms of a house have in common, is told in one message
that waits a little for more; see `rules.floods`. Nothing is left out: a group lists all of it.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from api.records.alarms import alarm as alarm_record_of
from api.records.groups import (
    GroupKind,
    Rung,
    group_of_ring,
    join_group,
    last_told,
    members_of,
    owe_group,
    rings_of,
    told_in_group,
)
from api.records.outbox import Cause, MessageKind, owe, told_of
from api.records.tables import as_ms, instant
from rules.floods import (
    CHATTER_MIN,
    FLOOD_MIN,
    GATHER_MIN,
    RINGS_HELD_MIN,
    Flood,
    Ring,
    chatters,
    sorted_rings,
)
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import Moved
    from api.records.groups import AlarmGroup
    from api.watch.ground import Ground

_GATHER = timedelta(minutes=GATHER_MIN)
_FLOOD = timedelta(minutes=FLOOD_MIN)
_CHATTER = timedelta(minutes=CHATTER_MIN)


def tell_rung(
    db: Connection, rung: Sequence[Moved], *, minute: int, ground: Ground, now: datetime
) -> None:
    """Owe messages about alarms that are unacknowledged from a cell on, to those on duty."""
    at = instant(minute * MINUTE_MS)
    rings: list[Ring] = []
    for moved in rung:
        condition = ground.condition(moved.alarm.batch, moved.alarm.condition, minute)
        if _chatters(db, moved, at):
            _gather_rings(db, moved, at=at, ground=ground, now=now)
        elif condition is None:
            _tell_alone(db, moved.change_id, moved.alarm.id, at=at, ground=ground, now=now)
        else:
            rings.append(Ring(moved.change_id, moved.alarm.id, minute, condition))
    if not rings:
        return
    in_order = sorted_rings(rings, _recent(db, rings, at=at, ground=ground))
    for ring in in_order.alone:
        _tell_alone(db, ring.change_id, ring.alarm_id, at=at, ground=ground, now=now)
    for flood in in_order.floods:
        _gather_flood(db, flood, at=at, ground=ground, now=now)


def tell_over(db: Connection, over: Sequence[Moved], *, ground: Ground, now: datetime) -> None:
    """Owe messages about alarms that a cell has ended, to those who were told of them.

    A group that is over is told once, when the last of its alarms is.
    """
    for moved in over:
        alarm = moved.alarm
        about = alarm.ended_at or alarm.opened_at
        group = group_of_ring(db, alarm.id)
        if group is not None and group.kind is GroupKind.RINGS:
            _owe_rings(db, group, told_in_group(db, group.id), ground=ground, now=now)
            continue
        cause = Cause(
            f"change.{moved.change_id}", MessageKind.CLOSED, alarm.batch, about, alarm_id=alarm.id
        )
        for person in ground.people(told_of(db, alarm.id)):
            owe(db, cause, person=person, at=now)
        if group is not None and all(one.ended_at is not None for one in members_of(db, group.id)):
            for person in ground.people(told_in_group(db, group.id)):
                owe_group(db, group, person=person, at=now, due_at=now)


def _tell_alone(
    db: Connection,
    change_id: int,
    alarm_id: int,
    *,
    at: datetime,
    ground: Ground,
    now: datetime,
) -> None:
    alarm = alarm_record_of(db, alarm_id)
    key = f"change.{change_id}"
    cause = Cause(key, MessageKind.OPENED, alarm.batch, at, alarm_id=alarm_id)
    for person in ground.on_duty(at + timedelta(minutes=1)):
        owe(db, cause, person=person, at=now)


def _gather_flood(
    db: Connection, flood: Flood, *, at: datetime, ground: Ground, now: datetime
) -> None:
    if flood.first is not None:
        first = flood.first
        _tell_alone(db, first.change_id, first.alarm_id, at=at, ground=ground, now=now)
    group = join_group(
        db,
        GroupKind.FLOOD,
        place=flood.house,
        common=flood.common.value,
        members=[_rung(ring) for ring in (*flood.before, *flood.fresh)],
        at=at,
        alive_since=at - _FLOOD,
    )
    for person in ground.on_duty(at + timedelta(minutes=1)):
        owe_group(db, group, person=person, at=now, due_at=now + _GATHER)


def _chatters(db: Connection, moved: Moved, at: datetime) -> bool:
    before = [
        as_ms(ring.at) // MINUTE_MS
        for ring in rings_of(db, since=at - _CHATTER, until=at, before_change=moved.change_id)
        if (ring.batch, ring.condition) == (moved.alarm.batch, moved.alarm.condition)
    ]
    return chatters(before, as_ms(at) // MINUTE_MS)


def _gather_rings(
    db: Connection, moved: Moved, *, at: datetime, ground: Ground, now: datetime
) -> None:
    ours = (moved.alarm.batch, moved.alarm.condition)
    earlier = [
        ring
        for ring in rings_of(db, since=at - _CHATTER, until=at, before_change=moved.change_id)
        if (ring.batch, ring.condition) == ours
    ]
    group = join_group(
        db,
        GroupKind.RINGS,
        place=moved.alarm.batch,
        common=moved.alarm.condition,
        members=[*earlier, Rung(moved.change_id, moved.alarm.id, *ours, at)],
        at=at,
        alive_since=at - _CHATTER,
    )
    on_duty = [person.id for person in ground.on_duty(at + timedelta(minutes=1))]
    _owe_rings(db, group, on_duty, ground=ground, now=now)


def _owe_rings(
    db: Connection, group: AlarmGroup, ids: Sequence[str], *, ground: Ground, now: datetime
) -> None:
    """Owe the next message about one that rings: the first at once, later ones in their time."""
    priority = members_of(db, group.id)[-1].priority
    told = last_told(db, group.id)
    hold = timedelta(minutes=RINGS_HELD_MIN[priority])
    due_at = now if told is None else max(now, told + hold)
    for person in ground.people(ids):
        owe_group(db, group, person=person, at=now, due_at=due_at)


def _rung(ring: Ring) -> Rung:
    about = ring.condition
    at = instant(ring.minute * MINUTE_MS)
    return Rung(ring.change_id, ring.alarm_id, about.batch, about.name, at)


def _recent(
    db: Connection, rings: Sequence[Ring], *, at: datetime, ground: Ground
) -> tuple[Ring, ...]:
    """Return the rings before these, of the span in which they can be of one flood."""
    fresh = {ring.change_id for ring in rings}
    found: list[Ring] = []
    for one in rings_of(db, since=at - _FLOOD, until=at):
        minute = as_ms(one.at) // MINUTE_MS
        condition = ground.condition(one.batch, one.condition, minute)
        if one.change_id not in fresh and condition is not None:
            found.append(Ring(one.change_id, one.alarm_id, minute, condition))
    return tuple(found)
