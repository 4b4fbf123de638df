"""A day of all batches as it is drawn: their ribbons, and what the nights were at worst."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from api.drawing.day import day_from, instant_of
from api.drawing.ribbon import RibbonRecord, ribbon, seen_margin
from rules.model.event import Standing
from rules.standing import BY_SEVERITY
from rules.sun import dark_spans

if TYPE_CHECKING:
    from markupsafe import Markup

    from api.drawing.day import NoonToNoon
    from api.v1.sight import Sight
    from api.web.telling import Telling
    from rules.evaluator import BatchRecord
    from rules.model.batch import Batch
    from rules.model.place import Place
    from rules.model.plan import Limit

Spans = tuple[tuple[float, float], ...]
Flags = NDArray[np.bool_]


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
            margin=seen_margin(record),
            standing=record.standing,
            judged_until=picture.day.place_of(picture.judged_to),
        ),
        fitted(seen_margin(before), picture.day.minutes) if before is not None else None,
        dark=picture.dark,
        title=batch.code,
        describes=telling.words.ribbon_says(
            batch.code, closest or telling.words.no_ribbon_yet, _blind_for(record, telling)
        ),
    )
    return Drawn(drawn, closest)


def worst_by_night(
    record: BatchRecord, day: NoonToNoon, place: Place, limit: Limit, *, film_open: Flags
) -> tuple[float, int] | None:
    """Return the value nearest to or furthest beyond a limit in the dark hours, and its cell.

    `film_open` says for each minute whether a limit that waits for that can speak.
    """
    values = record.felt[limit.quantity].copy()
    if limit.film is not None:
        values[~film_open] = np.nan
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


def fitted(before: NDArray[np.float64], minutes: int) -> NDArray[np.float64]:
    """Return yesterday's record on today's minutes; differs only where the clock changed."""
    if before.size == minutes:
        return before
    return before[(np.arange(minutes) * before.size) // minutes]


def _dark(place: Place, day: NoonToNoon) -> Spans:
    spans = dark_spans(place, day.first_minute, day.minutes)
    return tuple((day.place_of(start), day.place_of(end)) for start, end in spans)


def _closest(record: BatchRecord, day: NoonToNoon, telling: Telling) -> str:
    margin = seen_margin(record)
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
