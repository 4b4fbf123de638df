"""The pages of alarms answer: what was said, to whom, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.alerts.message import Addressed, Writer
from api.alerts.pace import pace_of
from api.alerts.together import group_words
from api.alerts.told import subject_of
from api.measures import CELSIUS, FAHRENHEIT
from api.records.alarms import alarm, alarm_history, changes_of, standing_alarms
from api.records.groups import groups_since, members_of, messages_about
from api.records.session import reading
from api.web.estimates import known_text
from api.web.held import held_sentence, offered, reason, says_of
from api.web.now_page import WAITING
from api.web.telling import asked_of, blind_felt
from api.web.tool_lines import tool_detail, tool_lines, tool_title, tool_todo
from rules.model.alarm import HELD, AlarmState
from rules.model.dose import DoseLimit
from rules.model.plan import plan_of
from rules.shelving import LONGEST_MIN, USUAL_MIN

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from api.parts import Parts
    from api.records.alarms import AlarmChange, AlarmRecord
    from api.records.outbox import OutboxRow
    from api.web.telling import Telling
    from api.web.tool_lines import ToolLine
    from rules.model.plan import Limit

MOST_PAST = 100
GROUPS_SHOWN = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class AlarmLine:
    """An alarm in a list."""

    id: int
    batch: str
    says: str
    since: str
    state: str
    waiting: bool
    over: bool
    urgent: str


@dataclass(frozen=True, slots=True)
class AlarmsPage:
    """All that the list says."""

    answer: str
    groups: tuple[tuple[str, tuple[int, ...]], ...]
    tool: tuple[ToolLine, ...]
    tool_title: str
    standing: tuple[AlarmLine, ...]
    held: tuple[tuple[AlarmLine, str], ...]
    past: tuple[AlarmLine, ...]


@dataclass(frozen=True, slots=True)
class AlarmPage:
    """All that the page of one alarm says."""

    line: AlarmLine
    kind: str
    place: str
    answer: str
    held: str
    value: str
    worst: str
    pace: str
    todo: str
    began: str
    over: str
    changes: tuple[tuple[str, str], ...]
    messages: tuple[tuple[str, str], ...]
    let_go: str
    can_hold: bool
    spans: tuple[tuple[int, str], ...]
    usual: int


def line_of(parts: Parts, one: AlarmRecord, telling: Telling) -> AlarmLine:
    """Return an alarm as a line."""
    return AlarmLine(
        id=one.id,
        batch=one.batch,
        says=says_of(parts, one, telling),
        since=telling.time(one.since),
        state=telling.words.state[one.state],
        waiting=one.state in WAITING,
        over=one.ended_at is not None,
        urgent=telling.words.priority[one.priority],
    )


def alarms_page(parts: Parts, telling: Telling) -> AlarmsPage:
    """Gather what the list says."""
    with reading(parts.records) as db:
        every = standing_alarms(db)
        standing = [one for one in every if one.state not in HELD]
        held = [
            (
                line_of(parts, one, telling),
                held_sentence(db, one, says_of(parts, one, telling), telling),
            )
            for one in every
            if one.state in HELD
        ]
        groups = _groups(db, parts, telling)
        history = alarm_history(db, most=MOST_PAST)
    waiting = sum(one.state in WAITING for one in standing)
    past = [one for one in history if one.state is AlarmState.NORMAL]
    words = telling.words
    answer = [words.alarms_answer(waiting, len(standing))]
    answer += [words.alarms_held(len(held))] if held else []
    return AlarmsPage(
        answer=" ".join(answer),
        groups=groups,
        held=tuple(held),
        tool=tool_lines(standing, telling, lambda one: says_of(parts, one, telling)),
        tool_title=tool_title(telling),
        standing=tuple(line_of(parts, one, telling) for one in standing if one.batch),
        past=tuple(line_of(parts, one, telling) for one in past),
    )


def _groups(
    db: Connection, parts: Parts, telling: Telling
) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """Return what was told together lately, each with its alarms that nobody has answered."""
    as_read = {
        "language": telling.words.code,
        "temperature_unit": FAHRENHEIT if telling.fahrenheit else CELSIUS,
    }
    reader = parts.site.person[0].model_copy(update=as_read)
    to = Addressed(person=reader, others=(), instead_of=None, now=telling.now)
    writer = Writer(parts.site, parts.plans, "")
    said: list[tuple[str, tuple[int, ...]]] = []
    for group in groups_since(db, telling.now - GROUPS_SHOWN):
        text = group_words(db, group.id, to, writer=writer, watched=parts.watchlist)
        members = members_of(db, group.id)
        if text is not None:
            said.append((text.line, tuple(one.id for one in members if one.state in WAITING)))
    return tuple(said)


def alarm_page(parts: Parts, alarm_id: int, telling: Telling) -> AlarmPage:
    """Gather what the page of one alarm says; raises UnknownAlarm."""
    with reading(parts.records) as db:
        one = alarm(db, alarm_id)
        changes = changes_of(db, alarm_id)
        messages = messages_about(db, alarm_id)
        notes = {change.id: reason(db, change.note or "", telling) for change in changes}
        held = held_sentence(db, one, says_of(parts, one, telling), telling)
    words = telling.words
    batch = next((b for b in parts.site.batch if b.code == one.batch), None)
    asked = _asked(parts, one)
    value, worst = "", ""
    if asked is not None:
        if one.value is not None:
            said = _value(asked, one, telling)
            value = f"{words.capital(said)}; {words.should_be(telling.need(asked))}."
        if one.worst is not None:
            worst = words.at_worst(_worst(asked, one.worst, telling))
    elif not one.batch:
        value = " ".join(tool_detail(one, telling))
    line = line_of(parts, one, telling)
    return AlarmPage(
        line=line,
        kind=telling.kind(batch) if batch else "",
        place=telling.bench(batch.bench) if batch else "",
        answer=f"{one.batch}: {line.says}; {line.state}."
        if one.batch
        else words.capital(f"{line.says}; {line.state}."),
        held=held,
        value=value,
        worst=worst,
        pace=pace_said(parts, one, telling),
        todo=todo_of(parts, one, telling),
        began=telling.since(one.since)
        if one.ended_at is None
        else words.from_until(telling.time(one.since), telling.time(one.ended_at)),
        over=words.alarm_over if one.ended_at is not None else "",
        changes=tuple(
            (
                telling.time(change.at),
                " · ".join(
                    part
                    for part in (
                        _change(change, telling),
                        telling.person(change.by) if change.by else "",
                        notes[change.id],
                    )
                    if part
                ),
            )
            for change in changes
        ),
        messages=tuple(_message(message, telling) for message in messages),
        let_go=words.let_go.get(one.state, ""),
        can_hold=one.state not in HELD,
        spans=tuple(
            (span, words.lasting(span * 60)) for span in offered(LONGEST_MIN[one.priority])
        ),
        usual=USUAL_MIN[one.priority],
    )


def todo_of(parts: Parts, one: AlarmRecord, telling: Telling) -> str:
    """Return what to do first about an alarm; "" where nothing is known to do."""
    asked = _asked(parts, one)
    if asked is not None:
        return _todo(asked, one, telling)
    if blind_felt(one.condition) is not None:
        return telling.words.look_at_plants
    return "" if one.batch else tool_todo(one, telling)


def pace_said(parts: Parts, one: AlarmRecord, telling: Telling) -> str:
    """Return how fast it got worse, in the words of the message; "" where that is not told."""
    said = pace_of(
        subject_of(parts.site, parts.plans, one),
        parts.site.site,
        now=telling.now,
        language=telling.words.code,
        fahrenheit=telling.fahrenheit,
    )
    return " ".join(said)


def _asked(parts: Parts, one: AlarmRecord) -> Limit | DoseLimit | None:
    batch = next((b for b in parts.site.batch if b.code == one.batch), None)
    plan = plan_of(parts.plans, batch.plan, one.opened_at) if batch else None
    return asked_of(plan, batch, one.condition, one.opened_at)


def _value(asked: Limit | DoseLimit, one: AlarmRecord, telling: Telling) -> str:
    """Return the value an alarm was raised with, or the sum with since when it ran."""
    value = one.value if one.value is not None else 0.0
    known = one.particulars
    if not isinstance(asked, DoseLimit):
        return known_text(asked.quantity, value, known, telling)
    words = telling.words
    parts = [f"{telling.summed(asked)}: {telling.total(asked.kind, value)}"]
    if known.reckoned:
        parts[0] = f"{parts[0]} ({words.reckoned})"
    parts.append(words.counted_since(telling.time(one.since)))
    if known.begun_late:
        parts.append(words.sum_begun_late)
    if known.unseen_min:
        parts.append(words.not_seen_for(words.lasting(known.unseen_min * 60)))
    return ", ".join(parts)


def _worst(asked: Limit | DoseLimit, worst: float, telling: Telling) -> str:
    if isinstance(asked, DoseLimit):
        return telling.total(asked.kind, worst)
    return telling.value(asked.quantity, worst)


def _todo(asked: Limit | DoseLimit, one: AlarmRecord, telling: Telling) -> str:
    """Return what to do first, with by when shade must be up where that was told."""
    by = one.particulars.shade_by_minute
    if by is None or one.ended_at is not None:
        return telling.action(asked)
    return f"{telling.words.shade_up(telling.soon(by))} {telling.action(asked)}"


def _change(change: AlarmChange, telling: Telling) -> str:
    if change.before is change.after:
        return telling.words.meanwhile[change.cue]
    states = telling.words.state
    before = "" if change.before is AlarmState.NORMAL else states[change.before]
    return telling.words.change(before, states[change.after])


def _message(message: OutboxRow, telling: Telling) -> tuple[str, str]:
    words = telling.words
    name = telling.person(message.person)
    if message.sent_at is not None:
        said = words.message_sent(name, telling.time(message.sent_at))
    elif message.last_error:
        said = words.message_failed(name, message.attempts, message.last_error)
    else:
        said = words.message_owed(name, telling.time(message.owed_at))
    return said, message.line or ""
