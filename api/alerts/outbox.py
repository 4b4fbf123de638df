"""What happens to a message before it is sent, and after a try: it waits, is tried again, given up.

Who is told instead is not settled here: that is `rules.escalation`'s, from what is kept here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from api.records.alarms import WAITING, alarm, alarms_changed
from api.records.groups import members_of
from api.records.outbox import (
    Cause,
    MessageKind,
    messages_for,
    owe,
)
from api.records.sending import record_failed, record_given_up
from api.records.watch import watch_gap
from rules.escalation import held_until
from rules.model.alarm import Priority

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.outbox import OutboxRow
    from rules.model.people import Person
    from rules.model.site import Site

LEASE = timedelta(seconds=60)
"""Longer than the longest send, so that a message on its way is never sent a second time."""

PAUSES = tuple(timedelta(seconds=s) for s in (30, 60, 120, 300, 600, 600, 600))
"""How long to wait after each failed try; after one try more, the message is given up."""

MOST_TRIES = len(PAUSES) + 1

TRIED_FOR = timedelta(days=1)
"""How long a message is tried that nobody else can take over."""


@dataclass(frozen=True, slots=True)
class People:
    """Who can be written to, by id."""

    site: Site

    def find(self, person_id: str) -> Person | None:
        """Return the person, or None once they have left the site file."""
        return next((person for person in self.site.person if person.id == person_id), None)

    def names(self, ids: list[str]) -> tuple[str, ...]:
        """Return the names of people, each once, in the order of their ids."""
        found = (self.find(person_id) for person_id in dict.fromkeys(ids))
        return tuple(person.name for person in found if person is not None)


def waits_until(
    db: Connection, row: OutboxRow, person: Person, *, site: Site, now: datetime
) -> datetime | None:
    """Return when the quiet hours end for which a message must wait; None: it may go now."""
    priority = _priority(db, row)
    return None if priority is None else held_until(person, priority, now, site.site)


def _priority(db: Connection, row: OutboxRow) -> Priority | None:
    """Return how urgent a message is; None for one that a person has just asked for."""
    if row.kind is MessageKind.SHEET:
        return Priority.MEDIUM
    if row.alarm_id is not None:
        return alarm(db, row.alarm_id).priority
    if row.group_id is not None:
        members = members_of(db, row.group_id)
        waiting = [one for one in members if one.state in WAITING] or members
        return min((one.priority for one in waiting), key=list(Priority).index, default=None)
    gap = None if row.gap_id is None else watch_gap(db, row.gap_id)
    if gap is None:
        return None
    changed = alarms_changed(db, start=gap.start, end=gap.end, batch=row.batch or None)
    nothing = None if row.batch else Priority.MEDIUM  # that nobody watched is to be known by day
    return min((one.priority for one in changed), key=list(Priority).index, default=nothing)


class AfterFailure(StrEnum):
    """What becomes of a message that could not be sent."""

    TRIED_AGAIN = "tried_again"
    GIVEN_UP = "given_up"
    PASSED_ON = "passed_on"


def after_failure(
    db: Connection, row: OutboxRow, *, error: str, site: Site, now: datetime
) -> AfterFailure:
    """Keep why a message was not sent, and settle what becomes of it.

    After MOST_TRIES a message is given up. What the lead is owed and cannot be reached with by
    another way is tried on for a day: a mail server that is down for an hour must not swallow it.
    A test is tried once.
    """
    if row.kind is MessageKind.TEST:
        return give_up(db, row, error=error, site=site, now=now)
    if row.attempts < MOST_TRIES:
        record_failed(db, row.id, error=error, due_at=now + PAUSES[max(row.attempts, 1) - 1])
        return AfterFailure.TRIED_AGAIN
    stale = row.kind is MessageKind.CLOSED or now - row.owed_at >= TRIED_FOR
    if not stale and row.person == site.lead and not _other_ways(db, row):
        record_failed(db, row.id, error=error, due_at=now + PAUSES[-1])
        return AfterFailure.TRIED_AGAIN
    return give_up(db, row, error=error, site=site, now=now)


def give_up(
    db: Connection, row: OutboxRow, *, error: str, site: Site, now: datetime
) -> AfterFailure:
    """Keep that a message is given up. Word of unwatched time is handed on to the lead here."""
    record_given_up(db, row.id, error=error, at=now)
    lead = People(site).find(site.lead)
    if lead is None or row.person == lead.id or row.kind is not MessageKind.UNWATCHED:
        return AfterFailure.GIVEN_UP
    if _other_ways(db, row):
        return AfterFailure.GIVEN_UP
    cause = Cause(row.cause, row.kind, row.batch, row.about, row.alarm_id, row.gap_id)
    owe(db, cause, person=lead, at=now, instead_of=row.person)
    return AfterFailure.PASSED_ON


def _other_ways(db: Connection, row: OutboxRow) -> bool:
    """Return whether the person is told the same by another channel, now or still to come."""
    return any(
        other.person == row.person and other.id != row.id and other.gave_up_at is None
        for other in messages_for(db, row.cause)
    )
