"""Which readings can be believed. Each is judged alone, so order of arrival changes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.model.quantities import Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Plausible:
    """What can be believed of a quantity, in its own unit.

    A value from `lowest` to `highest` is believed, and then brought between `floor` and `ceiling`:
    a wet humidity sensor reads a little over 100 %, a light sensor a little under 0 at night.
    """

    lowest: float
    highest: float
    floor: float
    ceiling: float


PLAUSIBLE: Mapping[Quantity, Plausible] = MappingProxyType(
    {
        # WMO, Zahumensky 2004: -80 to 60 °C; no plant sensor reads below -40.
        Quantity.AIR_TEMPERATURE: Plausible(-40.0, 60.0, -40.0, 60.0),
        # House figure: a leaf under film in the sun can pass what air can reach.
        Quantity.LEAF_TEMPERATURE: Plausible(-40.0, 70.0, -40.0, 70.0),
        # WMO, ET-AWS 2002: accept to 104 % and call it 100; Zahumensky 2004: from 0.
        Quantity.RELATIVE_HUMIDITY: Plausible(0.0, 104.0, 0.0, 100.0),
        # WMO, Zahumensky 2004: to 1600 W m⁻²; -5 at night is a normal offset.
        Quantity.IRRADIANCE: Plausible(-5.0, 1600.0, 0.0, 1600.0),
        # House figures: the two above through the factors for sun, 2.0 µmol/J and 54 lx/µmol.
        Quantity.PPFD: Plausible(-10.0, 3200.0, 0.0, 3200.0),
        Quantity.ILLUMINANCE: Plausible(-500.0, 172_800.0, 0.0, 172_800.0),
        # WMO, Zahumensky 2004 (from memory): 0 to 75 m/s.
        Quantity.AIR_SPEED: Plausible(0.0, 75.0, 0.0, 75.0),
        # By definition of the scale.
        Quantity.SUBSTRATE_MOISTURE: Plausible(0.0, 100.0, 0.0, 100.0),
        # House figure: nothing on a bench runs on more.
        Quantity.BATTERY: Plausible(0.0, 60.0, 0.0, 60.0),
    }
)


def can_be_believed(quantity: Quantity, values: Floats) -> NDArray[np.bool_]:
    """Return for each value, in the quantity's own unit, whether it is plausible. NaN is not."""
    bounds = PLAUSIBLE[quantity]
    return (values >= bounds.lowest) & (values <= bounds.highest)


def brought_within(quantity: Quantity, values: Floats) -> Floats:
    """Return believable values with a sensor's small overshoot taken off.

    >>> brought_within(Quantity.RELATIVE_HUMIDITY, np.array([98.0, 103.2])).tolist()
    [98.0, 100.0]
    """
    bounds = PLAUSIBLE[quantity]
    return np.clip(values, bounds.floor, bounds.ceiling)
