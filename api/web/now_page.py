"""Now: who needs someone? Worst first, one reason each; the rest as ribbons by bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.records.groups import messages_about
from api.records.outbox import MessageKind
from api.records.session import reading
from api.records.tables import instant
from api.web.estimates import felt_text
from api.web.held import held_sentence, says_of, work_lines
from api.web.pictures import ribbon_of
from api.web.tool_lines import tool_lines, tool_title
from api.web.troubles import Scene, troubles_of
from rules.escalation import who_is_on_duty
from rules.model.alarm import AlarmState
from rules.model.event import Standing
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS
from rules.standing import BY_SEVERITY

if TYPE_CHECKING:
    from collections.abc import Mapping

    from api.parts import Parts
    from api.records.alarms import AlarmRecord
    from api.v1.sight import Present
    from api.web.pictures import DayPicture, Drawn
    from api.web.telling import Telling
    from api.web.tool_lines import ToolLine
    from api.web.troubles import Trouble
    from rules.evaluator import BatchOutlook
    from rules.model.batch import Batch

STILL_AFTER_S = 300
SILENT_AFTER_S = 1800

_OF_OPENING = frozenset({MessageKind.OPENED, MessageKind.GROUPED})
WAITING = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED})


@dataclass(frozen=True, slots=True)
class Entry:
    """A batch that needs someone. `waiting` are the alarms that nobody has answered."""

    code: str
    kind: str
    bench: str
    standing: str
    standing_words: str
    trouble: Trouble
    also: tuple[str, ...]
    feels: tuple[str, ...]
    read_ago: str
    who: tuple[str, ...]
    waiting: tuple[int, ...]
    drawn: Drawn | None


@dataclass(frozen=True, slots=True)
class Band:
    """A batch as a ribbon."""

    code: str
    kind: str
    standing: str
    standing_words: str
    drawn: Drawn | None


@dataclass(frozen=True, slots=True)
class NowPage:
    """All that the page says.

    `stale` are sentences that come before everything else. `tool` is what is wrong with the tool
    and can't wait, `tool_later` what can: batches that need someone stand between.
    """

    answer: str
    stale: tuple[str, ...]
    fresh: str
    entries: tuple[Entry, ...]
    bands: tuple[tuple[str, tuple[Band, ...]], ...]
    in_hand: tuple[str, ...]
    tool: tuple[ToolLine, ...]
    tool_later: tuple[ToolLine, ...]
    tool_title: str
    duty: tuple[str, ...]


def now_page(parts: Parts, present: Present, picture: DayPicture, telling: Telling) -> NowPage:
    """Gather what the page says at this moment."""
    by_code = {batch.code: batch for batch in parts.site.batch}
    entries = [
        entry_of(parts, by_code[code], seen, present=present, picture=picture, telling=telling)
        for code, seen in sorted(
            present.outlooks.items(), key=lambda item: _order(item[0], item[1], present)
        )
        if code in by_code and seen.standing not in (None, Standing.STEADY)
    ]
    counts: dict[Standing | None, int] = {}
    for code in by_code:
        seen_one = present.outlooks.get(code)
        standing = seen_one.standing if seen_one else None
        counts[standing] = counts.get(standing, 0) + 1
    words = telling.words
    tool = tool_lines(present.alarms, telling, lambda one: says_of(parts, one, telling))
    return NowPage(
        answer=words.answer(counts) if present.minute is not None else words.not_judged_yet(),
        stale=stale_sentences(present, telling),
        fresh=_fresh(present, telling),
        entries=tuple(entries),
        bands=_bands(parts, present, picture, telling),
        in_hand=_in_hand(parts, telling),
        tool=tuple(one for one in tool if one.danger),
        tool_later=tuple(one for one in tool if not one.danger),
        tool_title=tool_title(telling),
        duty=duty_sentences(parts, telling),
    )


def stale_sentences(present: Present, telling: Telling) -> tuple[str, ...]:
    """Return what must be said before anything else because the page may be old."""
    said: list[str] = []
    words = telling.words
    if present.position is not None:
        judged_to = instant(present.position.next_minute * MINUTE_MS)
        if telling.age_s(judged_to) > STILL_AFTER_S:
            said.append(words.watch_behind(telling.time(judged_to)))
    heard = max((one.at_ms for one in present.latest.values()), default=None)
    if heard is None:
        said.append(words.nothing_ever_heard())
    elif telling.age_s(instant(heard)) > SILENT_AFTER_S:
        said.append(words.nothing_heard(telling.time(instant(heard))))
    return tuple(said)


def duty_sentences(parts: Parts, telling: Telling) -> tuple[str, ...]:
    """Return who is on duty, by name; else who is told instead."""
    names = [person.name for person in who_is_on_duty(parts.site, telling.now)]
    if names:
        return tuple(names)
    lead = telling.person(parts.site.lead)
    return (telling.words.nobody_on_duty.format(lead=lead),)


def entry_of(
    parts: Parts,
    batch: Batch,
    seen: BatchOutlook,
    *,
    present: Present,
    picture: DayPicture,
    telling: Telling,
) -> Entry:
    """Return what the page says of one batch that is not steady."""
    alarms = [one for one in present.alarms if one.batch == batch.code]
    waiting = [one for one in alarms if one.state in WAITING]
    trouble, also = troubles_of(Scene(parts, batch, seen, present, picture, telling))
    judged = {one.limit.quantity for one in seen.judged}
    ages = [
        now.age_min
        for felt, now in seen.felt.items()
        if felt in judged and now.value is not None and now.age_min is not None
    ]
    feels = feels_of(seen, telling)
    return Entry(
        code=batch.code,
        kind=telling.kind(batch),
        bench=telling.bench(batch.bench),
        standing=seen.standing.value if seen.standing else "unwatched",
        standing_words=telling.standing(seen.standing),
        trouble=trouble,
        also=also,
        feels=feels,
        read_ago=telling.minutes_ago(max(ages)) if feels and ages else "",
        who=_who(parts, alarms, telling),
        waiting=tuple(one.id for one in waiting),
        drawn=ribbon_of(picture, batch, telling),
    )


def feels_of(seen: BatchOutlook, telling: Telling) -> tuple[str, ...]:
    """Return what the batch feels now, as words with values.

    Darkness goes without saying, and the heat of tomorrow is not felt yet.
    """
    judged = dict.fromkeys(one.limit.quantity for one in seen.judged)
    return tuple(
        f"{telling.words.felt[felt]} {felt_text(felt, now.value, seen, telling)}"
        for felt in judged
        if (now := seen.felt.get(felt)) is not None
        and now.value is not None
        and felt is not Felt.EXPECTED_PEAK
        and not (felt is Felt.PPFD and now.value < 1.0)
    )


def _who(parts: Parts, alarms: list[AlarmRecord], telling: Telling) -> tuple[str, ...]:
    if not alarms:
        return ()
    words = telling.words
    said: dict[str, None] = {}
    for one in alarms:
        if one.acknowledged_by is not None and one.acknowledged_at is not None:
            name = telling.person(one.acknowledged_by)
            said[words.acknowledged_by(name, telling.time(one.acknowledged_at))] = None
    with reading(parts.records) as db:
        messages = [message for one in alarms for message in messages_about(db, one.id)]
        for one in alarms:
            held = held_sentence(db, one, says_of(parts, one, telling), telling)
            said |= {held: None} if held else {}
    told: dict[str, str] = {}
    for message in messages:
        if message.kind in _OF_OPENING and message.sent_at is not None:
            name = telling.person(message.person)
            told.setdefault(name, words.told(name, telling.time(message.sent_at)))
    said.update(dict.fromkeys(told.values()))
    if not said:
        said[words.not_told()] = None
    return tuple(said)


def _in_hand(parts: Parts, telling: Telling) -> tuple[str, ...]:
    with reading(parts.records) as db:
        return tuple(f"{one.says}. {one.holds_back}" for one in work_lines(db, telling))


def _order(code: str, seen: BatchOutlook, present: Present) -> tuple[int, int, float, str]:
    severity = -BY_SEVERITY.index(seen.standing) if seen.standing is not None else 1
    own = [one for one in present.alarms if one.batch == code]
    answered = 0 if any(one.state in WAITING for one in own) else 1
    since = min((one.since.timestamp() for one in own), default=present.at.timestamp())
    return severity, answered, since, code


def _bands(
    parts: Parts, present: Present, picture: DayPicture, telling: Telling
) -> tuple[tuple[str, tuple[Band, ...]], ...]:
    by_bench: list[tuple[str, tuple[Band, ...]]] = []
    houses: Mapping[str, str] = {house.id: house.title for house in parts.site.house}
    for bench in parts.site.bench:
        bands: list[Band] = []
        for batch in parts.site.batch:
            seen = present.outlooks.get(batch.code)
            standing = seen.standing if seen else None
            if batch.bench != bench.id or standing not in (None, Standing.STEADY):
                continue
            bands.append(
                Band(
                    code=batch.code,
                    kind=telling.kind(batch),
                    standing=standing.value if standing else "unwatched",
                    standing_words=telling.standing(standing),
                    drawn=ribbon_of(picture, batch, telling),
                )
            )
        if bands:
            by_bench.append((f"{houses[bench.house]}, {bench.title}", tuple(bands)))
    return tuple(by_bench)


def _fresh(present: Present, telling: Telling) -> str:
    if present.position is None:
        return ""
    heard = max((one.at_ms for one in present.latest.values()), default=None)
    ago = telling.ago(instant(heard)) if heard is not None else telling.words.never_heard
    judged_to = instant(present.position.next_minute * MINUTE_MS)
    return telling.words.freshness(telling.time(judged_to), ago)
