"""What happened, as values for figures and replays: alarms, answers, what reached whom."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import func, select

from api.records.tables import (
    alarm_changes,
    alarms,
    instant,
    instant_or_none,
    late_marks,
    outbox,
    watch_gaps,
    work_in_hand,
)
from rules.alarm_history import AlarmChanged, occurrences_of
from rules.alarm_load import Reached, alarm_load
from rules.model.alarm import BY_PERSON, AlarmState, Cue, Priority
from rules.model.reading import MINUTE_MS, minute_of
from rules.model.work import Work, WorkKind
from rules.replay_alarms import Answer
from rules.speaking import first_cell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection, Row

    from rules.alarm_load import AlarmLoad
    from rules.model.site import Site


def load_between(db: Connection, site: Site, *, first_minute: int, end_minute: int) -> AlarmLoad:
    """Return what alarms really asked of people in a span; ValueError if it holds no minute."""
    return alarm_load(
        site.site,
        occurrences_of(site, alarm_history_in(db, end_minute=end_minute)),
        reached(db, first_minute=first_minute, end_minute=end_minute),
        people=[one.id for one in site.person],
        first_minute=first_minute,
        end_minute=end_minute,
    )


def alarm_history_in(db: Connection, *, end_minute: int) -> tuple[AlarmChanged, ...]:
    """Return every change of every alarm of a batch before a cell, in the order of keeping."""
    found = (
        select(alarm_changes, alarms.c.batch, alarms.c.condition, alarms.c.priority)
        .join(alarms, alarms.c.id == alarm_changes.c.alarm_id)
        .where(alarm_changes.c.at_ms < end_minute * MINUTE_MS, alarms.c.batch != "")
    )
    return tuple(_changed(row) for row in db.execute(found.order_by(alarm_changes.c.id)))


def reached(db: Connection, *, first_minute: int, end_minute: int) -> tuple[Reached, ...]:
    """Return every message about alarms that its way took in a span; together they count once."""
    found = (
        select(outbox.c.person, outbox.c.channel, outbox.c.sent_ms, outbox.c.line, outbox.c.body)
        .where(
            outbox.c.sent_ms >= first_minute * MINUTE_MS,
            outbox.c.sent_ms < end_minute * MINUTE_MS,
            outbox.c.kind.not_in(("test", "sheet")),
        )
        .distinct()
    )
    rows = db.execute(found.order_by(outbox.c.sent_ms, outbox.c.person))
    return tuple(Reached(row.person, minute_of(row.sent_ms)) for row in rows)


def answers_in(db: Connection, *, lateness_s: int) -> tuple[Answer, ...]:
    """Return what people did to alarms of batches, each after the cell that had been judged then.

    Which cells had been judged is told by the order in which changes were kept; between two that
    tell nothing, by the time, cells being judged `lateness_s` after their end.
    """
    found = select(
        alarm_changes,
        alarms.c.batch,
        alarms.c.condition,
        alarms.c.priority,
        alarms.c.latch,
        alarms.c.held_until_ms,
    ).join(alarms, alarms.c.id == alarm_changes.c.alarm_id)
    rows = db.execute(found.where(alarms.c.batch != "").order_by(alarm_changes.c.id)).all()
    judged_next = [_NEVER] * len(rows)
    for place in range(len(rows) - 2, -1, -1):
        following = rows[place + 1]
        by_cell = following.cue in _BY_A_CELL
        judged_next[place] = minute_of(following.at_ms) if by_cell else judged_next[place + 1]
    answers: list[Answer] = []
    judged = -1
    for place, row in enumerate(rows):
        if row.cue in _BY_A_CELL:
            judged = minute_of(row.at_ms)
        if row.cue not in BY_PERSON:
            continue
        due = (row.at_ms - lateness_s * 1000) // MINUTE_MS - 1
        after = min(max(due, judged), judged_next[place] - 1)
        answers.append(_answer(row, after, _shelf_end(rows[place + 1 :], row)))
    return tuple(answers)


def works_ever(db: Connection) -> tuple[Work, ...]:
    """Return every work that was ever in hand, in order."""
    rows = db.execute(select(work_in_hand).order_by(work_in_hand.c.id))
    return tuple(
        Work(
            id=row.id,
            kind=WorkKind(row.kind),
            place=row.place,
            began=instant(row.began_ms),
            until=instant(row.until_ms),
            ended=instant_or_none(row.ended_ms),
            who=row.who,
            note=row.note,
        )
        for row in rows
    )


def gaps_ever(db: Connection) -> tuple[tuple[int, int], ...]:
    """Return every span of minutes in which nobody watched: first, and the one after its last."""
    rows = db.execute(select(watch_gaps).order_by(watch_gaps.c.from_minute))
    return tuple((row.from_minute, row.to_minute) for row in rows)


def late_by_channel(
    db: Connection, *, first_minute: int, end_minute: int
) -> dict[str, frozenset[int]]:
    """Return the instants, in ms, of readings that the watch did not have in time."""
    found = select(late_marks.c.channel, late_marks.c.at_ms).where(
        late_marks.c.minute >= first_minute, late_marks.c.minute < end_minute
    )
    by_channel: dict[str, set[int]] = {}
    for row in db.execute(found):
        by_channel.setdefault(row.channel, set()).add(row.at_ms)
    return {channel: frozenset(at) for channel, at in by_channel.items()}


def late_ever(db: Connection) -> int:
    """Return how many readings the watch did not have in time."""
    return db.execute(select(func.count()).select_from(late_marks)).scalar_one()


_NEVER = 2**62
_BY_A_CELL = frozenset({Cue.RAISED, Cue.CLEARED, Cue.SHELF_RAN_OUT, Cue.SUPPRESSION_ENDED})


def _shelf_end(
    later: Sequence[Row[tuple[object, ...]]], row: Row[tuple[object, ...]]
) -> int | None:
    """Return the cell in which a shelf ran out, or would have; None for what was no shelf."""
    if row.cue != Cue.SHELVED.value:
        return None
    for other in later:
        if other.alarm_id == row.alarm_id and other.before == AlarmState.SHELVED.value:
            if other.cue == Cue.SHELF_RAN_OUT.value:
                return minute_of(other.at_ms)
            if other.after != AlarmState.SHELVED.value:
                return _NEVER  # ended by a person, who is among the answers
    return _NEVER if row.held_until_ms is None else first_cell(instant(row.held_until_ms))


def _answer(row: Row[tuple[object, ...]], after: int, until: int | None) -> Answer:
    return Answer(
        after_minute=after,
        minute=minute_of(row.at_ms),
        batch=row.batch,
        condition=row.condition,
        cue=Cue(row.cue),
        by=row.by,
        priority=Priority(row.priority),
        latch=row.latch,
        until=until,
    )


def _changed(row: Row[tuple[object, ...]]) -> AlarmChanged:
    return AlarmChanged(
        alarm=row.alarm_id,
        minute=minute_of(row.at_ms),
        batch=row.batch,
        condition=row.condition,
        priority=Priority(row.priority),
        before=AlarmState(row.before),
        after=AlarmState(row.after),
        cue=Cue(row.cue),
        value=row.value,
        by=row.by,
    )
