"""What is left in a scion under a bag: the water it came with, less what its leaves gave up.

The stock gives the more the emptier the scion is, through a wet cut at first and through new wood
later. Written for the demonstration alone; it shares no line with the program's own estimate.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from demo_data.bag import BAG_STEP_S

Floats = NDArray[np.float64]


def scion_water_g(drawn_g: Floats, *, fresh_g: float, supply_g_h: Floats) -> Floats:
    """Water in one scion after each step of BAG_STEP_S, in grams.

    `drawn_g` is what its leaves have lost since the start. `supply_g_h` is what the stock would
    give an empty scion in each step; a fresh one takes nothing.
    """
    lost = np.diff(drawn_g, prepend=0.0)
    given = supply_g_h * (BAG_STEP_S / 3600.0)
    out = np.empty(len(lost))
    water = fresh_g
    for step in range(len(lost)):
        water += given[step] * (1.0 - water / fresh_g) - lost[step]
        water = min(max(water, 0.0), fresh_g)
        out[step] = water
    return out


def first_minute_below(water_g: Floats, share: float, *, fresh_g: float) -> int | None:
    """Return the first minute in which less than a share of fresh water is left, None if never."""
    below = np.flatnonzero(water_g < share * fresh_g)
    return int(below[0]) * BAG_STEP_S // 60 if below.size else None
