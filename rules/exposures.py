"""What a batch went through, in figures that can be held against those of other batches.

Sums are told by the day, so that a batch that ended early is not thought to have had it easy; and
a batch that nobody could see has no figure rather than a small one.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.life import Bounded
from rules.model.plan import Side
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rules.life import Life

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

HOUR_MIN = 60
DAY_MIN = 1440
LEAST_OF_HOUR = 45
"""An hour with fewer minutes seen has no mean; house rule."""


class Exposure(StrEnum):
    """What is held against other batches."""

    DRYING = "drying"
    WORST_NIGHT = "worst_night"
    HOURS_BEYOND = "hours_beyond"
    HOTTEST_HOUR = "hottest_hour"
    HEAT = "heat"
    COLDEST_HOUR = "coldest_hour"
    COLD = "cold"
    DIRECT_SUN = "direct_sun"
    LIGHT = "light"
    LOWEST_RESERVE = "lowest_reserve"
    BLIND = "blind"


UNIT: Mapping[Exposure, str] = MappingProxyType(
    {
        Exposure.DRYING: "kPa·h",
        Exposure.WORST_NIGHT: "kPa·h",
        Exposure.HOURS_BEYOND: "h",
        Exposure.HOTTEST_HOUR: "°C",
        Exposure.HEAT: "°C·h",
        Exposure.COLDEST_HOUR: "°C",
        Exposure.COLD: "°C·h",
        Exposure.DIRECT_SUN: "min",
        Exposure.LIGHT: "mol m⁻²",
        Exposure.LOWEST_RESERVE: "%",
        Exposure.BLIND: "h",
    }
)
"""Drying, hours beyond, light and blind hours are by the day; direct sun is that of the worst."""

WORSE: Mapping[Exposure, Side] = MappingProxyType(
    dict.fromkeys(Exposure, Side.HIGH)
    | {Exposure.COLDEST_HOUR: Side.LOW, Exposure.LOWEST_RESERVE: Side.LOW}
)
"""To which side an exposure is thought to be harder on plants. Of light nobody knows: high."""

NOT_OF_AIR = frozenset({Exposure.BLIND})


@dataclass(frozen=True, slots=True)
class Measured:
    """A figure in the unit of its exposure, and the minute it is of; None where it is a sum."""

    value: float
    minute: int | None = None


def exposures_of(life: Life) -> dict[Exposure, Measured]:
    """Return what a batch went through; what could not be seen at all is left out."""
    found: dict[Exposure, Measured] = {}
    watched_d = float(life.watched.sum()) / DAY_MIN
    if watched_d > 0:
        found[Exposure.BLIND] = Measured(float(life.blind.sum()) / HOUR_MIN / watched_d)
        seen_d = float(life.seen.sum()) / DAY_MIN
        if seen_d > 0:
            beyond_h = float((life.beyond & life.seen).sum()) / HOUR_MIN
            found[Exposure.HOURS_BEYOND] = Measured(beyond_h / seen_d)
    dryness = dryness_of(life)
    _a_day(found, Exposure.DRYING, dryness / HOUR_MIN)
    nights = by_night(life, dryness)
    if nights:
        worst = max(nights, key=lambda one: one.total)
        at = worst.minute if worst.total > 0 else None
        found[Exposure.WORST_NIGHT] = Measured(worst.total, at)
    _extreme_hour(found, life, Exposure.HOTTEST_HOUR, side=Side.HIGH)
    _extreme_hour(found, life, Exposure.COLDEST_HOUR, side=Side.LOW)
    for exposure, excess in ((Exposure.HEAT, heat_of(life)), (Exposure.COLD, cold_of(life))):
        if not bool(np.all(np.isnan(excess))):
            total = float(np.nansum(excess)) / HOUR_MIN
            at = life.first_minute + int(np.nanargmax(excess)) if total > 0 else None
            found[exposure] = Measured(total, at)
    light = life.felt[Felt.PPFD]
    _a_day(found, Exposure.LIGHT, light * 60.0 / 1e6)
    if not bool(np.all(np.isnan(light))):
        worst_sun = worst_day(life, direct_sun_of(life).astype(np.float64))
        found[Exposure.DIRECT_SUN] = worst_sun
    likely = life.reserve[1]
    if not bool(np.all(np.isnan(likely))):
        lowest = int(np.nanargmin(likely))
        found[Exposure.LOWEST_RESERVE] = Measured(float(likely[lowest]), life.first_minute + lowest)
    return found


def dryness_of(life: Life) -> Floats:
    """Return by how much each minute's air is drier than the plan's base, kPa; NaN: not known."""
    deficit = life.felt[Felt.VAPOUR_PRESSURE_DEFICIT]
    base = life.bounds[Bounded.DRY]
    return np.maximum(deficit - base, 0.0)


def heat_of(life: Life) -> Floats:
    """Return by how much air or leaf is above the plan's danger, °C, the larger; NaN: not known."""
    air = life.felt[Felt.AIR_TEMPERATURE] - life.bounds[Bounded.HOT]
    leaf = life.felt[Felt.LEAF_TEMPERATURE] - life.bounds[Bounded.LEAF_HOT]
    return np.maximum(np.fmax(air, leaf), 0.0)


def cold_of(life: Life) -> Floats:
    """Return by how much the air is below the plan's danger, °C; NaN: not known."""
    return np.maximum(life.bounds[Bounded.COLD] - life.felt[Felt.AIR_TEMPERATURE], 0.0)


def direct_sun_of(life: Life) -> Flags:
    """Return in which minutes direct sun stood on the batch; where no light was told, in none."""
    return (life.felt[Felt.PPFD] >= life.direct_from) & life.watched


@dataclass(frozen=True, slots=True)
class Night:
    """One night: its sum in hours, its worst minute, and its first minute and the one after it."""

    total: float
    minute: int
    first_minute: int
    end_minute: int


def by_night(life: Life, values: Floats) -> tuple[Night, ...]:
    """Return the sum of a value over each night, times hours; nights not seen are left out."""
    nights: list[Night] = []
    for first, end in runs_of(~life.sun_up):
        there = values[first:end]
        if bool(np.all(np.isnan(there))):
            continue
        at = life.first_minute + first
        worst = at + int(np.nanargmax(there))
        total = float(np.nansum(there)) / HOUR_MIN
        nights.append(Night(total, worst, at, life.first_minute + end))
    return tuple(nights)


def runs_of(flags: Flags) -> list[tuple[int, int]]:
    """Return first place and place after the last of each run of True."""
    edged = np.concatenate(([False], flags, [False]))
    edges: list[int] = np.flatnonzero(edged[1:] != edged[:-1]).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def worst_day(life: Life, values: Floats) -> Measured:
    """Return the most that a value came to within a day, counted from noon of no clock: 24 h."""
    seen = np.nan_to_num(values, nan=0.0)
    total = np.concatenate(([0.0], np.cumsum(seen)))
    last = np.arange(1, total.size)
    sums = total[last] - total[np.maximum(last - DAY_MIN, 0)]
    if not sums.size:
        return Measured(0.0)
    at = int(np.argmax(sums))
    return Measured(float(sums[at]), life.first_minute + at if sums[at] > 0 else None)


def hour_means(values: Floats) -> Floats:
    """Return the mean of the hour that ends with each minute; NaN where too little was seen."""
    there = np.isfinite(values)
    total = np.concatenate(([0.0], np.cumsum(np.where(there, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(there)))
    last = np.arange(1, total.size)
    first = np.maximum(last - HOUR_MIN, 0)
    seen = count[last] - count[first]
    return np.where(
        seen >= LEAST_OF_HOUR, (total[last] - total[first]) / np.maximum(seen, 1), np.nan
    )


def percentile_among(own: float, others: Sequence[float]) -> float | None:
    """Return the share of others that an own figure stands above, ties as half; None of none.

    The percentile rank with mid-ranks. 1.0: above all of them, 0.0: below all.

    >>> percentile_among(3.0, [1.0, 2.0, 3.0, 4.0])
    0.625
    """
    if not others:
        return None
    below = sum(other < own for other in others)
    ties = sum(other == own for other in others)
    return (below + 0.5 * ties) / len(others)


def _a_day(found: dict[Exposure, Measured], exposure: Exposure, each: Floats) -> None:
    known = np.isfinite(each)
    if bool(known.any()):
        found[exposure] = Measured(float(each[known].sum()) / (float(known.sum()) / DAY_MIN))


def _extreme_hour(
    found: dict[Exposure, Measured], life: Life, exposure: Exposure, *, side: Side
) -> None:
    means = hour_means(np.where(life.watched, life.felt[Felt.AIR_TEMPERATURE], np.nan))
    if bool(np.all(np.isnan(means))):
        return
    at = int(np.nanargmax(means) if side is Side.HIGH else np.nanargmin(means))
    found[exposure] = Measured(float(means[at]), life.first_minute + at)
