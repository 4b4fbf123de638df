"""How much of what can end a graft its record shows, each held against what is called enough.

A day of heat dries, a beam of sun heats. So that one event is not counted under three names, heat
while the sun stood on the batch, and for an hour after, belongs to the sun; what the air dried
while it was hot, for an hour round it, belongs to the heat. All figures here are house rules,
chosen on made-up seasons with known causes: see docs/review.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.exposures import (
    DAY_MIN,
    HOUR_MIN,
    by_night,
    cold_of,
    direct_sun_of,
    dryness_of,
    heat_of,
    worst_day,
)
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from rules.exposures import Night
    from rules.life import Life

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NIGHTS = 3
"""Nights in a row that are held together: a knot that slipped once slips again."""

SLOW_DAYS = 10
"""Days in a row over which slow drying is added up."""

NIGHT_ENOUGH_KPA_H = 8.0
SLOW_ENOUGH_KPA_H = 20.0
HEAT_ENOUGH_C_H = 10.0
SUN_ENOUGH_MIN = 75.0
COLD_ENOUGH_C_H = 30.0
"""What each must come to before it is called enough to end half of the plants by itself."""

LINGERS_MIN = 60


@dataclass(frozen=True, slots=True)
class Amount:
    """So much of a harm, in its own unit, of what is called enough.

    `minute` is its worst minute, `first_minute` and `end_minute` the time it was added up over;
    None where there was nothing. `known` False: the plan sets no bound, or nothing told of it.
    """

    total: float
    enough: float
    minute: int | None
    first_minute: int | None
    end_minute: int | None
    known: bool

    @property
    def ratio(self) -> float:
        """The amount as a share of enough."""
        return self.total / self.enough


@dataclass(frozen=True, slots=True)
class Harms:
    """What a life shows of each harm. `sun_heat_c_h` is the heat that came with direct sun."""

    nights: Amount
    slow: Amount
    heat: Amount
    sun: Amount
    cold: Amount
    sun_heat_c_h: float


NOTHING = Amount(0.0, 1.0, None, None, None, known=False)


def night_part(harms: Harms) -> float:
    """Return which part of all drying, 0 to 1, is put down to the worst nights.

    With n the share of the nights in what the air drew: n² / (n² + (1 - n)²), so that what is
    mostly of the nights counts as of the nights.
    """
    drawn = harms.nights.total + harms.slow.total
    if drawn <= 0:
        return 0.0
    share = harms.nights.total / drawn
    return share**2 / (share**2 + (1.0 - share) ** 2)


def harms_of(life: Life) -> Harms:
    """Return what a life shows of each harm; of what was never told, nothing, and not known."""
    heat, cold, dry = heat_of(life), cold_of(life), dryness_of(life)
    sun = direct_sun_of(life)
    sunlit = lingering(sun, after_min=LINGERS_MIN)
    hot = np.nan_to_num(heat, nan=0.0) > 0.0
    heated = sunlit | around(hot, LINGERS_MIN)
    own_dry = np.where(heated & np.isfinite(dry), 0.0, dry)
    nights = by_night(life, own_dry)
    of_nights = _worst_nights(nights)
    sun_heat = float(np.nansum(np.where(sunlit, heat, 0.0))) / HOUR_MIN
    return Harms(
        nights=of_nights,
        slow=_slow(life, own_dry, of_nights),
        heat=_summed(life, np.where(sunlit & np.isfinite(heat), 0.0, heat), HEAT_ENOUGH_C_H),
        sun=_sun(life, sun, sun_heat),
        cold=_summed(life, cold, COLD_ENOUGH_C_H),
        sun_heat_c_h=sun_heat,
    )


def lingering(flags: Flags, *, after_min: int) -> Flags:
    """Return the flags with so many minutes after each of them."""
    count = np.cumsum(np.concatenate(([0], flags.astype(np.int64))))
    last = np.arange(1, flags.size + 1)
    before = np.maximum(last - after_min - 1, 0)
    near: Flags = (count[last] - count[before]) > 0
    return near


def around(flags: Flags, minutes: int) -> Flags:
    """Return the flags with so many minutes before and after each of them."""
    forward = lingering(flags, after_min=minutes)
    backward: Flags = lingering(flags[::-1], after_min=minutes)[::-1]
    return forward | backward


def _summed(life: Life, excess: Floats, enough: float) -> Amount:
    if bool(np.all(np.isnan(excess))):
        return NOTHING
    total = float(np.nansum(excess)) / HOUR_MIN
    above = np.flatnonzero(np.nan_to_num(excess, nan=0.0) > 0.0)
    if not above.size:
        return Amount(total, enough, None, None, None, known=True)
    worst = life.first_minute + int(np.nanargmax(excess))
    first, last = (life.first_minute + int(above[place]) for place in (0, -1))
    return Amount(total, enough, worst, first, last + 1, known=True)


def _sun(life: Life, sun: Flags, sun_heat: float) -> Amount:
    """Return the worst day of direct sun; the heat it brought counts as minutes of it."""
    if bool(np.all(np.isnan(life.direct_from[life.watched]))) or not _lit(life):
        return NOTHING
    worst = worst_day(life, sun.astype(np.float64))
    if worst.minute is None:
        return Amount(0.0, SUN_ENOUGH_MIN, None, None, None, known=True)
    by_heat = sun_heat / HEAT_ENOUGH_C_H * SUN_ENOUGH_MIN
    begin = max(life.first_minute, worst.minute - DAY_MIN + 1)
    there = np.flatnonzero(sun[begin - life.first_minute : worst.minute - life.first_minute + 1])
    first = begin + int(there[0])
    return Amount(
        worst.value + by_heat, SUN_ENOUGH_MIN, worst.minute, first, worst.minute + 1, known=True
    )


def _lit(life: Life) -> bool:
    return bool(np.isfinite(life.felt[Felt.PPFD]).any())


def _worst_nights(nights: tuple[Night, ...]) -> Amount:
    """Return the worst few nights in a row."""
    if not nights:
        return NOTHING
    best = max(
        (nights[place : place + NIGHTS] for place in range(len(nights))),
        key=lambda some: sum(one.total for one in some),
    )
    total = sum(one.total for one in best)
    worst = max(best, key=lambda one: one.total)
    at = worst.minute if total > 0 else None
    return Amount(
        total, NIGHT_ENOUGH_KPA_H, at, best[0].first_minute, best[-1].end_minute, known=True
    )


def _slow(life: Life, dry: Floats, nights: Amount) -> Amount:
    """Return the worst days in a row of drying, without the worst nights."""
    if bool(np.all(np.isnan(dry))):
        return NOTHING
    rest = np.nan_to_num(dry, nan=0.0)
    if nights.first_minute is not None and nights.end_minute is not None:
        begin = max(0, nights.first_minute - life.first_minute)
        own = np.zeros(rest.size, dtype=np.bool_)
        own[begin : max(0, nights.end_minute - life.first_minute)] = True
        rest = np.where(own & ~life.sun_up, 0.0, rest)
    total = np.concatenate(([0.0], np.cumsum(rest))) / HOUR_MIN
    last = np.arange(1, total.size)
    first = np.maximum(last - SLOW_DAYS * DAY_MIN, 0)
    sums = total[last] - total[first]
    at = int(np.argmax(sums)) if sums.size else 0
    if not sums.size or sums[at] <= 0:
        return Amount(0.0, SLOW_ENOUGH_KPA_H, None, None, None, known=True)
    begin = life.first_minute + int(first[at])
    end = life.first_minute + at + 1
    worst = begin + int(np.argmax(rest[int(first[at]) : at + 1]))
    return Amount(float(sums[at]), SLOW_ENOUGH_KPA_H, worst, begin, end, known=True)
