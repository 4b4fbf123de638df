"""Each measured quantity with its unit and range, and the units a sensor may declare for it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


class Quantity(StrEnum):
    """What one channel of a sensor measures."""

    AIR_TEMPERATURE = "air_temperature"
    RELATIVE_HUMIDITY = "relative_humidity"
    PPFD = "ppfd"
    ILLUMINANCE = "illuminance"
    IRRADIANCE = "irradiance"
    LEAF_TEMPERATURE = "leaf_temperature"
    AIR_SPEED = "air_speed"
    SUBSTRATE_MOISTURE = "substrate_moisture"
    BATTERY = "battery"


class Felt(StrEnum):
    """What a batch feels, and so what a limit can speak of; some are worked out from readings."""

    AIR_TEMPERATURE = "air_temperature"
    RELATIVE_HUMIDITY = "relative_humidity"
    VAPOUR_PRESSURE_DEFICIT = "vapour_pressure_deficit"
    PPFD = "ppfd"
    LEAF_TEMPERATURE = "leaf_temperature"
    AIR_SPEED = "air_speed"
    SUBSTRATE_MOISTURE = "substrate_moisture"
    LEAF_DEFICIT = "leaf_vapour_pressure_deficit"
    RESERVE = "moisture_reserve"
    HOURS_TO_CRITICAL = "hours_to_critical"
    EXPECTED_PEAK = "expected_peak"


RECKONED = frozenset({Felt.LEAF_DEFICIT, Felt.RESERVE, Felt.HOURS_TO_CRITICAL, Felt.EXPECTED_PEAK})
"""What no sensor tells: it is reckoned from what several told, some of it over days."""


class LightSource(StrEnum):
    """What lights the sensor; a lux or W m⁻² reading means nothing for a plant without it."""

    SUN = "sun"
    BLUE_SKY = "blue_sky"
    WHITE_LED = "white_led"
    HIGH_PRESSURE_SODIUM = "high_pressure_sodium"
    METAL_HALIDE = "metal_halide"
    COOL_WHITE_FLUORESCENT = "cool_white_fluorescent"
    INCANDESCENT = "incandescent"


class SensorKind(StrEnum):
    """How a light sensor weighs the light: by photons, as an eye does, or by its energy."""

    QUANTUM = "quantum"
    PHOTOMETRIC = "photometric"
    PYRANOMETER = "pyranometer"


DAYLIGHT = frozenset({LightSource.SUN, LightSource.BLUE_SKY})

KIND_OF_LIGHT: Mapping[Quantity, SensorKind] = MappingProxyType(
    {
        Quantity.PPFD: SensorKind.QUANTUM,
        Quantity.ILLUMINANCE: SensorKind.PHOTOMETRIC,
        Quantity.IRRADIANCE: SensorKind.PYRANOMETER,
    }
)
"""The kind of sensor that measures each quantity of light; irradiance is that of all sunlight."""

LIGHT_QUANTITIES = frozenset(KIND_OF_LIGHT)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit a sensor may declare: value in our unit = raw × scale + offset."""

    scale: float
    offset: float


@dataclass(frozen=True, slots=True)
class Meaning:
    """How a quantity is kept and shown, and what no working sensor can say.

    `lowest` and `highest` bound what a sensor of this kind can report at all, in `unit`; a raw
    value outside them is refused on arrival. What is *plausible* is judged later, in rules.
    """

    unit: str
    shown: str
    lowest: float
    highest: float
    units: Mapping[str, Unit]


_SAME = Unit(1.0, 0.0)

MEANINGS: Mapping[Quantity, Meaning] = MappingProxyType(
    {
        Quantity.AIR_TEMPERATURE: Meaning(
            unit="degC",
            shown="°C",
            lowest=-40.0,
            highest=65.0,
            units={"degC": _SAME, "degF": Unit(5 / 9, -160 / 9), "K": Unit(1.0, -273.15)},
        ),
        Quantity.LEAF_TEMPERATURE: Meaning(
            unit="degC",
            shown="°C",
            lowest=-40.0,
            highest=85.0,
            units={"degC": _SAME, "degF": Unit(5 / 9, -160 / 9), "K": Unit(1.0, -273.15)},
        ),
        Quantity.RELATIVE_HUMIDITY: Meaning(
            unit="%RH",
            shown="%",
            lowest=0.0,
            highest=110.0,
            units={"%RH": _SAME, "fraction": Unit(100.0, 0.0)},
        ),
        Quantity.PPFD: Meaning(
            unit="umol/m2/s",
            shown="µmol m⁻² s⁻¹",
            lowest=-20.0,
            highest=3500.0,
            units={"umol/m2/s": _SAME},
        ),
        Quantity.ILLUMINANCE: Meaning(
            unit="lx",
            shown="lx",
            lowest=-500.0,
            highest=200_000.0,
            units={"lx": _SAME, "klx": Unit(1000.0, 0.0), "fc": Unit(10.763910416709722, 0.0)},
        ),
        Quantity.IRRADIANCE: Meaning(
            unit="W/m2",
            shown="W m⁻²",
            lowest=-20.0,
            highest=2000.0,
            units={"W/m2": _SAME, "kW/m2": Unit(1000.0, 0.0)},
        ),
        Quantity.AIR_SPEED: Meaning(
            unit="m/s",
            shown="m/s",
            lowest=0.0,
            highest=75.0,
            units={"m/s": _SAME, "km/h": Unit(1 / 3.6, 0.0), "mph": Unit(0.44704, 0.0)},
        ),
        Quantity.SUBSTRATE_MOISTURE: Meaning(
            unit="%",
            shown="%",
            lowest=0.0,
            highest=100.0,
            units={"%": _SAME, "fraction": Unit(100.0, 0.0)},
        ),
        Quantity.BATTERY: Meaning(
            unit="V",
            shown="V",
            lowest=0.0,
            highest=60.0,
            units={"V": _SAME, "mV": Unit(0.001, 0.0)},
        ),
    }
)

FELT_SHOWN: Mapping[Felt, str] = MappingProxyType(
    {
        Felt.AIR_TEMPERATURE: "°C",
        Felt.RELATIVE_HUMIDITY: "%",
        Felt.VAPOUR_PRESSURE_DEFICIT: "kPa",
        Felt.PPFD: "µmol m⁻² s⁻¹",
        Felt.LEAF_TEMPERATURE: "°C",
        Felt.AIR_SPEED: "m/s",
        Felt.SUBSTRATE_MOISTURE: "%",
        Felt.LEAF_DEFICIT: "kPa",
        Felt.RESERVE: "%",
        Felt.HOURS_TO_CRITICAL: "h",
        Felt.EXPECTED_PEAK: "°C",
    }
)


def in_our_unit(quantity: Quantity, unit: str, raw: float) -> float:
    """Convert a raw value in a declared unit to the unit the quantity is kept in.

    `unit` must be a key of MEANINGS[quantity].units, else KeyError: site files are checked first.

    >>> in_our_unit(Quantity.AIR_TEMPERATURE, "degF", 77.0)
    25.0
    """
    declared = MEANINGS[quantity].units[unit]
    return raw * declared.scale + declared.offset
