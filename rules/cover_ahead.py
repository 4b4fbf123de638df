"""How hot it will get under a cover until tomorrow's dusk, if the sky stays clear.

The line of the cover (rules.cover) is followed through the light of a clear sky and through the
house's air as it was in the same hours of the last day. What the sky's light becomes at the probe
is taken from the brightest of the record, and never less than the cloth lets through: a week of
cloud must not promise a cool day.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.cover import (
    SPAN_MIN,
    CoverCourse,
    CoverFit,
    CoverRecord,
    Peak,
    TooThin,
    course_under_cover,
    fit_cover,
    peak_of,
)
from rules.sky import LEAST_CLEAR_SKY_UMOL_M2_S, clear_sky_by_day_umol_m2_s

if TYPE_CHECKING:
    from rules.model.place import Place

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]
Slots = tuple[int | None, ...]

STEP_MIN = 10
AHEAD_MIN = 1440
LEAST_HOURS = 20
"""Of the last day's hours of house air, so many must be known; house rule."""
UNSURE_C = 2.5
"""How far tomorrow's house air may be off when only one day is known; house rule."""
LEAST_UNSURE_C = 0.5
BRIGHTEST = 0.9
"""The record's clear moments: the tenth with the largest share of clear-sky light; house rule."""

_HOURS = 24
_HOUR_MIN = 60
_LEAST_MINUTES = 30
_HUNDREDTH = 10_000
_NONE: Slots = (None,) * _HOURS


@dataclass(frozen=True, slots=True)
class HouseHours:
    """Hourly means of the house's air, in hundredths of °C, each in the place of its hour UTC.

    `last` holds each hour when it last came round, `before` a day earlier. The sum is of millionths
    over the `count` minutes of the hour, counted from the epoch, that is `filling`.
    """

    last: Slots = _NONE
    before: Slots = _NONE
    filling: int = 0
    total: int = 0
    count: int = 0


UNKNOWN_HOURS = HouseHours()


@dataclass(frozen=True, slots=True)
class CoverAhead:
    """What is to be expected under one cover: the line, the course until tomorrow, its peak."""

    fit: CoverFit
    course: CoverCourse
    peak: Peak


def gather_hours(
    hours: HouseHours, first_minute: int, values: Wholes, present: Flags
) -> HouseHours:
    """Carry the hourly means over minutes in a row; one by one and all at once give the same.

    `values` in millionths of °C count only where `present`; an hour seen for less than half is
    left out, and its place keeps what it had.
    """
    minutes = len(present)
    begin = first_minute // _HOUR_MIN
    place = (first_minute + np.arange(minutes, dtype=np.int64)) // _HOUR_MIN - begin
    count = np.bincount(place, weights=present.astype(np.float64))
    total = np.bincount(place, weights=np.where(present, values, 0).astype(np.float64))
    last, before = list(hours.last), list(hours.before)
    if hours.count and hours.filling == begin:
        count[0] += hours.count
        total[0] += hours.total
    elif hours.count:
        _finish(last, before, hours.filling, count=hours.count, total=hours.total)
    ends_open = (first_minute + minutes) % _HOUR_MIN != 0
    whole = len(count) - 1 if ends_open else len(count)
    for i in range(whole):
        _finish(last, before, begin + i, count=int(count[i]), total=int(total[i]))
    kept = HouseHours(tuple(last), tuple(before))
    if not ends_open or not count[-1]:
        return kept
    return HouseHours(kept.last, kept.before, begin + whole, int(total[-1]), int(count[-1]))


def expected_under_cover(
    place: Place, shade_fraction: float, minute: int, *, record: CoverRecord, hours: HouseHours
) -> CoverAhead | TooThin | None:
    """Return what is to be expected in the day after `minute`, or how much more must be seen first.

    None while the house's air is not known for most of a day.
    """
    fit = fit_cover(record)
    if isinstance(fit, TooThin):
        return fit
    known = [hour for hour, mean in enumerate(hours.last) if mean is not None]
    if len(known) < LEAST_HOURS:
        return None
    grid = minute + np.arange(STEP_MIN, AHEAD_MIN + 1, STEP_MIN, dtype=np.int64)
    light = clear_sky_by_day_umol_m2_s(place, grid) * _share(place, shade_fraction, record)
    middles = np.array([hour * _HOUR_MIN + _HOUR_MIN / 2 for hour in known])
    means = np.array([hours.last[hour] for hour in known], dtype=np.float64) / 100.0
    house = np.interp((grid % AHEAD_MIN).astype(np.float64), middles, means, period=AHEAD_MIN)
    course = course_under_cover(
        fit, grid, light_umol=light, house_c=house, house_unsure_c=_unsure_c(hours)
    )
    return CoverAhead(fit, course, peak_of(fit, course))


def _share(place: Place, shade_fraction: float, record: CoverRecord) -> float:
    """Return the share of a clear sky's light that reaches the probe in its brightest moments."""
    table = np.array(record.spans, dtype=np.int64).reshape(-1, 3)
    clear = clear_sky_by_day_umol_m2_s(place, table[:, 0] + SPAN_MIN // 2)
    bright = clear >= LEAST_CLEAR_SKY_UMOL_M2_S
    cloth = 1.0 - shade_fraction
    if not bool(np.any(bright)):
        return cloth
    seen = float(np.quantile(table[bright, 1] / clear[bright], BRIGHTEST))
    return min(1.0, max(cloth, seen))


def _unsure_c(hours: HouseHours) -> float:
    """Return how much the house's air differed between the last two days, as a mean of squares."""
    apart = [
        (one - other) / 100.0
        for one, other in zip(hours.last, hours.before, strict=True)
        if one is not None and other is not None
    ]
    if len(apart) < LEAST_HOURS:
        return UNSURE_C
    return max(LEAST_UNSURE_C, float(np.sqrt(np.mean(np.square(np.array(apart))))))


def _finish(
    last: list[int | None], before: list[int | None], hour: int, *, count: int, total: int
) -> None:
    if count < _LEAST_MINUTES:
        return
    slot = hour % _HOURS
    parts = count * _HUNDREDTH
    before[slot], last[slot] = last[slot], (2 * total + parts) // (2 * parts)
