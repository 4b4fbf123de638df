"""Heat under a cover: how much warmer than the house light makes it, and tomorrow's peak.

Each batch has its own line, learnt from its own half hours by a fit that a few odd ones (a bag
opened, a cloud in between) cannot pull away: the middle of the slopes of all pairs. A forecast
follows the line through tomorrow's clear-sky light; on a cloudy day the peak stays below it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]
Span = tuple[int, int, int]

SPAN_MIN = 30
"""A span is half an hour: longer than a bag takes to warm, shorter than the sun's way up."""
MOST_SPANS = 168
"""Some seven days; older ones make room. A bag's line drifts as leaves grow and film turns dull."""

LEAST_SPANS = 24
LEAST_DAYS = 2
LEAST_RANGE_UMOL = 60.0
"""What a line needs before it is believed. House rules: twelve hours of light, on two days, with
light between its lower and upper tenth that differs enough to read a slope from."""

BEYOND = 1.1
"""Light is stronger than any in the record from this share on; the clear sky is no better known."""

_LEAST_MINUTES = 20
_LIT_UMOL = 5
_MILLION = 1_000_000
_HUNDREDTH = 10_000
_NIGHT_MIN = 360  # spans further apart than this lie on two days


@dataclass(frozen=True, slots=True)
class CoverRecord:
    """What is carried: finished spans, newest last, and the half hour that is being filled.

    A span is (its first minute, µmol m⁻² s⁻¹, hundredths of °C above the house), whole numbers.
    The sums are of millionths over the `count` minutes of the span that begins at `filling`.
    """

    spans: tuple[Span, ...] = ()
    filling: int = 0
    light_sum: int = 0
    rise_sum: int = 0
    count: int = 0


EMPTY = CoverRecord()


@dataclass(frozen=True, slots=True)
class TooThin:
    """The record does not carry a line yet: how much more it needs, 0 where it has enough."""

    more_spans: int
    more_days: int
    more_range_umol: int

    def needed(self, language: str) -> str:
        """Return in words what is missing, in Spanish for "es", else in English."""
        spanish = language == "es"
        parts: list[str] = []
        if self.more_spans:
            hours = self.more_spans * SPAN_MIN / 60
            parts.append(
                f"{hours:g} h más de luz medida" if spanish else f"{hours:g} more hours of light"
            )
        if self.more_days:
            parts.append(
                f"medidas en {self.more_days} día(s) más"
                if spanish
                else f"readings on {self.more_days} more day(s)"
            )
        if self.more_range_umol:
            parts.append(
                f"luz más variada: faltan {self.more_range_umol} µmol entre tenue y fuerte"
                if spanish
                else f"light that varies by {self.more_range_umol} µmol more"
            )
        return ("hace falta " if spanish else "needs ") + ", ".join(parts)


@dataclass(frozen=True, slots=True)
class CoverFit:
    """The line of one cover: in-cover less house air = offset + slope × light, in °C.

    `low_c` and `high_c` hold four of five half hours in the brighter half of the record, as
    distances from the line. `brightest_umol` is the strongest light it has seen.
    """

    slope_c_per_umol: float
    offset_c: float
    low_c: float
    high_c: float
    brightest_umol: float
    spans: int
    days: int


@dataclass(frozen=True, slots=True)
class CoverCourse:
    """In-cover air to come, an entry each step, in °C: on the line, and its band.

    `light_umol` is the light under the cloth that it was worked out from.
    """

    minute: Wholes
    light_umol: Floats
    low_c: Floats
    central_c: Floats
    high_c: Floats


@dataclass(frozen=True, slots=True)
class Peak:
    """The hottest moment of a course. `beyond_record`: in light well beyond the fit's."""

    at_minute: int
    central_c: float
    low_c: float
    high_c: float
    beyond_record: bool


def gather(
    record: CoverRecord, first_minute: int, *, light: Wholes, rise: Wholes, present: Flags
) -> CoverRecord:
    """Carry the record over minutes in a row; one by one and all at once give the same.

    `light` (µmol m⁻² s⁻¹) and `rise` (in-cover less house air, °C) are in millionths and count
    only where `present`. A span with fewer than 20 such minutes, or without light, is left out.
    """
    minutes = len(present)
    begin = first_minute // SPAN_MIN * SPAN_MIN
    place = (first_minute - begin + np.arange(minutes)) // SPAN_MIN
    # Sums of whole numbers far below 2^53 are exact as floats too.
    count = _sums(place, present.astype(np.float64))
    light_sum = _sums(place, np.where(present, light, 0).astype(np.float64))
    rise_sum = _sums(place, np.where(present, rise, 0).astype(np.float64))
    spans = list(record.spans)
    if record.count and record.filling == begin:
        count[0] += record.count
        light_sum[0] += record.light_sum
        rise_sum[0] += record.rise_sum
    elif record.count:
        spans.extend(_finished(record.filling, record.count, record.light_sum, record.rise_sum))
    ends_open = (first_minute + minutes) % SPAN_MIN != 0
    whole = len(count) - 1 if ends_open else len(count)
    for i in np.flatnonzero(count[:whole] >= _LEAST_MINUTES).tolist():
        at = begin + i * SPAN_MIN
        spans.extend(_finished(at, int(count[i]), int(light_sum[i]), int(rise_sum[i])))
    kept = tuple(spans[-MOST_SPANS:])
    if not ends_open or not count[-1]:
        return CoverRecord(spans=kept)
    return CoverRecord(
        spans=kept,
        filling=begin + whole * SPAN_MIN,
        light_sum=int(light_sum[-1]),
        rise_sum=int(rise_sum[-1]),
        count=int(count[-1]),
    )


def fit_cover(record: CoverRecord) -> CoverFit | TooThin:
    """Fit the line of one cover, or say how much more of a record it needs.

    Theil-Sen: the slope is the middle one of all pairs' (Sen 1968, J. Am. Stat. Assoc. 63:1379),
    the offset the middle of what is left; it bears up to 29 % of odd points.
    """
    table = np.array(record.spans, dtype=np.float64).reshape(-1, 3)
    light, rise = table[:, 1], table[:, 2] / 100.0
    days = 1 + int(np.count_nonzero(np.diff(table[:, 0]) > _NIGHT_MIN)) if len(table) else 0
    wide = float(np.ptp(np.quantile(light, [0.1, 0.9]))) if len(table) else 0.0
    thin = TooThin(
        more_spans=max(0, LEAST_SPANS - len(table)),
        more_days=max(0, LEAST_DAYS - days),
        more_range_umol=int(np.ceil(max(0.0, LEAST_RANGE_UMOL - wide))),
    )
    if thin != TooThin(0, 0, 0):
        return thin
    first, second = np.triu_indices(len(light), k=1)
    run = light[second] - light[first]
    apart = np.abs(run) >= 1.0
    slope = float(np.median((rise[second] - rise[first])[apart] / run[apart]))
    offset = float(np.median(rise - slope * light))
    bright = light >= np.median(light)
    left = (rise - offset - slope * light)[bright]
    low, high = np.quantile(left, [0.1, 0.9])
    return CoverFit(
        slope_c_per_umol=slope,
        offset_c=offset,
        low_c=min(0.0, float(low)),
        high_c=max(0.0, float(high)),
        brightest_umol=float(light.max()),
        spans=len(light),
        days=days,
    )


def course_under_cover(
    fit: CoverFit,
    minute: Wholes,
    *,
    light_umol: Floats,
    house_c: Floats,
    house_unsure_c: float,
) -> CoverCourse:
    """Return in-cover air to come, from the light of a clear sky under the cloth and house air.

    `house_c` is yesterday's course, or a forecast; `house_unsure_c` how far it may be off. The band
    grows where light is stronger than any in the record.
    """
    central = house_c + fit.offset_c + fit.slope_c_per_umol * light_umol
    stretch = np.maximum(light_umol / fit.brightest_umol, 1.0)
    below = np.sqrt((fit.low_c * stretch) ** 2 + house_unsure_c**2)
    above = np.sqrt((fit.high_c * stretch) ** 2 + house_unsure_c**2)
    return CoverCourse(minute, light_umol, central - below, central, central + above)


def peak_of(fit: CoverFit, course: CoverCourse) -> Peak:
    """Return the hottest moment of a course."""
    at = int(np.argmax(course.central_c))
    return Peak(
        at_minute=int(course.minute[at]),
        central_c=float(course.central_c[at]),
        low_c=float(course.low_c[at]),
        high_c=float(course.high_c[at]),
        beyond_record=bool(course.light_umol[at] > BEYOND * fit.brightest_umol),
    )


def shade_before(course: CoverCourse, bound_c: float) -> int | None:
    """Return the minute by which shade must be up: when the band's warm edge meets the bound.

    None if it never does. Between two steps the edge is a straight line; rounded down.
    """
    over = np.flatnonzero(course.high_c > bound_c)
    if over.size == 0:
        return None
    at = int(over[0])
    if at == 0:
        return int(course.minute[0])
    before, after = float(course.high_c[at - 1]), float(course.high_c[at])
    gone = (bound_c - before) / (after - before)
    start, end = int(course.minute[at - 1]), int(course.minute[at])
    return start + int(np.floor(gone * (end - start)))


def light_to_stop(fit: CoverFit, course: CoverCourse, bound_c: float) -> float | None:
    """Return which share more of the light must be stopped to keep the likely course at the bound.

    0 where it is kept already; None where no shade helps: the house alone is too warm.
    """
    over = course.central_c - bound_c
    by_light = fit.slope_c_per_umol * course.light_umol
    needed = over > 0.0
    if not bool(np.any(needed)):
        return 0.0
    if bool(np.any(over[needed] > by_light[needed])):
        return None
    return float(np.max(over[needed] / by_light[needed]))


def _finished(at: int, count: int, light_sum: int, rise_sum: int) -> tuple[Span, ...]:
    if count < _LEAST_MINUTES:
        return ()
    light = _rounded(light_sum, count * _MILLION)
    if light < _LIT_UMOL:
        return ()
    return ((at, light, _rounded(rise_sum, count * _HUNDREDTH)),)


def _rounded(total: int, parts: int) -> int:
    """Divide whole numbers, a half rounded up."""
    return (2 * total + parts) // (2 * parts)


def _sums(place: Wholes, values: Floats) -> Floats:
    return np.asarray(np.bincount(place, weights=values), dtype=np.float64)
