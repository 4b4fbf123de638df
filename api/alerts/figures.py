"""Numbers and times as a person reads them: in their unit, their language, the site's own time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.local_time import to_local
from rules.model.dose import DOSE_SHOWN, DoseKind
from rules.model.quantities import FELT_SHOWN, Felt

if TYPE_CHECKING:
    from datetime import datetime

    import numpy as np
    from numpy.typing import NDArray

    from api.alerts.phrases import Phrases
    from rules.model.people import Person
    from rules.model.place import Place

_TEMPERATURES = frozenset({Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE, Felt.EXPECTED_PEAK})
_PLACES = {
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
_SUM_PLACES = {
    DoseKind.LIGHT_SUM: 1,
    DoseKind.DRYING_DOSE: 1,
    DoseKind.HEAT_DOSE: 1,
    DoseKind.HOURS_BEYOND: 1,
    DoseKind.DIRECT_SUN: 0,
}
_MOST_PLACES = 4
_HOURS_WITHOUT_DAY = 18


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


def measure_of(felt: Felt, person: Person) -> Measure:
    """Return how the person reads a quantity."""
    return measure_in(felt, fahrenheit=person.temperature_unit == "degF")


def measure_in(felt: Felt, *, fahrenheit: bool) -> Measure:
    """Return how a quantity is read, temperatures in °F or in °C."""
    if felt in _TEMPERATURES and fahrenheit:
        return Measure("°F", _PLACES[felt], 9 / 5, 32.0)
    return Measure(FELT_SHOWN[felt], _PLACES[felt])


def measure_of_sum(kind: DoseKind, person: Person) -> Measure:
    """Return how the person reads a sum."""
    return measure_of_sum_in(kind, fahrenheit=person.temperature_unit == "degF")


def measure_of_sum_in(kind: DoseKind, *, fahrenheit: bool) -> Measure:
    """Return how a sum is read; a degree-hour is a difference, so nothing is added."""
    if kind is DoseKind.HEAT_DOSE and fahrenheit:
        return Measure("°F·h", _SUM_PLACES[kind], 9 / 5)
    return Measure(DOSE_SHOWN[kind], _SUM_PLACES[kind])


def value_shown(measure: Measure, value: float, bound: float, words: Phrases) -> str:
    """Return a value without its unit, with enough places that it does not look like the bound."""
    ours, limit = measure.of(value), measure.of(bound)
    places = measure.places
    while (
        places < _MOST_PLACES and value != bound and f"{ours:.{places}f}" == f"{limit:.{places}f}"
    ):
        places += 1
    return f"{ours:.{places}f}".replace(".", words.decimal_mark)


def plainly(measure: Measure, value: float, words: Phrases) -> str:
    """Return a value without its unit, with its usual places."""
    return f"{measure.of(value):.{measure.places}f}".replace(".", words.decimal_mark)


def bound_shown(measure: Measure, bound: float, words: Phrases) -> str:
    """Return a bound without its unit, with no more places than it needs."""
    shown = f"{round(measure.of(bound), 3):g}"
    return shown.replace(".", words.decimal_mark)


def distance_shown(measure: Measure, distance: float, words: Phrases) -> str:
    """Return how far a value is beyond its bound, with the unit; a difference, not a value."""
    places = max(measure.places, 1)
    shown = f"{distance * measure.factor:.{places}f}".replace(".", words.decimal_mark)
    return f"{shown} {measure.unit}"


def lasting(minutes: int, words: Phrases) -> str:
    """Return a length of time in minutes, from two hours on in hours."""
    if minutes < 120:
        return words.minutes.format(count=minutes)
    return words.hours.format(count=round(minutes / 60))


def clock_time(at: datetime, place: Place, *, now: datetime, words: Phrases) -> str:
    """Return the time on the site's wall, with the weekday when it is far away."""
    local = to_local(at, place)
    if abs((now - at).total_seconds()) < _HOURS_WITHOUT_DAY * 3600:
        return f"{local:%H:%M}"
    return f"{words.weekdays[local.weekday()]} {local:%H:%M}"


def date_shown(at: datetime, place: Place, words: Phrases) -> str:
    """Return the date on the site's wall."""
    local = to_local(at, place)
    return words.date.format(day=local.day, month=words.months[local.month - 1])


def date_and_time(at: datetime, place: Place, words: Phrases) -> str:
    """Return date and time on the site's wall, with its offset from UTC."""
    local = to_local(at, place)
    return words.date_and_time.format(
        weekday=words.weekdays[local.weekday()],
        day=local.day,
        month=words.months[local.month - 1],
        time=f"{local:%H:%M}",
        offset=_offset(local),
    )


def _offset(local: datetime) -> str:
    sign = f"{local:%z}"
    minutes = "" if sign[3:] == "00" else f":{sign[3:]}"
    return f"UTC{sign[0]}{int(sign[1:3])}{minutes}"
