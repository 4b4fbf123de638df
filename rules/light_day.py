"""The light of each local day: its sum, the minutes of direct sun, and how much of it was seen.

A day on the wall has 23, 24 or 25 hours where the clock changes, and its light is all of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.domain import Floats, admitted
from rules.local_time import day_span_ms, local_days
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from rules.model.place import Place

CELL_S = 60
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DAY = timedelta(days=1)
_UMOL_PER_MOL = 1_000_000


@dataclass(frozen=True, slots=True)
class LightDay:
    """The light of one local day as far as it was seen.

    `light_sum_umol_m2` is that of the `seen_minutes` alone; nothing is filled in for the others
    of the day's `minutes`, 1380, 1440 or 1500 of them. `direct_sun_minutes` are among those seen.
    """

    day: date
    minutes: int
    seen_minutes: int
    light_sum_umol_m2: int
    direct_sun_minutes: int

    @property
    def light_sum_mol_m2(self) -> float:
        """The light sum in mol m⁻², as growers print it for a day."""
        return self.light_sum_umol_m2 / _UMOL_PER_MOL


def light_sum_umol_m2(carried: int, ppfd_umol_m2_s: Floats) -> NDArray[np.int64]:
    r"""Light sum after each one-minute cell, in whole µmol m⁻²: integers add alike in any grouping.

    .. math:: S_n = S_0 + \sum_{i \le n} 60\,\text{PPFD}_i

    ppfd_umol_m2_s: 0 or more, else ValueError; a missing cell (NaN) adds nothing.
    Source: definition of the daily light integral; 1 µmol m⁻² s⁻¹ for 24 h is 0.0864 mol m⁻².

    >>> int(light_sum_umol_m2(0, np.full(1440, 1.0))[-1])
    86400
    """
    lit = admitted(ppfd_umol_m2_s, lowest=0.0, highest=np.inf, name="PPFD", unit="µmol m⁻² s⁻¹")
    per_cell = np.rint(np.where(np.isnan(lit), 0.0, lit) * CELL_S).astype(np.int64)
    total: NDArray[np.int64] = carried + np.cumsum(per_cell)
    return total


def light_days(
    place: Place, first_minute: int, ppfd_umol_m2_s: Floats, *, direct_sun: NDArray[np.bool_]
) -> tuple[LightDay, ...]:
    """Return the light of every local day that the cells from `first_minute` on touch, in order.

    One value for each minute since the epoch, UTC; NaN where nothing was seen. `direct_sun` says
    for each whether it was direct sun, as rules.sky.is_direct_sun tells. ValueError for light
    below 0 or when the two differ in length.
    """
    if ppfd_umol_m2_s.shape != direct_sun.shape:
        msg = f"{ppfd_umol_m2_s.size} cells of light and {direct_sun.size} of direct sun"
        raise ValueError(msg)
    seen = ~np.isnan(ppfd_umol_m2_s)
    sums = np.concatenate(([0], light_sum_umol_m2(0, ppfd_umol_m2_s)))
    days: list[LightDay] = []
    for day, first, end in local_days(place, first_minute, ppfd_umol_m2_s.size):
        low = max(first - first_minute, 0)
        high = min(end - first_minute, ppfd_umol_m2_s.size)
        days.append(
            LightDay(
                day=day,
                minutes=end - first,
                seen_minutes=int(np.count_nonzero(seen[low:high])),
                light_sum_umol_m2=int(sums[high] - sums[low]),
                direct_sun_minutes=int(np.count_nonzero(direct_sun[low:high] & seen[low:high])),
            )
        )
    return tuple(days)


def minutes_of_day(place: Place, day: date) -> NDArray[np.int64]:
    """Return every minute of a local day since the epoch, UTC: 1380, 1440 or 1500 of them."""
    start_ms, end_ms = day_span_ms(day, place)
    return np.arange(start_ms // MINUTE_MS, end_ms // MINUTE_MS, dtype=np.int64)
