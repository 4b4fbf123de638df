"""The chart that goes with an alarm: what was felt, the limit, the night, and when it began."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from api.alerts.figures import bound_shown, clock_time
from api.alerts.phrases import phrases
from api.drawing.charts import HEIGHT, PLOT, TOP, Bound, Frame, Mark, chart
from api.drawing.day import NoonToNoon
from api.drawing.svg import element, share
from api.measures import measure_in, measure_of_sum_in
from api.pictures.sheet import EDGE, WIDTH, in_plain_signs, placed, printed
from api.pictures.window import dark_of, hours_of, share_of
from api.pictures.words import picture_words
from api.v1.foresight import A_DAY_MIN, cover_heat
from rules.cover_ahead import STEP_MIN, CoverAhead
from rules.model.alarm import Priority
from rules.model.dose import DoseLimit
from rules.model.plan import Side, When
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from datetime import datetime

    from markupsafe import Markup
    from numpy.typing import NDArray

    from api.alerts.told import Subject
    from api.measures import Measure
    from api.v1.sight import Present, SpanRecord
    from rules.evaluator import BatchRecord, Watchlist
    from rules.model.plan import Limit
    from rules.model.site import Site
    from rules.reserve import Band

CHART_TOP = 44
PICTURE_HEIGHT = CHART_TOP + HEIGHT + 26
MOST_HOURS_DRAWN = 48.0
MOST_BOUNDS = 2
LEAST_SPAN = {
    Felt.AIR_TEMPERATURE: 6.0,
    Felt.RELATIVE_HUMIDITY: 10.0,
    Felt.VAPOUR_PRESSURE_DEFICIT: 0.4,
    Felt.PPFD: 100.0,
    Felt.LEAF_TEMPERATURE: 6.0,
    Felt.AIR_SPEED: 1.0,
    Felt.SUBSTRATE_MOISTURE: 10.0,
    Felt.LEAF_DEFICIT: 0.4,
    Felt.RESERVE: 20.0,
    Felt.HOURS_TO_CRITICAL: 12.0,
    Felt.EXPECTED_PEAK: 6.0,
}

Spans = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Reader:
    """For whom a picture is drawn, and when: language, unit of temperature, aware instant."""

    language: str
    fahrenheit: bool
    now: datetime


@dataclass(frozen=True, slots=True)
class _Drawn:
    """What is on the chart, in the unit of its plan: a line, and a band if it is an estimate."""

    values: NDArray[np.float64]
    band: tuple[NDArray[np.float64], NDArray[np.float64]] | None
    name: str
    measure: Measure
    held: tuple[float, ...]
    least_span: float
    limits: tuple[Limit | DoseLimit, ...]


def heat_to_come(
    subject: Subject, site: Site, watched: Watchlist, present: Present, *, reader: Reader
) -> bytes | None:
    """Return the picture of the heat to expect under a cover; None while it can't be told."""
    heat = cover_heat(watched, present, subject.alarm.batch)
    if heat is None or not isinstance(heat.told, CoverAhead):
        return None
    course = heat.told.course
    first = int(course.minute[0]) - STEP_MIN // 2
    words = phrases(reader.language)
    measure = measure_in(Felt.EXPECTED_PEAK, fahrenheit=reader.fahrenheit)
    drawn = _Drawn(
        course.central_c,
        (course.low_c, course.high_c),
        words.felt[Felt.EXPECTED_PEAK],
        measure,
        (),
        LEAST_SPAN[Felt.EXPECTED_PEAK],
        () if subject.asked is None else (subject.asked,),
    )
    window = NoonToNoon(reader.now.date(), first, A_DAY_MIN)
    return _print(subject, site, drawn, window, judged_to=None, reader=reader)


def alarm_chart(
    subject: Subject, site: Site, seen: SpanRecord, window: NoonToNoon, *, reader: Reader
) -> bytes | None:
    """Return the picture as PNG; None where nothing of the quantity was seen in these hours."""
    record = seen.batches.get(subject.alarm.batch)
    drawn = None if record is None else _drawn(subject, record, reader)
    if drawn is None or not bool(np.isfinite(drawn.values).any()):
        return None
    return _print(subject, site, drawn, window, judged_to=seen.judged_to, reader=reader)


def _drawn(subject: Subject, record: BatchRecord, reader: Reader) -> _Drawn | None:
    words = phrases(reader.language)
    asked = subject.asked
    if isinstance(asked, DoseLimit):
        values = record.doses.get(asked.id)
        if values is None:
            return None
        measure = measure_of_sum_in(asked.kind, fahrenheit=reader.fahrenheit)
        name = picture_words(reader.language).added_up.format(felt=words.felt[asked.quantity])
        return _Drawn(values, None, name, measure, (0.0,), asked.bound, (asked,))
    felt = subject.blind_to if asked is None else asked.quantity
    if felt is None:
        return None
    band = _band(record, felt)
    values, sides = record.felt[felt], None
    if band is not None:
        top = MOST_HOURS_DRAWN if felt is Felt.HOURS_TO_CRITICAL else 100.0
        low, values, high = (np.minimum(row, top) for row in (band.low, band.central, band.high))
        sides = (low, high)
    measure = measure_in(felt, fahrenheit=reader.fahrenheit)
    held = (0.0,) if band is not None else ()
    limits = (asked,) if asked is not None else _limits_on(felt, record)
    return _Drawn(values, sides, words.felt[felt], measure, held, LEAST_SPAN[felt], limits)


def _limits_on(felt: Felt, record: BatchRecord) -> tuple[Limit, ...]:
    """Return the limits on a quantity that cannot be seen, so that it shows where it was."""
    return tuple(one for one in record.limits if one.quantity is felt)[:MOST_BOUNDS]


def _band(record: BatchRecord, felt: Felt) -> Band | None:
    if felt is Felt.RESERVE:
        return record.reserve_pct
    return record.hours_to_critical if felt is Felt.HOURS_TO_CRITICAL else None


def _print(
    subject: Subject,
    site: Site,
    drawn: _Drawn,
    window: NoonToNoon,
    *,
    judged_to: int | None,
    reader: Reader,
) -> bytes:
    words, said = phrases(reader.language), picture_words(reader.language)
    alarm, place, measure = subject.alarm, site.site, drawn.measure
    dark = dark_of(window, place)
    opened = share_of(alarm.opened_at, window)
    now = 1.0 if judged_to is None else window.place_of(judged_to)
    ended = now if alarm.ended_at is None else share_of(alarm.ended_at, window)
    since = clock_time(alarm.opened_at, place, now=reader.now, words=words)
    marks = [] if judged_to is None else [Mark(opened, max(opened, min(1.0, ended)), since)]
    picture = chart(
        measure.of_all(drawn.values),
        None,
        bounds=[_bound(one, measure, dark, reader.language) for one in drawn.limits],
        marks=marks,
        frame=Frame(
            dark=dark,
            hours=tuple(hours_of(window, place, {12: said.noon, 0: said.midnight})),
            now=now if 0.0 < now < 1.0 else None,
            now_words=said.now,
        ),
        least_span=drawn.least_span * measure.factor,
        title=drawn.name,
        describes=drawn.name,
        band=None
        if drawn.band is None
        else (measure.of_all(drawn.band[0]), measure.of_all(drawn.band[1])),
        held=[measure.of(value) for value in drawn.held],
        grid=(5 * (WIDTH - 2 * EDGE), 5 * PLOT),
    )
    bench = _bench(subject, site)
    batch = subject.batch
    plants = alarm.batch if batch is None else f"{alarm.batch} {batch.species}"
    name = f"{drawn.name[0].upper()}{drawn.name[1:]}, {in_plain_signs(measure.unit)}"
    foot = said.foot_ahead if judged_to is None else said.foot.format(time=since)
    return printed(
        f"{plants}, {bench}" if bench else plants,
        [name],
        placed(picture, *_opened(opened, judged_to), y=CHART_TOP, height=HEIGHT),
        *_foot(foot, with_mark=judged_to is not None),
        top=CHART_TOP,
        height=PICTURE_HEIGHT,
    )


def _foot(words: str, *, with_mark: bool) -> list[Markup]:
    """Return the line below, after the mark that it explains; no typeface needs to have that."""
    y = CHART_TOP + HEIGHT + 17
    if not with_mark:
        return [element("text", words, x=EDGE, y=y)]
    mark = element("path", d=f"M{EDGE} {y - 9}h10l-5 9z", class_="alarm-mark")
    return [mark, element("text", words, x=EDGE + 14, y=y)]


def _opened(at: float, judged_to: int | None) -> list[Markup]:
    """Return a line down the plot at the moment in which the alarm opened."""
    if judged_to is None:
        return []
    x = share(at)
    return [element("line", x1=x, x2=x, y1=TOP, y2=TOP + PLOT, class_="opened")]


def _bound(asked: Limit | DoseLimit, measure: Measure, dark: Spans, language: str) -> Bound:
    words = phrases(language)
    limit = words.at_least if asked.side is Side.LOW else words.at_most
    shown = f"{bound_shown(measure, asked.bound, words)} {in_plain_signs(measure.unit)}"
    return Bound(
        value=measure.of(asked.bound),
        side=asked.side,
        words=limit.format(bound=shown),
        spans=_speaks(asked, dark),
        grave=asked.priority is Priority.HIGH,
    )


def _speaks(asked: Limit | DoseLimit, dark: Spans) -> Spans:
    """Return where in the window a limit holds: by night, by day, or always."""
    if isinstance(asked, DoseLimit) or asked.when not in {When.NIGHT, When.DAY}:
        return ((0.0, 1.0),)
    if asked.when is When.NIGHT:
        return dark
    edges = [0.0, *(edge for span in dark for edge in span), 1.0]
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return tuple((start, end) for start, end in pairs if end > start)


def _bench(subject: Subject, site: Site) -> str:
    if subject.batch is None:
        return ""
    of = subject.batch.bench
    return next((bench.title for bench in site.bench if bench.id == of), "")
