"""Groups of alarms that are told together, and the messages about them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import func, insert, or_, select, update

from api.records.alarms import alarm_record
from api.records.outbox import Cause, MessageKind, outbox_row, owe
from api.records.tables import (
    alarm_changes,
    alarm_group_members,
    alarm_groups,
    alarms,
    as_ms,
    instant,
    outbox,
)
from rules.model.alarm import AlarmState, Cue

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from sqlalchemy import Connection, Row

    from api.records.alarms import AlarmRecord
    from api.records.outbox import OutboxRow
    from rules.model.people import Person

_RINGS = (Cue.RAISED, Cue.SHELF_RAN_OUT, Cue.SUPPRESSION_ENDED, Cue.UNSHELVED, Cue.PUT_BACK)


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
            alarm_changes.c.cue.in_(_RINGS),
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

    A group gathers as long as its last member opened at `alive_since` or later.
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
    known = set(
        db.execute(
            select(alarm_group_members.c.change_id).where(
                alarm_group_members.c.group_id == group_id
            )
        ).scalars()
    )
    for one in joining:
        if one.change_id not in known:
            db.execute(
                insert(alarm_group_members).values(
                    group_id=group_id, change_id=one.change_id, alarm_id=one.alarm_id
                )
            )
    return alarm_group(db, group_id)


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
            alarm_changes.c.cue.in_(_RINGS),
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


def owe_group(
    db: Connection, group: AlarmGroup, *, person: Person, at: datetime, due_at: datetime
) -> None:
    """Owe a person a message about a group, by the instant `due_at`.

    A message that still waits takes in all that happens until it is sent, so that no second one
    is owed beside it.
    """
    waits = select(outbox.c.id).where(
        outbox.c.group_id == group.id,
        outbox.c.person == person.id,
        outbox.c.sent_ms.is_(None),
        outbox.c.gave_up_ms.is_(None),
        outbox.c.leased_until_ms.is_(None),
    )
    if db.execute(waits.limit(1)).one_or_none() is not None:
        return
    told = select(func.count(outbox.c.cause.distinct())).where(
        outbox.c.group_id == group.id, outbox.c.person == person.id
    )
    number = db.execute(told).scalar_one() + 1
    batch = next((one.batch for one in members_of(db, group.id)), group.place)
    cause = Cause(
        f"group.{group.id}.{number}", MessageKind.GROUPED, batch, group.last, group_id=group.id
    )
    owe(db, cause, person=person, at=at, due_at=due_at)


def told_in_group(db: Connection, group_id: int) -> tuple[str, ...]:
    """Return the ids of people who were told of a group, or are about to be."""
    found = (
        select(outbox.c.person)
        .where(outbox.c.group_id == group_id, outbox.c.gave_up_ms.is_(None))
        .group_by(outbox.c.person)
        .order_by(func.min(outbox.c.id))
    )
    return tuple(db.execute(found).scalars())


def last_told(db: Connection, group_id: int) -> datetime | None:
    """Return when the newest message about a group was due; None before the first."""
    last = db.execute(
        select(func.max(outbox.c.due_ms)).where(outbox.c.group_id == group_id)
    ).scalar_one()
    return None if last is None else instant(last)


def _group(row: Row[tuple[object, ...]]) -> AlarmGroup:
    return AlarmGroup(
        id=row.id,
        kind=GroupKind(row.kind),
        place=row.place,
        common=row.common,
        began=instant(row.began_ms),
        last=instant(row.last_ms),
    )
