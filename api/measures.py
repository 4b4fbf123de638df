"""How a figure is written for a person: its unit, its decimal places, and what turns ours into it.

Pages, messages, pictures and night sheets all ask here, so that a temperature is nowhere said in
another unit than its reader's. What is kept, and what the API tells, stays in our own units.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.model.dose import DOSE_SHOWN, DoseKind
from rules.model.quantities import FELT_SHOWN, MEANINGS, Felt, Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

CELSIUS, FAHRENHEIT = "degC", "degF"
TEMPERATURE_UNITS: Mapping[str, str] = MappingProxyType({CELSIUS: "°C", FAHRENHEIT: "°F"})
"""The units in which a person may read temperatures, as written down and as shown."""

_TEMPERATURES = frozenset({Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE, Felt.EXPECTED_PEAK})
_MEASURED_TEMPERATURES = frozenset({Quantity.AIR_TEMPERATURE, Quantity.LEAF_TEMPERATURE})
_PLACES: Mapping[Felt, int] = MappingProxyType(
    {
        Felt.AIR_TEMPERATURE: 1,
        Felt.RELATIVE_HUMIDITY: 0,
        Felt.VAPOUR_PRESSURE_DEFICIT: 2,
        Felt.PPFD: 0,
        Felt.LEAF_TEMPERATURE: 1,
        Felt.AIR_SPEED: 1,
        Felt.SUBSTRATE_MOISTURE: 0,
        Felt.LEAF_DEFICIT: 2,
        Felt.RESERVE: 0,
        Felt.HOURS_TO_CRITICAL: 0,
        Felt.EXPECTED_PEAK: 1,
    }
)
_SUM_PLACES: Mapping[DoseKind, int] = MappingProxyType(
    {
        DoseKind.LIGHT_SUM: 1,
        DoseKind.DRYING_DOSE: 1,
        DoseKind.HEAT_DOSE: 1,
        DoseKind.HOURS_BEYOND: 1,
        DoseKind.DIRECT_SUN: 0,
    }
)
_READ_PLACES = 2


@dataclass(frozen=True, slots=True)
class Measure:
    """How a figure is written: its unit, its decimal places, and what turns ours into it."""

    unit: str
    places: int
    factor: float = 1.0
    offset: float = 0.0

    def of(self, value: float) -> float:
        """Return a value in this unit."""
        return value * self.factor + self.offset

    def of_all(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return values in this unit; what is missing stays missing."""
        return values * self.factor + self.offset

    def apart(self) -> Measure:
        """Return how distances between two values are written: rates, spreads, ways back.

        >>> measure_in(Felt.AIR_TEMPERATURE, fahrenheit=True).apart().of(10.0)
        18.0
        """
        return replace(self, offset=0.0)


def measure_in(felt: Felt, *, fahrenheit: bool) -> Measure:
    """Return how a quantity is read, temperatures in °F or in °C.

    >>> measure_in(Felt.AIR_TEMPERATURE, fahrenheit=True).of(25.0)
    77.0
    """
    if felt in _TEMPERATURES and fahrenheit:
        return Measure("°F", _PLACES[felt], 9 / 5, 32.0)
    return Measure(FELT_SHOWN[felt], _PLACES[felt])


def measure_of_sum_in(kind: DoseKind, *, fahrenheit: bool) -> Measure:
    """Return how a sum is read; a degree-hour is a difference, so nothing is added."""
    if kind is DoseKind.HEAT_DOSE and fahrenheit:
        return Measure("°F·h", _SUM_PLACES[kind], 9 / 5)
    return Measure(DOSE_SHOWN[kind], _SUM_PLACES[kind])


def measure_of_raw(quantity: Quantity, unit: str, *, fahrenheit: bool) -> Measure:
    """Return how the raw value of a sensor is read, which declares `unit`, one of MEANINGS.

    A temperature is read in the reader's unit whatever the sensor sends; all else as it is sent.

    >>> measure_of_raw(Quantity.AIR_TEMPERATURE, "degF", fahrenheit=False).unit
    '°C'
    """
    meaning = MEANINGS[quantity]
    if quantity not in _MEASURED_TEMPERATURES:
        return Measure(meaning.shown if unit == meaning.unit else unit, _READ_PLACES)
    if fahrenheit and unit == FAHRENHEIT:
        return Measure("°F", _READ_PLACES)
    ours = meaning.units[unit]
    if not fahrenheit:
        return Measure("°C", _READ_PLACES, ours.scale, ours.offset)
    return Measure("°F", _READ_PLACES, ours.scale * 9 / 5, ours.offset * 9 / 5 + 32.0)


def in_figures(value: float, places: int, decimal_mark: str) -> str:
    """Return a number as it is written; never a minus before a bare zero.

    >>> in_figures(-0.04, 1, ","), in_figures(76.1, 1, ",")
    ('0,0', '76,1')
    """
    text = f"{value:.{places}f}"
    text = text[1:] if text.startswith("-") and not text.strip("-0.") else text
    return text.replace(".", decimal_mark)
