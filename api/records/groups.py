"""Groups of alarms that are told together, and the messages about them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import func, insert, or_, select, update

from api.records.alarms import WAITING, acknowledge, alarm_record
from api.records.outbox import Cause, MessageKind, found_messages, outbox_row, owe_likewise
from api.records.tables import (
    alarm_changes,
    alarm_group_members,
    alarm_groups,
    alarms,
    as_ms,
    instant,
    outbox,
)
from rules.floods import RINGS_HELD_MIN
from rules.model.alarm import AlarmState, Cue, Priority

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence
    from datetime import datetime

    from sqlalchemy import Connection, Row

    from api.records.alarms import AlarmRecord
    from api.records.outbox import OutboxRow

RINGS = (Cue.RAISED, Cue.SHELF_RAN_OUT, Cue.SUPPRESSION_ENDED, Cue.UNSHELVED, Cue.PUT_BACK)


class GroupKind(StrEnum):
    """Many alarms of one house with one cause, or one condition that rings again and again."""

    FLOOD = "flood"
    RINGS = "rings"


@dataclass(frozen=True, slots=True)
class AlarmGroup:
    """Alarms that are told together.

    Of a flood `place` is the house and `common` what its alarms have in common; of one that rings
    they are batch and condition. `began` and `last` are when its first and last member opened.
    """

    id: int
    kind: GroupKind
    place: str
    common: str
    began: datetime
    last: datetime


@dataclass(frozen=True, slots=True)
class Rung:
    """One opening of an alarm of which people are to know: the change's number, and when."""

    change_id: int
    alarm_id: int
    batch: str
    condition: str
    at: datetime


def rings_of(
    db: Connection, *, since: datetime, until: datetime, before_change: int | None = None
) -> tuple[Rung, ...]:
    """Return every opening after `since`, up to `until`, in order; held ones are no rings."""
    found = (
        select(
            alarm_changes.c.id,
            alarm_changes.c.alarm_id,
            alarm_changes.c.at_ms,
            alarms.c.batch,
            alarms.c.condition,
        )
        .join(alarms, alarms.c.id == alarm_changes.c.alarm_id)
        .where(
            alarm_changes.c.cue.in_(RINGS),
            alarm_changes.c.after == AlarmState.UNACKNOWLEDGED,
            alarm_changes.c.at_ms > as_ms(since),
            alarm_changes.c.at_ms <= as_ms(until),
        )
    )
    if before_change is not None:
        found = found.where(alarm_changes.c.id < before_change)
    return tuple(
        Rung(row.id, row.alarm_id, row.batch, row.condition, instant(row.at_ms))
        for row in db.execute(found.order_by(alarm_changes.c.id))
    )


def join_group(
    db: Connection,
    kind: GroupKind,
    *,
    place: str,
    common: str,
    members: Iterable[Rung],
    at: datetime,
    alive_since: datetime,
) -> AlarmGroup:
    """Add openings, in order, to the group of this kind that still gathers, or to a new one.

    A group gathers as long as its last member opened at `alive_since` or later. What joins once a
    message of the newest round has been put into words, or is graver than all in it, begins a
    round of its own, so that it is told too.
    """
    found = select(alarm_groups).where(
        alarm_groups.c.kind == kind.value,
        alarm_groups.c.place == place,
        alarm_groups.c.common == common,
        alarm_groups.c.last_ms >= as_ms(alive_since),
    )
    row = db.execute(found.order_by(alarm_groups.c.id.desc()).limit(1)).one_or_none()
    joining = tuple(members)
    if row is None:
        began = min((one.at for one in joining), default=at)
        fresh = insert(alarm_groups).values(
            kind=kind.value, place=place, common=common, began_ms=as_ms(began), last_ms=as_ms(at)
        )
        group_id: int = db.execute(fresh.returning(alarm_groups.c.id)).scalar_one()
    else:
        group_id = row.id
        db.execute(
            update(alarm_groups).where(alarm_groups.c.id == group_id).values(last_ms=as_ms(at))
        )
    known = {member.change_id for member in memberships(db, (group_id,))}
    new = [one for one in joining if one.change_id not in known]
    number = _round_for(db, group_id, [one.alarm_id for one in new])
    for one in new:
        db.execute(
            insert(alarm_group_members).values(
                group_id=group_id, change_id=one.change_id, alarm_id=one.alarm_id, round=number
            )
        )
    return alarm_group(db, group_id)


def _round_for(db: Connection, group_id: int, alarm_ids: Collection[int]) -> int:
    """Return the round of a group in which these alarms are told: the newest one, or the next."""
    members = memberships(db, (group_id,))
    newest = max((member.round for member in members), default=0)
    if newest == 0:
        return 1
    in_it = {member.alarm_id for member in members if member.round == newest}
    claimed = select(outbox.c.id).where(
        outbox.c.group_id == group_id,
        outbox.c.group_round >= newest,
        or_(outbox.c.attempts > 0, outbox.c.gave_up_ms.is_not(None)),
    )
    gone = db.execute(claimed.limit(1)).one_or_none() is not None
    graver = _urgency(db, alarm_ids) < _urgency(db, in_it)
    return newest + 1 if gone or graver else newest


def _urgency(db: Connection, alarm_ids: Collection[int]) -> int:
    found = db.execute(select(alarms.c.priority).where(alarms.c.id.in_(alarm_ids))).scalars()
    urgency = [one.value for one in Priority]
    return min((urgency.index(one) for one in found), default=len(urgency))


@dataclass(frozen=True, slots=True)
class Membership:
    """One opening in a group: of which alarm, and in which round of the group it is told."""

    group_id: int
    change_id: int
    alarm_id: int
    round: int


def memberships(db: Connection, group_ids: Collection[int]) -> tuple[Membership, ...]:
    """Return every opening that some groups have gathered, in order."""
    found = select(alarm_group_members).where(alarm_group_members.c.group_id.in_(group_ids))
    return tuple(
        Membership(row.group_id, row.change_id, row.alarm_id, row.round)
        for row in db.execute(found.order_by(alarm_group_members.c.change_id))
    )


def group_ids_of(db: Connection, alarm_ids: Collection[int]) -> tuple[int, ...]:
    """Return the numbers of the groups in which any of some alarms was ever told, in order."""
    found = (
        select(alarm_group_members.c.group_id)
        .where(alarm_group_members.c.alarm_id.in_(alarm_ids))
        .distinct()
    )
    return tuple(db.execute(found.order_by(alarm_group_members.c.group_id)).scalars())


def alarm_group(db: Connection, group_id: int) -> AlarmGroup:
    """Return one group; `sqlalchemy.exc.NoResultFound` if there is none of this number."""
    return _group(db.execute(select(alarm_groups).where(alarm_groups.c.id == group_id)).one())


def messages_about(db: Connection, alarm_id: int) -> tuple[OutboxRow, ...]:
    """Return every message about an alarm, alone or in a group, in the order they were owed."""
    groups = select(alarm_group_members.c.group_id).where(
        alarm_group_members.c.alarm_id == alarm_id
    )
    found = select(outbox).where(or_(outbox.c.alarm_id == alarm_id, outbox.c.group_id.in_(groups)))
    return tuple(outbox_row(row) for row in db.execute(found.order_by(outbox.c.id)))


def group_of_ring(db: Connection, alarm_id: int) -> AlarmGroup | None:
    """Return the group in which the last opening of an alarm was told; None if told alone."""
    last = (
        select(func.max(alarm_changes.c.id))
        .where(
            alarm_changes.c.alarm_id == alarm_id,
            alarm_changes.c.cue.in_(RINGS),
            alarm_changes.c.after == AlarmState.UNACKNOWLEDGED,
        )
        .scalar_subquery()
    )
    found = (
        select(alarm_groups)
        .join(alarm_group_members, alarm_group_members.c.group_id == alarm_groups.c.id)
        .where(alarm_group_members.c.change_id == last)
        .order_by(alarm_groups.c.id.desc())
        .limit(1)
    )
    row = db.execute(found).one_or_none()
    return None if row is None else _group(row)


def groups_since(db: Connection, since: datetime) -> tuple[AlarmGroup, ...]:
    """Return the groups whose last member opened at `since` or later, the newest first."""
    found = select(alarm_groups).where(alarm_groups.c.last_ms >= as_ms(since))
    return tuple(_group(row) for row in db.execute(found.order_by(alarm_groups.c.id.desc())))


def members_of(db: Connection, group_id: int) -> tuple[AlarmRecord, ...]:
    """Return the alarms of a group as they stand now, each once, in the order they joined."""
    first = (
        select(
            alarm_group_members.c.alarm_id,
            func.min(alarm_group_members.c.change_id).label("joined"),
        )
        .where(alarm_group_members.c.group_id == group_id)
        .group_by(alarm_group_members.c.alarm_id)
        .subquery()
    )
    found = select(alarms).join(first, first.c.alarm_id == alarms.c.id).order_by(first.c.joined)
    return tuple(alarm_record(row) for row in db.execute(found))


def times_rung(db: Connection, group_id: int) -> int:
    """Return how many openings a group has gathered."""
    found = select(func.count()).where(alarm_group_members.c.group_id == group_id)
    return db.execute(found).scalar_one()


def messages_of_groups(db: Connection, group_ids: Collection[int]) -> tuple[OutboxRow, ...]:
    """Return every message about some groups, in the order in which they were owed."""
    return found_messages(db, outbox.c.group_id.in_(group_ids))


def owe_over(db: Connection, group: AlarmGroup, *, change_id: int, at: datetime) -> None:
    """Owe word that a group is over to those who were told of it, by the ways by which they were.

    `change_id` is the change that ended it. A message that still waits takes it in. Of what rings
    again and again it goes in its time, so that it takes in the next ring too.
    """
    rows = messages_of_groups(db, (group.id,))
    batch = next((one.batch for one in members_of(db, group.id)), group.place)
    key = f"group.{group.id}.over.{change_id}"
    cause = Cause(key, MessageKind.GROUPED, batch, at, group_id=group.id)
    told = dict.fromkeys((row.person, row.channel) for row in rows if row.gave_up_at is None)
    for person, way in told:
        mine = [row for row in rows if (row.person, row.channel) == (person, way)]
        if not any(row.waits for row in mine):
            due_at = next_word_at(db, group, mine, now=at)
            owe_likewise(db, cause, mine[-1], at=at, due_at=due_at)


def next_word_at(
    db: Connection, group: AlarmGroup, rows: Sequence[OutboxRow], *, now: datetime
) -> datetime:
    """Return when the next message about a group may go to someone who was sent `rows` of it."""
    if group.kind is not GroupKind.RINGS:
        return now
    priority = members_of(db, group.id)[-1].priority
    hold = timedelta(minutes=RINGS_HELD_MIN[priority])
    return max((now, *(row.due_at + hold for row in rows)))


def acknowledge_group(
    db: Connection, group_id: int, *, by: str, at: datetime, note: str | None = None
) -> tuple[AlarmRecord, ...]:
    """Acknowledge every alarm of a group that waits for someone; return them as they stand after.

    sqlalchemy.exc.NoResultFound if there is no group of this number; none if nothing waits.
    """
    group = alarm_group(db, group_id)
    return tuple(
        acknowledge(db, one.id, by=by, at=at, note=note)
        for one in members_of(db, group.id)
        if one.state in WAITING
    )


def _group(row: Row[tuple[object, ...]]) -> AlarmGroup:
    return AlarmGroup(
        id=row.id,
        kind=GroupKind(row.kind),
        place=row.place,
        common=row.common,
        began=instant(row.began_ms),
        last=instant(row.last_ms),
    )
