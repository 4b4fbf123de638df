"""The words of a message that is owed, and what happens to it after a try."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from api.alerts.message import Addressed, MessageText, Writer
from api.alerts.together import group_words
from api.alerts.why import belief_behind
from api.records.alarms import alarm, alarms_changed
from api.records.outbox import (
    Cause,
    MessageKind,
    messages_for,
    owe,
    record_failed,
    record_given_up,
    told_of,
)
from api.records.watch import watch_gap

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.outbox import OutboxRow
    from rules.evaluator import Watchlist
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


def words_of(
    db: Connection,
    row: OutboxRow,
    person: Person,
    *,
    writer: Writer,
    watched: Watchlist,
    now: datetime,
) -> MessageText | None:
    """Write the message from what the records say now; None if nothing is left to tell."""
    people = People(writer.site)
    told = [
        other.person
        for other in messages_for(db, row.cause)
        if other.person != row.person and other.gave_up_at is None
    ]
    missed = None if row.instead_of is None else people.find(row.instead_of)
    to = Addressed(
        person=person,
        others=people.names(told),
        instead_of=row.instead_of if missed is None else missed.name,
        now=now,
    )
    if row.kind is MessageKind.UNWATCHED:
        gap = None if row.gap_id is None else watch_gap(db, row.gap_id)
        if gap is None:
            return None
        changed = alarms_changed(db, start=gap.start, end=gap.end, batch=row.batch)
        return writer.unwatched(changed, gap, to) if changed else None
    if row.group_id is not None:
        return group_words(db, row.group_id, to, writer=writer, watched=watched)
    if row.alarm_id is None:
        return None
    about = alarm(db, row.alarm_id)
    if row.kind is MessageKind.OPENED:
        return writer.opened(about, to, belief=belief_behind(db, watched, about))
    if row.person not in told_of(db, about.id):
        return None  # who never heard that it began need not hear that it is over
    return writer.closed(about, row.about, to)


class AfterFailure(StrEnum):
    """What becomes of a message that could not be sent."""

    TRIED_AGAIN = "tried_again"
    GIVEN_UP = "given_up"
    PASSED_ON = "passed_on"


def after_failure(
    db: Connection, row: OutboxRow, *, error: str, site: Site, now: datetime
) -> AfterFailure:
    """Keep why a message was not sent, and settle what becomes of it.

    After MOST_TRIES a message is given up, and once a person has no channel left the lead is told
    instead. A message that nobody else can take over is tried on for a day: a mail server that is
    down for an hour must not swallow it. That something is over is never passed on.
    """
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
    """Keep that a message is given up; tell the lead instead if that helps."""
    record_given_up(db, row.id, error=error, at=now)
    lead = People(site).find(site.lead)
    if lead is None or row.person == lead.id or row.kind is MessageKind.CLOSED:
        return AfterFailure.GIVEN_UP
    if _other_ways(db, row):
        return AfterFailure.GIVEN_UP
    cause = Cause(row.cause, row.kind, row.batch, row.about, row.alarm_id, row.gap_id, row.group_id)
    owe(db, cause, person=lead, at=now, instead_of=row.person)
    return AfterFailure.PASSED_ON


def _other_ways(db: Connection, row: OutboxRow) -> bool:
    """Return whether the person is told the same by another channel, now or still to come."""
    return any(
        other.person == row.person and other.id != row.id and other.gave_up_at is None
        for other in messages_for(db, row.cause)
    )
