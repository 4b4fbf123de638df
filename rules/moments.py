"""What the sky and the calendar say of one minute, or of many: day or night, which local day.

All of it is read from whole days worked out at once, so one minute and a season never differ.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.cells import in_millionths
from rules.doses import DaySpan
from rules.local_time import local_days
from rules.sky import clear_sky_by_day_umol_m2_s, direct_sun_from_umol_m2_s
from rules.sun import sun_is_up

if TYPE_CHECKING:
    from rules.model.place import Place

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """Minutes in a row at a site. `dusk` is True in the first minute without sun.

    What was worked out for one cloth is kept for the other batches under it.
    """

    place: Place
    first_minute: int
    sun_up: Flags
    dusk: Flags
    days: tuple[DaySpan, ...]
    _direct: dict[float, Wholes] = field(default_factory=dict[float, Wholes])

    def direct_from(self, shade_fraction: float) -> Wholes:
        """Return for each minute from which PPFD on it is direct sun under a cloth, millionths."""
        if shade_fraction not in self._direct:
            grid = self.first_minute + np.arange(len(self.sun_up), dtype=np.int64)
            clear = clear_sky_by_day_umol_m2_s(self.place, grid)
            bound = direct_sun_from_umol_m2_s(clear, shade_fraction=shade_fraction)
            self._direct[shade_fraction] = in_millionths(bound)
        return self._direct[shade_fraction]


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """One minute at a site."""

    minute: int
    sun_up: bool
    dusk: bool
    day: DaySpan
    _alone: Moments

    def direct_from(self, shade_fraction: float) -> int:
        """Return from which PPFD on it is direct sun under a cloth, in millionths."""
        return int(self._alone.direct_from(shade_fraction)[0])


def moments_of(place: Place, first_minute: int, minutes: int) -> Moments:
    """Return what the sky and the calendar say of `minutes` minutes from `first_minute` on."""
    up = sun_is_up(place, first_minute - 1 + np.arange(minutes + 1, dtype=np.int64))
    days = tuple(
        DaySpan(day.toordinal(), first, end)
        for day, first, end in local_days(place, first_minute, minutes)
    )
    return Moments(place, first_minute, up[1:], up[:-1] & ~up[1:], days)


def moment_of(place: Place, minute: int) -> Moment:
    """Return the same of one minute."""
    one = moments_of(place, minute, 1)
    return Moment(minute, bool(one.sun_up[0]), bool(one.dusk[0]), one.days[0], one)
