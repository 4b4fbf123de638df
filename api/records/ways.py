"""A way to reach someone that fails is an alarm of its own, until a message gets through again.

Such an alarm belongs to no batch: its batch is empty, its condition names the person and the way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import func, or_, select

from api.records.alarms import clear_alarm, open_alarms, raise_alarm
from api.records.guarded import NO_BATCH, tell_over
from api.records.outbox import PASS_OVER_AFTER
from api.records.tables import instant, outbox
from rules.model.alarm import HELD, Priority

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.outbox import OutboxRow
    from rules.model.site import Site

PREFIX = "way."
_LONGEST = 80


def condition_of(person: str, way: str) -> str:
    """Return the condition under which a failing way of a person is kept."""
    return f"{PREFIX}{person}.{way}"[:_LONGEST]


def failed_way_in(site: Site, condition: str) -> tuple[str, str] | None:
    """Return the person and the way a condition speaks of; None for that of a batch.

    One that the site file no longer has is told as it was written.
    """
    if not condition.startswith(PREFIX):
        return None
    for person in site.person:
        for way in person.ways:
            if condition_of(person.id, way) == condition:
                return person.id, way
    name, _, way = condition.removeprefix(PREFIX).partition(".")
    return name, way


def way_failed(db: Connection, row: OutboxRow, *, now: datetime) -> bool:
    """Raise the alarm of a way that has failed too often; return whether it is new."""
    if row.attempts < PASS_OVER_AFTER:
        return False
    raised = raise_alarm(
        db,
        batch=NO_BATCH,
        condition=condition_of(row.person, row.channel),
        priority=Priority.MEDIUM,
        opened_at=now,
        since=row.owed_at if row.held_until is None else row.held_until,
        value=None,
    )
    return raised is not None


def way_works(db: Connection, row: OutboxRow, *, site: Site, now: datetime) -> bool:
    """Clear the alarm of a way by which a message got through; return whether there was one.

    Those who were told that it failed are owed word that it works.
    """
    condition = condition_of(row.person, row.channel)
    moved = clear_alarm(db, batch=NO_BATCH, condition=condition, at=now)
    if moved is None:
        return False
    if moved.alarm.state not in HELD:
        tell_over(db, moved.alarm, moved.change_id, site=site, now=now)
    return True


def forget_ways_gone(db: Connection, site: Site, *, now: datetime) -> int:
    """Clear the alarms of ways that the site file no longer has; return how many."""
    known = {condition_of(person.id, way) for person in site.person for way in person.ways}
    gone = [
        one.condition
        for one in open_alarms(db, NO_BATCH)
        if one.condition.startswith(PREFIX) and one.condition not in known
    ]
    for condition in gone:
        note = "the site file has this way no more"
        clear_alarm(db, batch=NO_BATCH, condition=condition, at=now, note=note)
    return len(gone)


@dataclass(frozen=True, slots=True)
class LastTry:
    """The newest message by one way that was sent or failed: when, and what went wrong if it did.

    `at` is when it was sent or, of one that has not arrived, when it was owed.
    """

    at: datetime
    arrived: bool
    error: str | None
    kind: str


def last_tries(db: Connection) -> Mapping[tuple[str, str], LastTry]:
    """Return the newest try by each way, by person and way; ways never tried are not in it."""
    newest = (
        select(func.max(outbox.c.id))
        .where(or_(outbox.c.sent_ms.is_not(None), outbox.c.last_error.is_not(None)))
        .group_by(outbox.c.person, outbox.c.channel)
    )
    rows = db.execute(select(outbox).where(outbox.c.id.in_(newest)))
    return {
        (row.person, row.channel): LastTry(
            at=instant(row.owed_ms if row.sent_ms is None else row.sent_ms),
            arrived=row.sent_ms is not None,
            error=row.last_error,
            kind=row.kind,
        )
        for row in rows
    }
