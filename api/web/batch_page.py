"""The page of one batch answers: what does it need, and how is it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.records.alarms import alarm_history
from api.records.session import reading
from api.web.alarm_pages import line_of
from api.web.day import day_from, day_of, instant_of
from api.web.next_step import next_step_of
from api.web.now_page import entry_of, stale_sentences
from api.web.pictures import chart_of, day_picture, frame_of, ribbon_of, worst_by_night
from api.web.tonight import tonight_of
from rules.local_time import to_local
from rules.model.event import Standing
from rules.model.plan import When, plan_of
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from markupsafe import Markup

    from api.parts import Parts
    from api.v1.sight import Present, Sight
    from api.web.alarm_pages import AlarmLine
    from api.web.next_step import NextStep
    from api.web.now_page import Entry
    from api.web.pictures import DayPicture, Drawn
    from api.web.telling import Telling
    from api.web.tonight import TonightLine
    from rules.evaluator import BatchOutlook, Judged
    from rules.model.batch import Batch

MOST_ALARMS = 30


@dataclass(frozen=True, slots=True)
class NeedRow:
    """A limit beside now and last night's worst. `wrong` is "", "low" or "high".

    `again`: the row above speaks of the same quantity.
    """

    what: str
    again: bool
    need: str
    now: str
    now_wrong: str
    worst: str
    worst_wrong: str
    read: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart with its name and the value now."""

    name: str
    now: str
    drawn: Markup


@dataclass(frozen=True, slots=True)
class Fact:
    """A word and what it is for this batch."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class BatchPage:
    """All that the page of one batch says."""

    code: str
    kind: str
    place: str
    standing: str
    standing_words: str
    answer: str
    stale: tuple[str, ...]
    entry: Entry | None
    next_step: NextStep | None
    tonight: tuple[TonightLine, ...]
    rows: tuple[NeedRow, ...]
    facts: tuple[Fact, ...]
    source: str
    day_name: str
    earlier: str
    later: str
    ribbon: Drawn | None
    hours: tuple[str, ...]
    charts: tuple[Picture, ...]
    seen: tuple[tuple[str, str], ...]
    alarms: tuple[AlarmLine, ...]


def batch_page(
    parts: Parts, sight: Sight, batch: Batch, *, on: date | None, telling: Telling
) -> BatchPage:
    """Gather what the page says; `on` is the date of the noon to begin at, None for today's."""
    present = sight.present()
    place = parts.site.site
    today = day_of(present.at, place)
    day = today if on is None or on >= today.starts_on else day_from(on, place)
    picture = day_picture(sight, place, day)
    last_night = _last_night(sight, present, picture, parts)
    with reading(parts.records) as db:
        alarms = alarm_history(db, batch.code, most=MOST_ALARMS)
    seen = present.outlooks.get(batch.code)
    standing = seen.standing if seen else None
    entry = None
    if seen is not None and standing not in (None, Standing.STEADY):
        now = picture if day == today else day_picture(sight, place, today)
        entry = entry_of(parts, batch, seen, present=present, picture=now, telling=telling)
    words = telling.words
    plan = plan_of(parts.plans, batch.plan, telling.now)
    limits: dict[Felt, list[Judged]] = {}
    for one in seen.judged if seen else ():
        limits.setdefault(one.limit.quantity, []).append(one)
    return BatchPage(
        code=batch.code,
        kind=telling.kind(batch),
        place=telling.bench(batch.bench),
        standing=standing.value if standing else "unwatched",
        standing_words=telling.standing(standing),
        answer=_answer(batch, seen, entry, telling),
        stale=stale_sentences(present, telling),
        entry=entry,
        next_step=next_step_of(parts, batch, telling),
        tonight=tonight_of(parts, sight, batch, telling),
        rows=tuple(
            _row(one, seen, batch, last_night, telling, parts, again=place > 0)
            for judged in limits.values()
            for place, one in enumerate(judged)
            if seen is not None
        ),
        facts=_facts(parts, batch, telling),
        source=plan.source if plan else "",
        day_name=words.noon_to_noon(
            telling.day(day.starts_on), telling.day(day.starts_on + timedelta(days=1))
        ),
        earlier=(day.starts_on - timedelta(days=1)).isoformat(),
        later="" if day == today else (day.starts_on + timedelta(days=1)).isoformat(),
        ribbon=ribbon_of(picture, batch, telling),
        hours=tuple(text for _, text in frame_of(picture, telling).hours),
        charts=tuple(
            Picture(words.felt[felt], _now(felt, seen, telling), drawn)
            for felt, judged in limits.items()
            if (
                drawn := chart_of(
                    picture,
                    batch.code,
                    felt,
                    limits=[one.limit for one in judged],
                    alarms=[a for a in alarms if _speaks_of(a.condition, judged)],
                    telling=telling,
                )
            )
            is not None
        ),
        seen=tuple(
            (
                telling.time(o.at),
                " · ".join(
                    part
                    for part in (words.seen[o.seen], o.note, telling.person(o.by) if o.by else "")
                    if part
                ),
            )
            for o in sorted(batch.observation, key=lambda o: o.at, reverse=True)
        ),
        alarms=tuple(line_of(parts, one, telling) for one in alarms),
    )


def _answer(batch: Batch, seen: BatchOutlook | None, entry: Entry | None, telling: Telling) -> str:
    words = telling.words
    if entry is not None:
        said = f"{entry.trouble.what} {entry.trouble.value}".strip()
        return f"{batch.code}, {said[:1].lower()}{said[1:]}"
    if seen is None or seen.standing is None:
        return f"{batch.code}: {words.unwatched_stage}" if seen else words.not_judged_yet()
    return f"{batch.code}: {words.batch_answer(telling.standing(seen.standing))}"


def _last_night(sight: Sight, present: Present, picture: DayPicture, parts: Parts) -> DayPicture:
    """Return the day whose night is the last to have begun: last noon's, or the one before."""
    today = day_of(present.at, parts.site.site)
    noon = today.starts_on
    if to_local(present.at, parts.site.site).hour in range(12, 18):
        noon -= timedelta(days=1)
    if picture.day.starts_on == noon:
        return picture
    return day_picture(sight, parts.site.site, day_from(noon, parts.site.site))


def _row(
    one: Judged,
    seen: BatchOutlook,
    batch: Batch,
    last_night: DayPicture,
    telling: Telling,
    parts: Parts,
    *,
    again: bool,
) -> NeedRow:
    limit, words = one.limit, telling.words
    side = limit.side.value
    now = seen.felt.get(limit.quantity)
    value = words.not_seen
    if one.value is not None:
        value = telling.value(limit.quantity, one.value)
        if not one.speaks:
            value = f"{value} ({words.not_judged_now})"
    worst, worst_wrong = words.not_seen, ""
    record = last_night.batches.get(batch.code)
    if limit.when is When.DAY or limit.quantity is Felt.PPFD:
        worst = words.not_at_night
    elif record is not None:
        found = worst_by_night(record, last_night.day, parts.site.site, limit)
        if found is not None:
            at = telling.clock(instant_of(found[1]))
            worst = f"{telling.value(limit.quantity, found[0])}, {at}"
            beyond = found[0] < limit.bound if side == "low" else found[0] > limit.bound
            worst_wrong = side if beyond else ""
    read = words.no_reading
    if now is not None and now.age_min is not None:
        read = telling.minutes_ago(now.age_min)
    read = "; ".join((read, *_doubts(seen, limit.quantity, telling)))
    return NeedRow(
        what=words.felt[limit.quantity],
        again=again,
        need=telling.need(limit),
        now=value,
        now_wrong=side if one.margin is not None and one.margin < 0 else "",
        worst=worst,
        worst_wrong=worst_wrong,
        read=read,
    )


def _doubts(seen: BatchOutlook, felt: Felt, telling: Telling) -> Iterator[str]:
    """Yield what speaks against the newest word of a quantity."""
    belief, words = seen.belief_in(felt), telling.words
    if belief.failed is not None:
        yield words.not_believed(words.doubts[belief.failed])
    if belief.suspect is not None:
        yield words.suspect(words.doubts[belief.suspect])
    if belief.out_of_calibration:
        yield words.calibration_over


def _facts(parts: Parts, batch: Batch, telling: Telling) -> tuple[Fact, ...]:
    words = telling.words
    stage = batch.stage_at(telling.now)
    since = [move for move in batch.stage if move.since <= telling.now]
    stage_text = words.stage_names[stage]
    if since:
        stage_text = (
            f"{stage_text}, {telling.day(to_local(since[-1].since, parts.site.site).date())}"
        )
        stage_text = f"{stage_text}: {since[-1].because}"
    today = to_local(telling.now, parts.site.site).date()
    grafted = telling.day(batch.grafted_on)
    ago = words.nth_day(max(0, (today - batch.grafted_on).days))
    plan = plan_of(parts.plans, batch.plan, telling.now)
    plan_title = plan.title.in_language(words.code) if plan else batch.plan
    return (
        Fact(words.stage, stage_text),
        Fact(words.grafted, f"{grafted}, {ago}; {words.method[batch.method]}; {batch.grafter}"),
        Fact(words.plants, f"{batch.count} × {batch.species} {batch.cultivar} / {batch.rootstock}"),
        Fact(words.plan, f"{plan_title}{f' ({plan.version})' if plan else ''}"),
    )


def _now(felt: Felt, seen: BatchOutlook | None, telling: Telling) -> str:
    now = seen.felt.get(felt) if seen else None
    if now is None or now.value is None:
        return telling.words.not_seen
    return telling.value(felt, now.value)


def _speaks_of(condition: str, judged: list[Judged]) -> bool:
    quantity = judged[0].limit.quantity
    return condition == f"blind.{quantity.value}" or condition in {one.limit.id for one in judged}
