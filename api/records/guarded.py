"""Alarms of the tool itself: they belong to no batch, and their condition names the finding."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import update

from api.records.alarms import clear_alarm, open_alarms, raise_alarm, standing_alarm
from api.records.outbox import Cause, MessageKind, owe, told_of
from api.records.particulars import Particulars
from api.records.tables import alarms
from rules.model.alarm import HELD
from rules.vital_delays import sign_of
from rules.watchlist import BLIND

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import AlarmRecord
    from rules.model.people import Person
    from rules.model.site import Site
    from rules.vital_signs import Finding, Sign

NO_BATCH = ""
PREFIX = "guard."
_LONGEST = 80
_LONGEST_SAID = 300


def condition_of(key: str) -> str:
    """Return the condition under which a finding is kept."""
    return f"{PREFIX}{key}"[:_LONGEST]


def guarded_sign(condition: str) -> tuple[Sign, str] | None:
    """Return the sign and the subject that a condition speaks of; None for any other condition.

    >>> guarded_sign("guard.hub.h2")
    (<Sign.HUB: 'hub'>, 'h2')
    """
    if not condition.startswith(PREFIX):
        return None
    key = condition.removeprefix(PREFIX)
    sign = sign_of(key)
    return None if sign is None else (sign, key.partition(".")[2])


def open_findings(db: Connection) -> tuple[str, ...]:
    """Return the keys of the findings whose alarm stands open."""
    return tuple(
        one.condition.removeprefix(PREFIX)
        for one in open_alarms(db, NO_BATCH)
        if one.condition.startswith(PREFIX)
    )


def blind_batches(db: Connection) -> frozenset[str]:
    """Return the batches of which a vital quantity can't be seen now."""
    return frozenset(one.batch for one in open_alarms(db) if one.condition.startswith(BLIND))


def keep_opened(db: Connection, findings: Sequence[Finding], *, now: datetime) -> int:
    """Raise the alarm of each finding; return how many are new. Who is told, the steps decide."""
    new = 0
    for one in findings:
        raised = raise_alarm(
            db,
            batch=NO_BATCH,
            condition=condition_of(one.key),
            priority=one.priority,
            opened_at=now,
            since=now - timedelta(seconds=one.since_ago_s),
            value=one.figure,
            latch=False,
            particulars=_particulars(one),
        )
        new += raised is not None
    return new


def keep_closed(db: Connection, keys: Iterable[str], *, site: Site, now: datetime) -> None:
    """Clear the alarms of findings that are over; owe word of it to those who were told."""
    for key in keys:
        condition = condition_of(key)
        moved = clear_alarm(db, batch=NO_BATCH, condition=condition, at=now)
        if moved is not None and moved.alarm.state not in HELD:
            tell_over(db, moved.alarm, moved.change_id, site=site, now=now)


def tell_over(
    db: Connection, over: AlarmRecord, change_id: int, *, site: Site, now: datetime
) -> None:
    """Owe word that an alarm without a batch is over to those who were told that it began."""
    cause = Cause(f"change.{change_id}", MessageKind.CLOSED, NO_BATCH, now, alarm_id=over.id)
    for person in _people(site, told_of(db, over.id)):
        owe(db, cause, person=person, at=now)


def keep_standing(db: Connection, findings: Sequence[Finding]) -> None:
    """Keep what is known of findings that stand: more sensors, other batches, a fuller disk."""
    for one in findings:
        record = standing_alarm(db, NO_BATCH, condition_of(one.key))
        if record is None or record.ended_at is not None:
            continue
        known = _particulars(one)
        before = record.particulars
        if (known.sensors, known.batches) != (before.sensors, before.batches):
            db.execute(
                update(alarms).where(alarms.c.id == record.id).values(particulars=known.to_json())
            )


def _particulars(one: Finding) -> Particulars:
    return Particulars(
        sensors=one.sensors,
        batches=one.batches,
        said=one.said[:_LONGEST_SAID],
        lasts_h=None if one.lasts_s is None else one.lasts_s / 3600,
    )


def _people(site: Site, ids: Iterable[str]) -> tuple[Person, ...]:
    known = {person.id: person for person in site.person}
    return tuple(known[name] for name in dict.fromkeys(ids) if name in known)
