"""What an event of the evaluator leads to in the records: alarms, and messages owed."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING, assert_never

from api.records.alarms import alarms_changed, clear_alarm, open_alarms, raise_alarm
from api.records.outbox import Cause, MessageKind, owe, told_of
from api.records.steps import owe_steps
from api.records.tables import instant
from api.records.watch import note_standing
from rules.escalation import who_is_on_duty
from rules.model.event import ConditionClosed, ConditionOpened, StandingChanged
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.particulars import Particulars
    from api.records.watch import WatchGap
    from rules.model.event import Event
    from rules.model.people import Person
    from rules.model.site import Site


log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Hearers:
    """The people of the site, and who of them is told."""

    site: Site

    def on_duty(self, at: datetime) -> tuple[Person, ...]:
        """Return who is told of what happens at the instant."""
        return who_is_on_duty(self.site, at)

    def people(self, ids: Iterable[str]) -> tuple[Person, ...]:
        """Return the people of these ids, in this order; those who have left are passed over."""
        known = {person.id: person for person in self.site.person}
        return tuple(known[name] for name in dict.fromkeys(ids) if name in known)


def keep_events(
    db: Connection,
    events: Sequence[Event],
    *,
    beside: Mapping[ConditionOpened, Particulars],
    hearers: Hearers,
    now: datetime,
    tell: bool,
) -> None:
    """Keep what a cell caused, in the order in which the evaluator said it.

    Parameters
    ----------
    beside
        What is known beside the value of each condition that opened.
    tell
        Whether each opening and closing is owed to people at once. Of cells that nobody watched
        it is not; see `owe_summaries`.
    """
    for event in events:
        match event:
            case ConditionOpened():
                _opened(db, event, beside[event])
            case ConditionClosed():
                _closed(db, event, hearers=hearers, now=now, tell=tell)
            case StandingChanged():
                note_standing(db, event)
            case _:
                assert_never(event)
    if tell and any(isinstance(event, ConditionOpened) for event in events):
        owe_steps(db, hearers.site, now=now)


def owe_summaries(db: Connection, gap: WatchGap, *, hearers: Hearers, now: datetime) -> None:
    """Owe one message for each batch in which something opened or closed while nobody watched.

    It goes to those on duty at the end of the gap, and to those who were told of an opening that
    has ended meanwhile.
    """
    on_duty = hearers.on_duty(gap.end)
    changed = alarms_changed(db, start=gap.start, end=gap.end)
    for batch in sorted({alarm.batch for alarm in changed}):
        told = [name for alarm in changed if alarm.batch == batch for name in told_of(db, alarm.id)]
        cause = Cause(f"gap.{gap.id}.{batch}", MessageKind.UNWATCHED, batch, gap.end, gap_id=gap.id)
        for person in hearers.people([*(person.id for person in on_duty), *told]):
            owe(db, cause, person=person, at=now)


def forget_open(db: Connection, *, now: datetime) -> None:
    """Clear every open alarm, saying why: what the evaluator knew of it cannot be read any more.

    A condition that is still true is raised, and told, anew after its delay.
    """
    for alarm in open_alarms(db):
        note = "judged anew: the state of the watch could not be read"
        clear_alarm(db, batch=alarm.batch, condition=alarm.condition, at=now, note=note)


def _opened(db: Connection, event: ConditionOpened, beside: Particulars) -> None:
    moved = raise_alarm(
        db,
        batch=event.batch,
        condition=event.condition,
        priority=event.priority,
        opened_at=instant(event.minute * MINUTE_MS),
        since=instant(event.since_minute * MINUTE_MS),
        value=event.value,
        particulars=beside,
    )
    if moved is None:
        log.warning("watch_open_already batch=%s condition=%s", event.batch, event.condition)


def _closed(
    db: Connection, event: ConditionClosed, *, hearers: Hearers, now: datetime, tell: bool
) -> None:
    about = instant(event.minute * MINUTE_MS)
    moved = clear_alarm(db, batch=event.batch, condition=event.condition, at=about)
    if moved is not None and tell:
        key = f"change.{moved.change_id}"
        cause = Cause(key, MessageKind.CLOSED, event.batch, about, alarm_id=moved.alarm.id)
        for person in hearers.people(told_of(db, moved.alarm.id)):
            owe(db, cause, person=person, at=now)
