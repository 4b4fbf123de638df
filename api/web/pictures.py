"""Ribbons and charts of batches: what the record says, made into pictures with words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from api.web.charts import Bound, Frame, Mark, chart
from api.web.day import day_from, hours_along, instant_of
from api.web.ribbon import RibbonRecord, ribbon
from api.web.telling import grave
from rules.model.event import Standing
from rules.model.plan import When
from rules.model.quantities import Felt
from rules.standing import BY_SEVERITY
from rules.sun import dark_spans

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup
    from numpy.typing import NDArray

    from api.records.alarms import AlarmRecord
    from api.v1.sight import Sight
    from api.web.day import NoonToNoon
    from api.web.telling import Telling
    from rules.evaluator import BatchRecord
    from rules.model.batch import Batch
    from rules.model.place import Place
    from rules.model.plan import Limit

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
class DayPicture:
    """A noon-to-noon day of the whole site, and the one before it."""

    day: NoonToNoon
    judged_to: int
    batches: dict[str, BatchRecord]
    before: dict[str, BatchRecord]
    dark: Spans


@dataclass(frozen=True, slots=True)
class Drawn:
    """A picture and its words: `closest` is the limit that was nearest, with when."""

    picture: Markup
    closest: str


def day_picture(sight: Sight, place: Place, day: NoonToNoon) -> DayPicture:
    """Gather what the pictures of one day are drawn from."""
    record = sight.span(day.first_minute, day.minutes)
    earlier = day_from(day.starts_on - timedelta(days=1), place)
    before = sight.span(earlier.first_minute, earlier.minutes)
    return DayPicture(
        day=day,
        judged_to=record.judged_to,
        batches=dict(record.batches),
        before=dict(before.batches),
        dark=_dark(place, day),
    )


def ribbon_of(picture: DayPicture, batch: Batch, telling: Telling) -> Drawn | None:
    """Return the ribbon of a batch; None when nothing of it was judged on either day."""
    record = picture.batches.get(batch.code)
    if record is None:
        return None
    before = picture.before.get(batch.code)
    closest = _closest(record, picture.day, telling)
    drawn = ribbon(
        RibbonRecord(
            margin=_seen_margin(record),
            standing=record.standing,
            judged_until=picture.day.place_of(picture.judged_to),
        ),
        _fitted(_seen_margin(before), picture.day.minutes) if before is not None else None,
        dark=picture.dark,
        title=batch.code,
        describes=telling.words.ribbon_says(
            batch.code, closest or telling.words.no_ribbon_yet, _blind_for(record, telling)
        ),
    )
    return Drawn(drawn, closest)


def chart_of(
    picture: DayPicture,
    code: str,
    felt: Felt,
    *,
    limits: Sequence[Limit],
    alarms: Sequence[AlarmRecord],
    telling: Telling,
) -> Markup | None:
    """Return the chart of one quantity of a batch; None when it was seen on neither day."""
    record = picture.batches.get(code)
    if record is None:
        return None
    values = record.felt[felt]
    earlier = picture.before.get(code)
    before = _fitted(earlier.felt[felt], picture.day.minutes) if earlier is not None else None
    if np.isnan(values).all() and (before is None or np.isnan(before).all()):
        return None
    words = telling.words
    return chart(
        values,
        before,
        bounds=[_bound(limit, picture, telling) for limit in limits],
        marks=[_mark(one, picture, telling) for one in alarms if _within(one, picture.day)],
        frame=frame_of(picture, telling),
        least_span=LEAST_SPAN[felt],
        title=words.felt[felt],
        describes=_says(values, felt, telling, telling.day(picture.day.starts_on)),
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


def worst_by_night(
    record: BatchRecord, day: NoonToNoon, place: Place, limit: Limit
) -> tuple[float, int] | None:
    """Return the value nearest to or furthest beyond a limit in the dark hours, and its cell."""
    values = record.felt[limit.quantity].copy()
    light = np.ones(values.size, dtype=np.bool_)
    for start, end in dark_spans(place, day.first_minute, day.minutes):
        light[start - day.first_minute : end - day.first_minute] = False
    values[light] = np.nan
    if np.isnan(values).all():
        return None
    at = int(np.nanargmin(values) if limit.side.value == "low" else np.nanargmax(values))
    return float(values[at]), day.first_minute + at


def slope_per_hour(values: NDArray[np.float64], until: int, over_min: int) -> float | None:
    """Return the slope of the straight line through the last minutes; None for too few."""
    piece = values[max(0, until - over_min) : until]
    seen = np.flatnonzero(np.isfinite(piece))
    if seen.size < over_min // 2:
        return None
    x = seen - seen.mean()
    y = piece[seen]
    return float((x * (y - y.mean())).sum() / (x * x).sum() * 60.0)


def _seen_margin(record: BatchRecord) -> NDArray[np.float64]:
    """Return the margin, missing where the batch was blind: light alone never makes it steady.

    What is known to be beyond a limit stays.
    """
    blind = record.standing == BY_SEVERITY.index(Standing.BLIND)
    return np.where(blind & (record.margin >= 0), np.nan, record.margin)


def _dark(place: Place, day: NoonToNoon) -> Spans:
    spans = dark_spans(place, day.first_minute, day.minutes)
    return tuple((day.place_of(start), day.place_of(end)) for start, end in spans)


def _light(dark: Spans) -> Spans:
    edges = [0.0, *(edge for span in dark for edge in span), 1.0]
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return tuple((start, end) for start, end in pairs if end > start)


def _fitted(before: NDArray[np.float64], minutes: int) -> NDArray[np.float64]:
    """Return yesterday's record on today's minutes; differs only where the clock changed."""
    if before.size == minutes:
        return before
    return before[(np.arange(minutes) * before.size) // minutes]


def _closest(record: BatchRecord, day: NoonToNoon, telling: Telling) -> str:
    margin = _seen_margin(record)
    if np.isnan(margin).all():
        return ""
    at = int(np.nanargmin(margin))
    place = int(record.limit[at])
    if place < 0:
        return ""
    return telling.words.ribbon_worst(
        telling.says(record.limits[place]),
        telling.clock(instant_of(day.first_minute + at)),
        beyond=bool(margin[at] < 0),
    )


def _blind_for(record: BatchRecord, telling: Telling) -> str:
    blind = int((record.standing == BY_SEVERITY.index(Standing.BLIND)).sum())
    return telling.words.lasting(blind * 60) if blind else ""


def _bound(limit: Limit, picture: DayPicture, telling: Telling) -> Bound:
    spans: Spans = ((0.0, 1.0),)
    if limit.when is When.NIGHT:
        spans = picture.dark
    elif limit.when is When.DAY:
        spans = _light(picture.dark)
    return Bound(
        value=limit.bound,
        side=limit.side,
        words=telling.need(limit),
        spans=spans,
        grave=grave(limit.priority),
    )


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
