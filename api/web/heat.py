"""Heat under the cover on the page of a batch: what to expect in a day, and the shade it takes.

Where the record is too thin, or a sensor is missing, the page says what it needs and draws nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.drawing.charts import Bound, Frame, chart
from api.drawing.day import instant_of
from api.v1.foresight import A_DAY_MIN, cover_heat
from api.web.day_charts import LEAST_SPAN
from api.web.estimates import peak_text
from api.web.telling import grave
from rules.cover import SPAN_MIN, TooThin
from rules.cover_ahead import STEP_MIN, CoverAhead
from rules.local_time import to_local
from rules.model.plan import Side
from rules.model.quantities import Felt
from rules.sun import dark_spans

if TYPE_CHECKING:
    from collections.abc import Iterator

    from markupsafe import Markup

    from api.v1.foresight import CoverHeat, Shading
    from api.web.batch_day import BatchDay
    from api.web.telling import Telling
    from rules.model.place import Place

PEAK = Felt.EXPECTED_PEAK
HOURS_MARKED = 6
ROOM_FOR_NOW = 0.1
_QUARTER_MIN = 15


@dataclass(frozen=True, slots=True)
class HeatSection:
    """What the page says of the heat to come; `drawn` is None while nothing can be told."""

    answer: str
    shade: tuple[str, ...]
    notes: tuple[str, ...]
    drawn: Markup | None


def heat_section(shown: BatchDay) -> HeatSection | None:
    """Return the section; None for a batch without a cover, or that nobody watches."""
    heat = cover_heat(shown.parts.watchlist, shown.present, shown.batch.code)
    if heat is None:
        return None
    telling = shown.telling
    if not isinstance(heat.told, CoverAhead):
        return HeatSection(_missing(heat, telling), (), (), None)
    answer = _expected(heat.told, telling)
    return HeatSection(
        answer=answer,
        shade=tuple(_shade(one, telling) for one in heat.shadings),
        notes=tuple(_notes(heat.told, shown)),
        drawn=_drawn(heat, heat.told, shown.parts.site.site, telling, describes=answer),
    )


def _missing(heat: CoverHeat, telling: Telling) -> str:
    words, told = telling.words, heat.told
    if not heat.probe:
        return words.heat_no_probe
    if not heat.house:
        return words.heat_no_house
    if not isinstance(told, TooThin):
        return words.heat_house_unknown
    return words.heat_thin(
        _hours(told.more_spans, telling) if told.more_spans else "",
        told.more_days,
        telling.value(Felt.PPFD, told.more_range_umol) if told.more_range_umol else "",
    )


def _expected(ahead: CoverAhead, telling: Telling) -> str:
    peak = ahead.peak
    return telling.words.heat_expected(
        telling.value(PEAK, peak.central_c),
        telling.time(instant_of(peak.at_minute)),
        telling.band(PEAK, peak.low_c, peak.high_c),
    )


def _shade(one: Shading, telling: Telling) -> str:
    words = telling.words
    bound, says = telling.value(PEAK, one.limit.bound), telling.says(one.limit)
    if one.before is None:
        return words.heat_inside(bound, says)
    before = telling.soon(one.before)
    if one.stop is None:
        return words.heat_no_shade(bound, says, before=before)
    if one.stop == 0.0:
        return words.heat_edge(bound, says, before=before)
    stop = words.number(max(1.0, one.stop * 100), 0)
    return words.heat_shade(bound, says, before=before, stop=stop)


def _notes(ahead: CoverAhead, shown: BatchDay) -> Iterator[str]:
    telling = shown.telling
    words = telling.words
    if ahead.peak.beyond_record:
        yield words.heat_beyond
    yield words.heat_learnt(_hours(ahead.fit.spans, telling), ahead.fit.days)
    told = shown.seen.peak if shown.seen else None
    if told is not None:
        made = telling.time(instant_of(told.made_minute))
        yield words.heat_told(made, peak_text(told, telling))


def _drawn(
    heat: CoverHeat, ahead: CoverAhead, place: Place, telling: Telling, *, describes: str
) -> Markup:
    course, measure = ahead.course, telling.measure(PEAK)
    # Each step stands in the middle of its ten minutes.
    first = int(course.minute[0]) - STEP_MIN // 2
    bounds = [
        Bound(
            value=measure.of(one.limit.bound),
            side=Side.HIGH,
            words=f"{telling.says(one.limit)}: {telling.value(PEAK, one.limit.bound)}",
            spans=((0.0, 1.0),),
            grave=grave(one.limit.priority),
        )
        for one in heat.shadings
    ]
    return chart(
        measure.of_all(course.central_c),
        None,
        bounds=bounds,
        marks=(),
        frame=_frame(first, place, telling),
        least_span=measure.apart().of(LEAST_SPAN[PEAK]),
        title=telling.words.cover_heat,
        describes=describes,
        band=(measure.of_all(course.low_c), measure.of_all(course.high_c)),
    )


def _frame(first_minute: int, place: Place, telling: Telling) -> Frame:
    """Return the dark hours and the hours written below the day from a minute on."""
    dark = dark_spans(place, first_minute, A_DAY_MIN)
    hours: list[tuple[float, str]] = []
    names = {12: telling.words.noon, 0: telling.words.midnight}
    begin = -(-first_minute // _QUARTER_MIN) * _QUARTER_MIN
    for minute in range(begin, first_minute + A_DAY_MIN, _QUARTER_MIN):
        local = to_local(instant_of(minute), place)
        if local.minute == 0 and local.hour % HOURS_MARKED == 0:
            name = names.get(local.hour, f"{local.hour:02d}:00")
            hours.append(((minute - first_minute) / A_DAY_MIN, name))
    if not hours or hours[0][0] > ROOM_FOR_NOW:
        hours.insert(0, (0.0, telling.words.now_mark))
    return Frame(
        dark=tuple(
            ((start - first_minute) / A_DAY_MIN, (end - first_minute) / A_DAY_MIN)
            for start, end in dark
        ),
        hours=tuple(hours),
        now=None,
        now_words="",
    )


def _hours(spans: int, telling: Telling) -> str:
    hours = spans * SPAN_MIN / 60
    return telling.words.number(hours, 0 if hours == int(hours) else 1)
