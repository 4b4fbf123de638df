"""The page of one batch answers: what does it need, and how is it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.drawing.day import day_from, day_of
from api.records.alarms import alarm_history
from api.records.session import reading
from api.web.alarm_pages import line_of
from api.web.batch_day import BatchDay
from api.web.day_charts import chart_of, frame_of, sum_chart_of
from api.web.estimates import LEAF
from api.web.heat import heat_section
from api.web.needs import LookedBack, need_rows
from api.web.next_step import next_step_of
from api.web.now_page import entry_of, stale_sentences
from api.web.pictures import day_picture, ribbon_of
from api.web.seen_lines import seen_lines
from api.web.sums import same_sums, sum_of, sum_rows
from api.web.tonight import tonight_of
from api.web.water import water_section
from rules.local_time import to_local
from rules.model.event import Standing
from rules.model.plan import plan_of
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from markupsafe import Markup

    from api.parts import Parts
    from api.v1.far_back import FarBack
    from api.v1.sight import Present, Sight
    from api.web.alarm_pages import AlarmLine
    from api.web.heat import HeatSection
    from api.web.needs import NeedRow
    from api.web.next_step import NextStep
    from api.web.now_page import Entry
    from api.web.pictures import DayPicture, Drawn
    from api.web.seen_lines import SeenLine
    from api.web.sums import SumRow
    from api.web.telling import Telling
    from api.web.tonight import TonightLine
    from api.web.water import WaterSection
    from rules.evaluator import BatchOutlook
    from rules.model.batch import Batch

MOST_ALARMS = 30
DRAWN_ELSEWHERE = frozenset({Felt.RESERVE, Felt.HOURS_TO_CRITICAL, Felt.EXPECTED_PEAK})
"""What the sections on water and heat draw."""


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
    water: WaterSection | None
    heat: HeatSection | None
    rows: tuple[NeedRow, ...]
    sums: tuple[SumRow, ...]
    facts: tuple[Fact, ...]
    plan: str
    source: str
    day_name: str
    earlier: str
    later: str
    ribbon: Drawn | None
    hours: tuple[str, ...]
    charts: tuple[Picture, ...]
    seen: tuple[SeenLine, ...]
    alarms: tuple[AlarmLine, ...]


def batch_page(
    parts: Parts, sight: Sight, far: FarBack, batch: Batch, *, on: date | None, telling: Telling
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
    shown = BatchDay(parts, batch, seen, present, picture, alarms, telling)
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
        water=water_section(shown),
        heat=heat_section(shown),
        rows=need_rows(
            shown, LookedBack(last_night, sight.span(today.first_minute, today.minutes), far)
        ),
        sums=sum_rows(seen, telling),
        facts=_facts(parts, batch, telling),
        plan=batch.plan,
        source=plan.source if plan else "",
        day_name=words.noon_to_noon(
            telling.day(day.starts_on), telling.day(day.starts_on + timedelta(days=1))
        ),
        earlier=(day.starts_on - timedelta(days=1)).isoformat(),
        later="" if day == today else (day.starts_on + timedelta(days=1)).isoformat(),
        ribbon=ribbon_of(picture, batch, telling),
        hours=tuple(text for _, text in frame_of(picture, telling).hours),
        charts=(*_charts(shown), *_sum_charts(shown)),
        seen=seen_lines(parts, batch, telling),
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


def _charts(shown: BatchDay) -> Iterator[Picture]:
    """Yield a chart of each quantity that a limit speaks of and no section draws."""
    words = shown.telling.words
    film = shown.film_spans()
    for felt, limits in shown.limits().items():
        if felt in DRAWN_ELSEWHERE:
            continue
        drawn = chart_of(
            shown.picture,
            shown.batch.code,
            felt,
            limits=limits,
            film=film,
            alarms=shown.alarms_on(felt),
            telling=shown.telling,
        )
        if drawn is not None:
            mark = f" ({words.reckoned})" if felt in LEAF and shown.leaf_is_reckoned() else ""
            yield Picture(f"{words.felt[felt]}{mark}", shown.now(felt), drawn)


def _sum_charts(shown: BatchDay) -> Iterator[Picture]:
    telling = shown.telling
    for alike in same_sums(shown.seen) if shown.seen else ():
        names = {one.dose.id for one in alike}
        drawn = sum_chart_of(
            shown.picture,
            shown.batch.code,
            [one.dose for one in alike],
            alarms=[alarm for alarm in shown.alarms if alarm.condition in names],
            telling=telling,
        )
        if drawn is not None:
            name = f"{telling.words.sums.lower()}: {telling.summed(alike[0].dose)}"
            yield Picture(name, sum_of(alike[0], telling), drawn)
