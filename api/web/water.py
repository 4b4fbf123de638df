"""The scion's water on the page of a batch: what is left, how long it lasts, what the night does.

All of it is an estimate, and is told as one: with its band, since when it is reckoned, how much of
that was guessed, and the figures of the care plan with their ranges and sources.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from api.v1.foresight import water_ahead
from api.web.day_charts import band_of
from api.web.plan_figures import figure_row
from rules.model.drying import Ranged
from rules.model.plan import plan_of
from rules.model.quantities import Felt
from rules.reserve import MOST_HOURS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from markupsafe import Markup
    from pydantic import BaseModel

    from api.web.batch_day import BatchDay
    from api.web.plan_figures import FigureRow
    from api.web.telling import Telling
    from rules.outlook import DryingNow, Likely

LEAST_SHOWN_PCT = 0.5


@dataclass(frozen=True, slots=True)
class WaterChart:
    """A chart with its name and the value now."""

    name: str
    now: str
    drawn: Markup


@dataclass(frozen=True, slots=True)
class WaterSection:
    """What the page says of a scion's water. `answer` comes first."""

    answer: str
    sentences: tuple[str, ...]
    since: str
    charts: tuple[WaterChart, ...]
    figures: tuple[FigureRow, ...]


def water_section(shown: BatchDay) -> WaterSection | None:
    """Return the section; None where the plan does not say how the scion dries."""
    seen, telling = shown.seen, shown.telling
    plan = plan_of(shown.parts.plans, shown.batch.plan, telling.now)
    if seen is None or plan is None or plan.drying is None:
        return None
    drying = seen.drying
    if drying is None:
        figures = tuple(_figures(plan.drying, shown))
        return WaterSection(telling.words.water_untold, (), "", (), figures)
    guessed = telling.words.lasting(drying.guessed_min * 60) if drying.guessed_min else ""
    since = telling.time(instant_of(drying.since_minute))
    return WaterSection(
        answer=_left(drying, telling),
        sentences=(_lasts(drying.hours, telling), *_ahead(shown)),
        since=telling.words.water_since(since, guessed),
        charts=tuple(_charts(shown)),
        figures=tuple(_figures(plan.drying, shown)),
    )


def _left(drying: DryingNow, telling: Telling) -> str:
    likely = drying.reserve_pct
    band = telling.band(Felt.RESERVE, likely.low, likely.high)
    if likely.central < LEAST_SHOWN_PCT:
        return telling.words.water_spent(band)
    return telling.words.water_left(telling.value(Felt.RESERVE, likely.central), band)


def _lasts(hours: Likely | None, telling: Telling) -> str:
    words, felt = telling.words, Felt.HOURS_TO_CRITICAL
    if hours is None:
        return words.water_unknown_pace
    if hours.central >= MOST_HOURS:
        return words.water_endless(
            "" if hours.low >= MOST_HOURS else telling.value(felt, hours.low)
        )
    band = telling.band(felt, hours.low, hours.high)
    return words.water_lasts(telling.value(felt, hours.central), band)


def _ahead(shown: BatchDay) -> Iterator[str]:
    """Yield what the time until sunrise would do."""
    telling = shown.telling
    words = telling.words
    ahead = water_ahead(shown.parts.watchlist, shown.present, shown.batch.code)
    if ahead is None:
        return
    told = ahead.told
    if told is None:
        yield words.water_ahead_unknown
        return

    def time(minute: int | None) -> str:
        return "" if minute is None else telling.time(instant_of(minute))

    if told.likely is not None and told.soonest is not None:
        yield words.water_ends(time(told.likely), time(told.soonest), time(told.latest))
        return
    left = told.reserve_pct
    band = telling.band(Felt.RESERVE, float(left.low[0]), float(left.high[0]))
    value = telling.value(Felt.RESERVE, float(left.central[0]))
    yield words.water_holds(time(told.until_minute), value, band)
    if told.soonest is not None:
        gone = instant_of(told.soonest) <= telling.now
        yield words.water_at_worst("" if gone else time(told.soonest))


def _charts(shown: BatchDay) -> Iterator[WaterChart]:
    """Yield the chart of the reserve, and that of the hours where a limit speaks of them."""
    limits = shown.limits()
    for felt in (Felt.RESERVE, Felt.HOURS_TO_CRITICAL):
        if felt is Felt.HOURS_TO_CRITICAL and felt not in limits:
            continue
        drawn = band_of(
            shown.picture,
            shown.batch.code,
            felt,
            limits=limits.get(felt, ()),
            alarms=shown.alarms_on(felt),
            telling=shown.telling,
        )
        if drawn is not None:
            yield WaterChart(shown.telling.words.felt[felt], shown.now(felt), drawn)


def _figures(drying: BaseModel, shown: BatchDay) -> Iterator[FigureRow]:
    """Yield the figures of the plan in its order; a batch's own measure stands before it."""
    words = shown.telling.words
    for name in type(drying).model_fields:
        figure = getattr(drying, name)
        if isinstance(figure, Ranged):
            own = shown.batch.scion_diameter_mm if name == "diameter_mm" else None
            if own is not None:
                figure = Ranged(central=own, low=own, high=own, source=words.own_measure)
            yield figure_row(name, figure, shown.telling)
        elif figure is not None:
            yield from _figures(figure, shown)
