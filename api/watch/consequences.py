"""What an event of the evaluator leads to in the records: alarms, and messages owed."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, assert_never

from api.records.alarms import alarms_changed, clear_alarm, open_alarms, raise_alarm
from api.records.holds import held_alarms, let_go
from api.records.outbox import Cause, MessageKind, owe, told_of
from api.records.runs import Stop, stop_behind
from api.records.tables import instant
from api.records.watch import note_standing
from api.records.works import works_in_hand
from api.watch.gathering import gather_unwatched, tell_over, tell_rung
from api.watch.ground import named
from rules.model.alarm import HELD, AlarmState, Cue
from rules.model.event import ConditionClosed, ConditionOpened, StandingChanged
from rules.model.reading import MINUTE_MS
from rules.speaking import first_cell

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import AlarmRecord, Moved
    from api.records.particulars import Particulars
    from api.records.watch import WatchGap
    from api.watch.ground import Ground
    from rules.model.event import Event
    from rules.model.work import Work

log = logging.getLogger(__name__)


def keep_events(
    db: Connection,
    events: Sequence[Event],
    *,
    minute: int,
    beside: Mapping[ConditionOpened, Particulars],
    ground: Ground,
    now: datetime,
    tell: bool,
) -> None:
    """Keep what a cell caused, in the order in which the evaluator said it.

    Then let go what is held no longer, and owe messages about what is unacknowledged or over.

    Parameters
    ----------
    minute
        The cell.
    beside
        What is known beside the value of each condition that opened.
    tell
        Whether each opening and closing is owed to people at once. Of cells that nobody watched
        it is not; see `owe_summaries`.
    """
    if not events and not held_alarms(db):
        return
    works = works_in_hand(db, instant(minute * MINUTE_MS))
    rung: list[Moved] = []
    over: list[Moved] = []
    for event in events:
        match event:
            case ConditionOpened():
                moved = _opened(db, event, beside[event], ground=ground, works=works)
                if moved is not None and moved.alarm.state is AlarmState.UNACKNOWLEDGED:
                    rung.append(moved)
            case ConditionClosed():
                moved = _closed(db, event, ground=ground)
                if moved is not None and moved.alarm.state not in HELD:
                    over.append(moved)
            case StandingChanged():
                note_standing(db, event)
            case _:
                assert_never(event)
    rung += _let_go_what_is_held_no_longer(db, minute, works, ground)
    if tell:
        tell_over(db, over, ground=ground, now=now)
        tell_rung(db, rung, minute=minute, ground=ground, now=now)


def owe_summaries(db: Connection, gap: WatchGap, *, ground: Ground, now: datetime) -> None:
    """Owe word of what happened while nobody watched.

    After a stop that nobody asked for one message tells how long it was and what came of it, also
    when nothing did, to those on duty at its end. Many alarms of a house that point one way and
    still wait are told together, as live ones are; of every other batch in which something opened
    or closed one message tells, also to those who were told of an opening that has ended meanwhile.
    """
    on_duty = ground.on_duty(gap.end)
    changed = [
        one
        for one in alarms_changed(db, start=gap.start, end=gap.end)
        if one.batch and ground.is_ours(one.batch)
    ]
    if stop_behind(db, gap) in {Stop.CUT_OFF, Stop.STOOD_STILL}:
        whole = Cause(f"gap.{gap.id}.", MessageKind.UNWATCHED, "", gap.end, gap_id=gap.id)
        for person in on_duty:
            owe(db, whole, person=person, at=now)
    together = gather_unwatched(db, gap, ground=ground)
    alone = {one.batch for one in changed if one.id not in together}
    for batch in sorted(alone):
        told = [name for alarm in changed if alarm.batch == batch for name in told_of(db, alarm.id)]
        cause = Cause(f"gap.{gap.id}.{batch}", MessageKind.UNWATCHED, batch, gap.end, gap_id=gap.id)
        for person in ground.people([*(person.id for person in on_duty), *told]):
            owe(db, cause, person=person, at=now)


def forget_open(db: Connection, *, now: datetime, ground: Ground) -> None:
    """Clear every open alarm of a batch, saying why: what was known of it cannot be read any more.

    A condition that is still true is raised, and told, anew after its delay.
    """
    for alarm in open_alarms(db):
        if not alarm.batch or not ground.is_ours(alarm.batch):
            continue  # what is wrong with the tool itself, no evaluator knew
        note = "judged anew: the state of the watch could not be read"
        clear_alarm(db, batch=alarm.batch, condition=alarm.condition, at=now, note=note)


def _opened(
    db: Connection,
    event: ConditionOpened,
    beside: Particulars,
    *,
    ground: Ground,
    works: Sequence[Work],
) -> Moved | None:
    condition = ground.condition(event.batch, event.condition, event.minute)
    work = ground.suppressing(works, event.batch, event.condition, event.minute)
    moved = raise_alarm(
        db,
        batch=event.batch,
        condition=event.condition,
        priority=event.priority,
        opened_at=instant(event.minute * MINUTE_MS),
        since=instant(event.since_minute * MINUTE_MS),
        value=event.value,
        latch=condition is None or condition.latches,
        suppressed=None if work is None else named(work),
        particulars=beside,
    )
    if moved is None:
        log.warning("watch_open_already batch=%s condition=%s", event.batch, event.condition)
    return moved


def _closed(db: Connection, event: ConditionClosed, *, ground: Ground) -> Moved | None:
    condition = ground.condition(event.batch, event.condition, event.minute)
    return clear_alarm(
        db,
        batch=event.batch,
        condition=event.condition,
        at=instant(event.minute * MINUTE_MS),
        worst=event.worst,
        side=None if condition is None else condition.side,
    )


def _let_go_what_is_held_no_longer(
    db: Connection, minute: int, works: Sequence[Work], ground: Ground
) -> list[Moved]:
    """Let go alarms whose shelf ran out or whose work ended; return those that ring now."""
    at = instant(minute * MINUTE_MS)
    rung: list[Moved] = []
    for record in held_alarms(db):
        if not ground.is_ours(record.batch):
            continue  # whoever sees to its house may have come less far, or further
        cue = _released_by(record, minute, works, ground)
        if cue is None:
            continue
        work = ground.suppressing(works, record.batch, record.condition, minute)
        moved = let_go(db, record, cue, at=at, suppressed=None if work is None else named(work))
        log.info("alarm_let_go id=%d cue=%s state=%s", record.id, cue, moved.alarm.state)
        if moved.alarm.state is AlarmState.UNACKNOWLEDGED:
            rung.append(moved)
    return rung


def _released_by(
    record: AlarmRecord, minute: int, works: Sequence[Work], ground: Ground
) -> Cue | None:
    if record.state is AlarmState.SHELVED:
        until = record.held_until
        return Cue.SHELF_RAN_OUT if until is None or first_cell(until) <= minute else None
    if record.state is AlarmState.SUPPRESSED_BY_DESIGN:
        work = ground.suppressing(works, record.batch, record.condition, minute)
        return Cue.SUPPRESSION_ENDED if work is None else None
    return None
