"""The page of rings answers whether there are too many, and which limit cries wolf."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.drawing.svg import drawing, element, share
from api.records.session import reading
from api.records.tables import instant
from api.v1.rings import NothingWatched, watched_load
from api.web.telling import asked_of, blind_felt
from api.web.words.rings import rings_words
from rules.alarm_load import BRIEF_MIN
from rules.benchmarks import ASSESSED_DAYS, Figure, Verdict, beside, beside_rate
from rules.model.batch import Stage
from rules.model.plan import plan_of
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from markupsafe import Markup
    from starlette.responses import Response

    from api.parts import Parts
    from api.web.pages import Desk
    from api.web.telling import Telling
    from api.web.words.rings import RingsWords
    from rules.alarm_load import AlarmLoad, LimitLoad, Rate
    from rules.benchmarks import Benchmark, Beside
    from rules.model.dose import DoseLimit
    from rules.model.plan import Limit

_BARS_PX = 96
_BAR_PX = 10
_SHARES = frozenset(
    {
        Figure.OVER_TEN_SHARE,
        Figure.FLOOD_SHARE,
        Figure.TOP_SHARE,
        Figure.HIGH_SHARE,
        Figure.MEDIUM_SHARE,
        Figure.LOW_SHARE,
    }
)


@dataclass(frozen=True, slots=True)
class FigureRow:
    """A figure beside the published one, in words."""

    name: str
    ours: str
    published: str
    verdict: str
    source: str
    wrong: bool


@dataclass(frozen=True, slots=True)
class LimitRow:
    """What one limit asked of people, in words. `bar` draws its rings, the brief ones apart."""

    name: str
    where: str
    rang: str
    bar: Markup
    lasted: str
    answered: str
    brief: str
    nobody: str
    chatter: str


@dataclass(frozen=True, slots=True)
class RingsPage:
    """All that the page says."""

    answer: str
    span: str
    short: str
    standing: str
    limits: tuple[LimitRow, ...]
    days: Markup
    most_day: str
    tables: tuple[tuple[str, tuple[FigureRow, ...]], ...]


def rings_page_router(at: Desk) -> APIRouter:
    """Return the route of the page."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    @router.get("/rings")
    def rings(request: Request) -> Response:
        telling = at.telling(request)
        words = rings_words(telling.words.code)
        with reading(at.parts.records) as db:
            try:
                load = watched_load(db, at.parts.site, start=None, end=None)
            except NothingWatched:
                load = None
        page = None if load is None else rings_page(at.parts, load, telling)
        return at.answer(request, "rings.html", telling, r=words, page=page)

    return router


def rings_page(parts: Parts, load: AlarmLoad, telling: Telling) -> RingsPage:
    """Say what a load comes to."""
    words = rings_words(telling.words.code)
    number = telling.words.number
    start, end = (
        telling.time(instant(minute * MINUTE_MS)) for minute in (load.first_minute, load.end_minute)
    )
    most = max(load.rings.by_day)
    tables = [(words.as_if_one, _rows(load.rings, beside(load), telling))]
    for name, rate in load.messages.items():
        said = words.messages_to.format(name=telling.person(name), count=rate.count)
        tables.append((said, _rows(rate, beside_rate(rate, load.days), telling)))
    return RingsPage(
        answer=_answer(parts, load, telling),
        span=words.span.format(start=start, end=end),
        short=words.too_short.format(days=ASSESSED_DAYS) if load.days < ASSESSED_DAYS else "",
        standing=words.true_at_once.format(
            mean=number(load.standing_mean, 1), most=load.standing_most
        ),
        limits=tuple(_limit_rows(parts, load.limits, telling)),
        days=_days(load.rings.by_day, words.chart.format(days=len(load.rings.by_day), most=most)),
        most_day=words.most_day.format(most=most),
        tables=tuple(tables),
    )


def _answer(parts: Parts, load: AlarmLoad, telling: Telling) -> str:
    words = rings_words(telling.words.code)
    days = telling.words.number(load.days, 0 if load.days >= ASSESSED_DAYS else 1)
    if not load.limits:
        return words.quiet.format(days=days)
    worst = load.limits[0]
    if worst.brief == 0:
        return words.answer_none_wolf.format(rings=load.rings.count, days=days, minutes=BRIEF_MIN)
    return words.answer.format(
        rings=load.rings.count,
        days=days,
        limit=_named(parts, worst, telling)[0],
        brief=worst.brief,
        of=worst.rings,
        minutes=BRIEF_MIN,
    )


def _rows(rate: Rate, figures: Sequence[Beside], telling: Telling) -> tuple[FigureRow, ...]:
    words = rings_words(telling.words.code)
    night = words.no_night
    if rate.per_night is not None:
        night = telling.words.number(rate.per_night, 1)
    nightly = FigureRow(words.per_night, night, words.no_published, "", "", wrong=False)
    return (nightly, *(_row(one, words, telling) for one in figures))


def _row(one: Beside, words: RingsWords, telling: Telling) -> FigureRow:
    return FigureRow(
        name=words.figures[one.figure],
        ours=words.too_few if one.value is None else _figure(one.figure, one.value, telling),
        published=_published(one.figure, one.benchmark, words, telling),
        verdict=words.verdicts[one.verdict],
        source=words.sources[one.benchmark.source],
        wrong=one.verdict is Verdict.BEYOND,
    )


def _published(figure: Figure, benchmark: Benchmark, words: RingsWords, telling: Telling) -> str:
    good, most = (_figure(figure, value, telling) for value in (benchmark.good, benchmark.most))
    if benchmark.aim:
        return words.aim.format(good=good)
    if benchmark.good == benchmark.most:
        return words.up_to.format(good=good)
    return words.up_to_then.format(good=good, most=most)


def _figure(figure: Figure, value: float, telling: Telling) -> str:
    if figure in _SHARES:
        return _percent(value, telling)
    decimals = 0 if value == round(value) else 2
    return telling.words.number(value, decimals)


def _percent(value: float, telling: Telling) -> str:
    whole = abs(100 * value - round(100 * value)) < 0.05
    decimals = 0 if value >= 0.1 or whole else 1
    return f"{telling.words.number(100 * value, decimals)}\N{NO-BREAK SPACE}%"


def _limit_rows(parts: Parts, limits: Sequence[LimitLoad], telling: Telling) -> Iterator[LimitRow]:
    words = rings_words(telling.words.code)
    lasting = telling.words.lasting
    most = max((one.rings for one in limits), default=1)
    for one in limits:
        name, where = _named(parts, one, telling)
        within = {
            key: words.too_few
            if minutes is None
            else words.half_within.format(time=lasting(max(60, round(minutes * 60))))
            for key, minutes in (("open", one.median_open_min), ("answer", one.median_answer_min))
        }
        shares = [
            words.too_few if value is None else _percent(value, telling)
            for value in (one.brief_share, one.unanswered_share, one.chatter_share)
        ]
        yield LimitRow(
            name=name,
            where=where,
            rang=words.times.format(rings=one.rings, batches=one.batches),
            bar=_bar(one, most, name),
            lasted=within["open"],
            answered=within["answer"],
            brief=shares[0],
            nobody=shares[1],
            chatter=shares[2],
        )


def _named(parts: Parts, one: LimitLoad, telling: Telling) -> tuple[str, str]:
    """Return what a limit says with what it asks for, and of which plan and stage it is."""
    limit, words = one.limit, telling.words
    where = limit.plan
    if limit.stage:
        where = f"{limit.plan}, {words.stage_names[Stage(limit.stage)]}"
    felt = blind_felt(limit.condition)
    if felt is not None:
        return words.blind_to([words.felt[felt]]), where
    plan = plan_of(parts.plans, limit.plan, telling.now) if limit.plan in parts.plans else None
    batch = next((one for one in parts.site.batch if one.plan == limit.plan), None)
    if plan is not None and limit.stage in {stage.value for stage in plan.stage}:
        of_stage = plan.stage[Stage(limit.stage)]
        known: tuple[Limit | DoseLimit, ...] = (*of_stage.limit, *of_stage.dose)
        asked = next((one for one in known if one.id == limit.condition), None)
    else:
        asked = asked_of(plan, batch, limit.condition, telling.now)
    if asked is None:
        return limit.condition, where
    return f"{telling.says(asked)} ({telling.need(asked)})", where


def _days(counts: Sequence[int], describes: str) -> Markup:
    """Draw a bar a day, the first day on the left."""
    most = max(1, *counts) if counts else 1
    width = 1 / max(1, len(counts))
    bars = [
        element(
            "rect",
            class_="bar",
            x=share(place * width + width * 0.1),
            y=_BARS_PX - round(_BARS_PX * count / most),
            width=share(width * 0.8),
            height=round(_BARS_PX * count / most),
        )
        for place, count in enumerate(counts)
        if count
    ]
    ground = element("line", class_="limit-line", x1="0", x2="100%", y1=_BARS_PX, y2=_BARS_PX)
    return drawing(describes, describes, *bars, ground, class_="bars", height=_BARS_PX + 1)


def _bar(one: LimitLoad, most: int, name: str) -> Markup:
    """Draw the rings of a limit as one bar, those that were over by themselves darker."""
    whole = element(
        "rect", class_="bar-rest", x="0", y="0", width=share(one.rings / most), height=_BAR_PX
    )
    brief = element(
        "rect", class_="bar-brief", x="0", y="0", width=share(one.brief / most), height=_BAR_PX
    )
    said = f"{name}: {one.rings}, {one.brief}"
    return drawing(said, said, whole, brief, class_="bars", height=_BAR_PX)
