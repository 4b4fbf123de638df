"""How high the sun stands, in four words: what the quality tests of light need to know of it.

Read from a whole UTC day worked out at once, so one minute asked for alone and a season asked for
together can never differ.
"""

from __future__ import annotations

from enum import IntEnum
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.doubt import DEEP_SUN_DEG, HIGH_SUN_DEG
from rules.sun import HORIZON_DEG, elevation_at_deg, read_by_day

if TYPE_CHECKING:
    from rules.model.place import Place

_DAY_MINUTES = 1440


class SunHeight(IntEnum):
    """How high the sun stands: civil twilight is over, down, up, or high."""

    DEEP = 0
    DOWN = 1
    UP = 2
    HIGH = 3


def sun_heights(place: Place, minutes: NDArray[np.int64]) -> NDArray[np.int8]:
    """Return the SunHeight of each minute since the epoch, UTC."""
    return read_by_day(place, minutes, _heights_of_day)


@lru_cache(maxsize=800)
def _heights_of_day(
    latitude_deg: float, longitude_deg: float, elevation_m: float, day: int
) -> NDArray[np.int8]:
    minutes = day * _DAY_MINUTES + np.arange(_DAY_MINUTES, dtype=np.int64)
    elevation = elevation_at_deg(latitude_deg, longitude_deg, elevation_m, minutes)
    above = (elevation >= DEEP_SUN_DEG, elevation > HORIZON_DEG, elevation >= HIGH_SUN_DEG)
    heights: NDArray[np.int8] = np.sum(above, axis=0).astype(np.int8)
    heights.setflags(write=False)
    return heights
