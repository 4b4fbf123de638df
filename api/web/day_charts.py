"""Charts of a batch along a day: one quantity, the scion's water with its band, a running sum."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from api.drawing.charts import Bound, Frame, Mark, chart
from api.drawing.day import hours_along, instant_of
from api.web.pictures import fitted
from api.web.telling import grave
from rules.model.plan import When
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup
    from numpy.typing import NDArray

    from api.drawing.day import NoonToNoon
    from api.records.alarms import AlarmRecord
    from api.web.pictures import DayPicture, Spans
    from api.web.telling import Telling
    from rules.evaluator import BatchRecord
    from rules.model.dose import DoseLimit
    from rules.model.plan import Limit
    from rules.reserve import Band

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

MOST_DRAWN_H = 48.0


def chart_of(
    picture: DayPicture,
    code: str,
    felt: Felt,
    *,
    limits: Sequence[Limit],
    film: Spans,
    alarms: Sequence[AlarmRecord],
    telling: Telling,
) -> Markup | None:
    """Return the chart of one quantity of a batch; None when it was seen on neither day.

    `film` is where on the day the film was open.
    """
    record = picture.batches.get(code)
    if record is None:
        return None
    values = record.felt[felt]
    earlier = picture.before.get(code)
    before = fitted(earlier.felt[felt], picture.day.minutes) if earlier is not None else None
    if np.isnan(values).all() and (before is None or np.isnan(before).all()):
        return None
    words, measure = telling.words, telling.measure(felt)
    return chart(
        measure.of_all(values),
        None if before is None else measure.of_all(before),
        bounds=[_bound(limit, picture, telling, film=film) for limit in limits],
        marks=[_mark(one, picture, telling) for one in alarms if _within(one, picture.day)],
        frame=frame_of(picture, telling),
        least_span=measure.apart().of(LEAST_SPAN[felt]),
        title=words.felt[felt],
        describes=_says(values, felt, telling, telling.day(picture.day.starts_on)),
    )


def band_of(
    picture: DayPicture,
    code: str,
    felt: Felt,
    *,
    limits: Sequence[Limit],
    alarms: Sequence[AlarmRecord],
    telling: Telling,
) -> Markup | None:
    """Return the chart of the reserve or of the hours it lasts, with the band round the line.

    Hours are drawn up to MOST_DRAWN_H: beyond two days nobody hurries.
    """
    band = _band(picture.batches.get(code), felt)
    if band is None:
        return None
    words = telling.words
    top = MOST_DRAWN_H if felt is Felt.HOURS_TO_CRITICAL else 100.0
    low, central, high = (np.minimum(row, top) for row in (band.low, band.central, band.high))
    earlier = _band(picture.before.get(code), felt)
    before = None if earlier is None else fitted(earlier.central, picture.day.minutes)
    return chart(
        central,
        None if before is None else np.minimum(before, top),
        bounds=[_bound(limit, picture, telling, film=()) for limit in limits],
        marks=[_mark(one, picture, telling) for one in alarms if _within(one, picture.day)],
        frame=frame_of(picture, telling),
        least_span=LEAST_SPAN[felt],
        title=words.felt[felt],
        describes=_says(band.central, felt, telling, telling.day(picture.day.starts_on)),
        band=(low, high),
        held=(0.0,),
    )


def sum_chart_of(
    picture: DayPicture,
    code: str,
    doses: Sequence[DoseLimit],
    *,
    alarms: Sequence[AlarmRecord],
    telling: Telling,
) -> Markup | None:
    """Return the chart of a running sum beside all its bounds; None where nothing was added up.

    `doses` add up the same, one at least.
    """
    dose = doses[0]
    record = picture.batches.get(code)
    values = None if record is None else record.doses.get(dose.id)
    if values is None or np.isnan(values).all():
        return None
    earlier = picture.before.get(code)
    before = None if earlier is None else earlier.doses.get(dose.id)
    measure = telling.measure_of_sum(dose.kind)
    bounds = [
        Bound(
            measure.of(one.bound), one.side, telling.need(one), ((0.0, 1.0),), grave(one.priority)
        )
        for one in doses
    ]
    seen = values[np.isfinite(values)]
    words = telling.words
    span = telling.day(picture.day.starts_on)
    low, high, last = (
        telling.total(dose.kind, float(value)) for value in (seen.min(), seen.max(), seen[-1])
    )
    return chart(
        measure.of_all(values),
        None if before is None else measure.of_all(fitted(before, picture.day.minutes)),
        bounds=bounds,
        marks=[_mark(one, picture, telling) for one in alarms if _within(one, picture.day)],
        frame=frame_of(picture, telling),
        least_span=measure.of(dose.bound),
        title=telling.summed(dose),
        describes=words.chart_says(telling.summed(dose), span, low, high, last),
        held=(0.0,),
    )


def frame_of(picture: DayPicture, telling: Telling) -> Frame:
    """Return what all charts of the day share."""
    words = telling.words
    names = {12: words.noon, 0: words.midnight}
    hours = tuple(
        (picture.day.place_of(minute), names.get(hour, f"{hour:02d}:00"))
        for minute, hour in hours_along(picture.day, telling.site.site, every_h=6)
    )
    now = picture.day.place_of(picture.judged_to)
    return Frame(
        dark=picture.dark,
        hours=hours,
        now=now if 0.0 < now < 1.0 else None,
        now_words=words.now_mark,
    )


def _band(record: BatchRecord | None, felt: Felt) -> Band | None:
    if record is None:
        return None
    return record.reserve_pct if felt is Felt.RESERVE else record.hours_to_critical


def _bound(limit: Limit, picture: DayPicture, telling: Telling, *, film: Spans) -> Bound:
    spans: Spans = ((0.0, 1.0),)
    if limit.when is When.NIGHT:
        spans = picture.dark
    elif limit.when is When.DAY:
        spans = _light(picture.dark)
    if limit.film is not None:
        spans = _both(spans, film)
    return Bound(
        value=telling.measure(limit.quantity).of(limit.bound),
        side=limit.side,
        words=telling.need(limit),
        spans=spans,
        grave=grave(limit.priority),
    )


def _both(some: Spans, others: Spans) -> Spans:
    """Return where two sets of spans overlap."""
    pairs = ((max(a, c), min(b, d)) for a, b in some for c, d in others)
    return tuple(sorted((start, end) for start, end in pairs if end > start))


def _light(dark: Spans) -> Spans:
    edges = [0.0, *(edge for span in dark for edge in span), 1.0]
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return tuple((start, end) for start, end in pairs if end > start)


def _within(alarm: AlarmRecord, day: NoonToNoon) -> bool:
    start = instant_of(day.first_minute)
    end = instant_of(day.end_minute)
    return alarm.opened_at < end and (alarm.ended_at is None or alarm.ended_at > start)


def _mark(alarm: AlarmRecord, picture: DayPicture, telling: Telling) -> Mark:
    def place(minutes: float) -> float:
        return min(1.0, max(0.0, picture.day.place_of(minutes)))

    opened = alarm.opened_at.timestamp() / 60
    ended = alarm.ended_at.timestamp() / 60 if alarm.ended_at else picture.judged_to
    return Mark(place(opened), place(ended), telling.time(alarm.opened_at))


def _says(values: NDArray[np.float64], felt: Felt, telling: Telling, span: str) -> str:
    words = telling.words
    seen = values[np.isfinite(values)]
    if seen.size == 0:
        return words.chart_empty(words.felt[felt], span)
    return words.chart_says(
        words.felt[felt],
        span,
        telling.value(felt, float(seen.min())),
        telling.value(felt, float(seen.max())),
        telling.value(felt, float(seen[-1])),
    )
