"""Owes messages about alarms that ring and alarms that are over: each alone, or gathered.

What rings again and again, and what many alarms of a house have in common, is told in one message
that waits a little for more; see `rules.floods`. Nothing is left out: a group lists all of it.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from api.records.alarms import WAITING, alarm
from api.records.groups import (
    GroupKind,
    Rung,
    group_of_ring,
    join_group,
    members_of,
    owe_over,
    rings_of,
)
from api.records.outbox import Cause, MessageKind, owe, told_of
from api.records.steps import owe_steps
from api.records.tables import as_ms, instant
from rules.floods import (
    CHATTER_MIN,
    FLOOD_MIN,
    MANY,
    Common,
    Flood,
    Ring,
    chatters,
    common_of,
    sorted_rings,
)
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import Moved
    from api.records.watch import WatchGap
    from api.watch.ground import Ground

_FLOOD = timedelta(minutes=FLOOD_MIN)
_CHATTER = timedelta(minutes=CHATTER_MIN)


def tell_rung(
    db: Connection, rung: Sequence[Moved], *, minute: int, ground: Ground, now: datetime
) -> None:
    """Settle what of the alarms that ring from a cell on is told together; owe all that is due.

    Who is told, and by which way, is the rota's decision alone; see `api.records.steps`.
    """
    at = instant(minute * MINUTE_MS)
    rings: list[Ring] = []
    lately: dict[tuple[str, str], list[Rung]] = {}
    for ring in rings_of(db, since=at - _CHATTER, until=at) if rung else ():
        lately.setdefault((ring.batch, ring.condition), []).append(ring)
    for moved in rung:
        condition = ground.condition(moved.alarm.batch, moved.alarm.condition, minute)
        ours = lately.get((moved.alarm.batch, moved.alarm.condition), [])
        earlier = [ring for ring in ours if ring.change_id < moved.change_id]
        if chatters([as_ms(ring.at) // MINUTE_MS for ring in earlier], minute):
            _gather_rings(db, moved, earlier, at=at)
        elif condition is not None:
            rings.append(Ring(moved.change_id, moved.alarm.id, minute, condition))
    floods: tuple[Flood, ...] = ()
    if rings:
        floods = sorted_rings(rings, _recent(db, rings, at=at, ground=ground)).floods
    for flood in floods:
        join_group(
            db,
            GroupKind.FLOOD,
            place=flood.house,
            common=flood.common.value,
            members=[_rung(ring) for ring in (*flood.before, *flood.fresh)],
            at=at,
            alive_since=at - _FLOOD,
        )
    first = [flood.first.change_id for flood in floods if flood.first is not None]
    if rung:
        owe_steps(db, ground.site, now=now, alone=first)


def tell_over(db: Connection, over: Sequence[Moved], *, ground: Ground, now: datetime) -> None:
    """Owe messages about alarms that a cell has ended, to those who were told of them.

    A group that is over is told once, when the last of its alarms is.
    """
    for moved in over:
        ended = moved.alarm
        about = ended.ended_at or ended.opened_at
        group = group_of_ring(db, ended.id)
        if group is None or group.kind is GroupKind.FLOOD:
            key = f"change.{moved.change_id}"
            cause = Cause(key, MessageKind.CLOSED, ended.batch, about, alarm_id=ended.id)
            for person in ground.people(told_of(db, ended.id)):
                owe(db, cause, person=person, at=now)
        if group is not None and all(one.ended_at is not None for one in members_of(db, group.id)):
            owe_over(db, group, change_id=moved.change_id, at=now)


def gather_unwatched(db: Connection, gap: WatchGap, *, ground: Ground) -> frozenset[int]:
    """Gather what opened while nobody watched, MANY of a house with one thing in common.

    Return the numbers of the alarms that are told so. The minutes between them do not matter: all
    of it is told at once. A lot of which nothing waits for anybody any more is not gathered.
    """
    lots: dict[tuple[str, Common], dict[int, Rung]] = {}
    before = gap.start - timedelta(milliseconds=1)
    for one in rings_of(db, since=before, until=gap.end):
        if one.at >= gap.end or not ground.is_ours(one.batch):
            continue
        condition = ground.condition(one.batch, one.condition, as_ms(one.at) // MINUTE_MS)
        if condition is not None:
            lots.setdefault((condition.house, common_of(condition)), {})[one.alarm_id] = one
    gathered: set[int] = set()
    for (house, common), lot in lots.items():
        standing = [alarm_id for alarm_id in lot if alarm(db, alarm_id).state in WAITING]
        if len(standing) < MANY:
            continue
        join_group(
            db,
            GroupKind.FLOOD,
            place=house,
            common=common.value,
            members=[lot[alarm_id] for alarm_id in standing],
            at=max(lot[alarm_id].at for alarm_id in standing),
            alive_since=gap.end,  # a group of its own: it has a story of its own
        )
        gathered |= set(standing)
    return frozenset(gathered)


def _gather_rings(db: Connection, moved: Moved, earlier: Sequence[Rung], *, at: datetime) -> None:
    ours = (moved.alarm.batch, moved.alarm.condition)
    join_group(
        db,
        GroupKind.RINGS,
        place=moved.alarm.batch,
        common=moved.alarm.condition,
        members=[*earlier, Rung(moved.change_id, moved.alarm.id, *ours, at)],
        at=at,
        alive_since=at - _CHATTER,
    )


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
