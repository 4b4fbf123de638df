"""Owes the messages that the rota's decision makes due, of alarms told singly and of groups alike.

The decision is `rules.escalation`'s; what it says is owed in the outbox under a cause of its own,
so that no step is ever owed twice. A group changes how a thing is said, never whether, nor to whom.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from api.records.courses import running_courses
from api.records.groups import GroupKind, next_word_at
from api.records.outbox import Cause, MessageKind, owe_step
from rules.escalation import is_first_step, owed_now
from rules.floods import GATHER_MIN

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.courses import Running
    from rules.escalation import Owed
    from rules.model.site import Site

_GATHER = timedelta(minutes=GATHER_MIN)


def steps_due(
    db: Connection, site: Site, *, now: datetime, alone: Collection[int] = ()
) -> tuple[tuple[Running, Owed], ...]:
    """Return the messages that are due to be owed now, with what they are about.

    Nothing is written. `alone`: openings that are told by themselves even in a group.
    """
    soon = now + _GATHER
    return tuple(
        (one, owed)
        for one in running_courses(db, site, now=now, alone=alone)
        for owed in owed_now(site, one.course, now)
        if not one.says_it_already(owed, site, soon)
    )


def owe_steps(db: Connection, site: Site, *, now: datetime, alone: Collection[int] = ()) -> int:
    """Owe every message that has come due; return how many are new."""
    people = {person.id: person for person in site.person}
    new = 0
    for one, owed in steps_due(db, site, now=now, alone=alone):
        first = one.alarms[0]
        key = f"{one.key}.{owed.step}"
        if one.group is None:
            kind = MessageKind.OPENED if one.course.failed_way is None else MessageKind.WAY
            cause = Cause(key, kind, first.batch, first.opened_at, alarm_id=first.id)
        else:
            cause = Cause(
                key,
                MessageKind.GROUPED,
                first.batch,
                one.group.last,
                group_id=one.group.id,
                group_round=one.round,
            )
        due_at = _due(db, one, owed, site=site, now=now)
        new += owe_step(db, cause, owed, person=people[owed.person], at=now, due_at=due_at)
    return new


def _due(db: Connection, one: Running, owed: Owed, *, site: Site, now: datetime) -> datetime:
    """Return when a message goes: that of a group waits a little for more, or for its turn.

    The first of what rings again and again goes at once; so does every later step of a group, and
    what is owed because a way has failed.
    """
    if one.group is None or owed.instead_of is not None:
        return now
    if not is_first_step(site, one.course.priority, owed.step):
        return now
    if any(told.step == owed.step and told.person == owed.person for told in one.course.told):
        return now  # their next way, after one that failed
    if one.group.kind is GroupKind.FLOOD:
        return now + _GATHER
    mine = [row for row in one.rows if (row.person, row.channel) == (owed.person, owed.way)]
    return next_word_at(db, one.group, mine, now=now)
