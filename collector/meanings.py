"""What a number may mean, by its name, the unit beside it and its size: guesses, never more."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from collector.payloads.mapping import SPELLINGS
from collector.payloads.senml import UNITS
from rules.model.quantities import MEANINGS, Quantity, in_our_unit

if TYPE_CHECKING:
    from collections.abc import Mapping


class Why(StrEnum):
    """What a guess rests on."""

    NAME = "name"
    UNIT = "unit"
    SIZE = "size"
    ONLY_UNIT = "only_unit"
    TENTHS = "tenths"
    NO_NAME = "no_name"
    NO_FIT = "no_fit"


WHY_SAID: Mapping[Why, str] = {
    Why.NAME: "its name says so",
    Why.UNIT: "it says its unit",
    Why.SIZE: "its size fits this unit best",
    Why.ONLY_UNIT: "the usual unit, and its size fits",
    Why.TENTHS: "its size fits in tenths only",
    Why.NO_NAME: "nothing in its name says what it is",
    Why.NO_FIT: "its size fits no unit of what its name says",
}


@dataclass(frozen=True, slots=True)
class Meant:
    """What a number probably is. Without a unit it can't be adopted as it stands."""

    quantity: Quantity | None
    unit: str | None
    scale: float
    why: tuple[Why, ...]


def _words(listed: str) -> frozenset[str]:
    return frozenset(listed.split())


_TEMPERATURE = _words("temperature temp t tmp tc ta tf degc degf celsius fahrenheit temperatura")
_LEAF = _words("leaf canopy foliage hoja")
_SOIL = _words("soil substrate vwc moisture suelo")
_BATTERY = _words("battery batt bat vbat vbatt bateria voltage volt volts")
_NOT_OURS = _words("dew dewpoint wetbulb percent pct level rssi lqi snr max min set")
_NAMED: tuple[tuple[Quantity, frozenset[str]], ...] = (
    (Quantity.RELATIVE_HUMIDITY, _words("humidity humid hum rh h humedad")),
    (Quantity.PPFD, _words("ppfd par quantum")),
    (Quantity.ILLUMINANCE, _words("lux illuminance lx klx")),
    (Quantity.IRRADIANCE, _words("irradiance solar radiation ghi pyranometer")),
    (Quantity.AIR_SPEED, _words("wind windspeed anemometer viento")),
)
_BY_SENML_UNIT = {
    "Cel": Quantity.AIR_TEMPERATURE,
    "K": Quantity.AIR_TEMPERATURE,
    "%RH": Quantity.RELATIVE_HUMIDITY,
    "lx": Quantity.ILLUMINANCE,
    "W/m2": Quantity.IRRADIANCE,
    "m/s": Quantity.AIR_SPEED,
    "km/h": Quantity.AIR_SPEED,
    "V": Quantity.BATTERY,
    "mV": Quantity.BATTERY,
}
_UNIT_IN_NAME = {"f": "degF", "degf": "degF", "fahrenheit": "degF", "tf": "degF", "mv": "mV"}

# Where values usually lie at a nursery, in our unit (common practice, no source).
_USUAL: Mapping[Quantity, tuple[float, float]] = {
    Quantity.AIR_TEMPERATURE: (-10.0, 48.0),
    Quantity.LEAF_TEMPERATURE: (-10.0, 55.0),
    Quantity.RELATIVE_HUMIDITY: (5.0, 105.0),
    Quantity.PPFD: (0.0, 2500.0),
    Quantity.ILLUMINANCE: (0.0, 130_000.0),
    Quantity.IRRADIANCE: (0.0, 1400.0),
    Quantity.AIR_SPEED: (0.0, 30.0),
    Quantity.SUBSTRATE_MOISTURE: (1.0, 100.0),
    Quantity.BATTERY: (1.0, 30.0),
}


def words_in(name: str) -> tuple[str, ...]:
    """Return the words of a name, small letters, taken apart at marks, digits and capitals.

    >>> words_in("bag-07/airTemp_C"), words_in("RH")
    (('bag', 'air', 'temp', 'c'), ('rh',))
    """
    parts = re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)
    return tuple(part.lower() for part in parts)


def meaning_of(name: str, value: float, *, context: str = "", unit: str | None = None) -> Meant:
    """Return what a number called `name` probably is.

    `context` is what stands around the name, as the topic; `unit` what the message says.
    """
    quantity = _quantity(name, context)
    why: list[Why] = [Why.NAME] if quantity is not None else []
    if unit is not None:
        told = _by_unit(quantity, unit)
        if told is not None:
            return Meant(*told, 1.0, (*why, Why.UNIT))
    if quantity is None:
        return Meant(None, None, 1.0, (Why.NO_NAME,))
    units = MEANINGS[quantity].units
    named = next((_UNIT_IN_NAME[word] for word in words_in(name) if word in _UNIT_IN_NAME), None)
    if named is not None and named in units and _possible(quantity, named, value):
        return Meant(quantity, named, 1.0, (*why, Why.UNIT))
    usual = [one for one in units if _usual(quantity, one, value)]
    if usual:
        first = Why.ONLY_UNIT if usual[0] == MEANINGS[quantity].unit else Why.SIZE
        return Meant(quantity, usual[0], 1.0, (*why, first))
    if _usual(quantity, MEANINGS[quantity].unit, value / 10):
        return Meant(quantity, MEANINGS[quantity].unit, 0.1, (*why, Why.TENTHS))
    possible = [one for one in units if _possible(quantity, one, value)]
    if possible:
        return Meant(quantity, possible[0], 1.0, (*why, Why.SIZE))
    return Meant(quantity, None, 1.0, (*why, Why.NO_FIT))


def _quantity(name: str, context: str) -> Quantity | None:
    own, around = set(words_in(name)), set(words_in(context))
    if own & _NOT_OURS:
        return None
    if own & _BATTERY:
        return None if own & _TEMPERATURE else Quantity.BATTERY
    warm = bool(own & _TEMPERATURE)
    if own & _SOIL or (around & _SOIL and not own & {"air"}):
        # Its temperature is no quantity of ours; its moisture may be called humidity.
        return None if warm else Quantity.SUBSTRATE_MOISTURE
    if warm:
        leafy = own & _LEAF or around & _LEAF
        return Quantity.LEAF_TEMPERATURE if leafy else Quantity.AIR_TEMPERATURE
    return next((quantity for quantity, words in _NAMED if own & words), None)


def _by_unit(quantity: Quantity | None, said: str) -> tuple[Quantity, str] | None:
    """Return the quantity and our unit for a unit as the message says it."""
    if quantity is None:
        quantity = _BY_SENML_UNIT.get(said)
    if quantity is None:
        return None
    for unit in MEANINGS[quantity].units:
        if said in UNITS.get(unit, ()) or said == unit or said in SPELLINGS[unit]:
            return quantity, unit
    return None


def _possible(quantity: Quantity, unit: str, value: float) -> bool:
    meaning = MEANINGS[quantity]
    return meaning.lowest <= in_our_unit(quantity, unit, value) <= meaning.highest


def _usual(quantity: Quantity, unit: str, value: float) -> bool:
    low, high = _USUAL[quantity]
    return low <= in_our_unit(quantity, unit, value) <= high and _possible(quantity, unit, value)
