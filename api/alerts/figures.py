"""Numbers and times as a person reads them: in their unit, their language, the site's own time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.local_time import to_local
from rules.model.quantities import FELT_SHOWN, Felt

if TYPE_CHECKING:
    from datetime import datetime

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
_MOST_PLACES = 4
_HOURS_WITHOUT_DAY = 18


def unit_shown(felt: Felt, person: Person) -> str:
    """Return the unit in which the person reads the quantity."""
    if felt in _TEMPERATURES and person.temperature_unit == "degF":
        return "°F"
    return FELT_SHOWN[felt]


def value_shown(felt: Felt, value: float, bound: float, person: Person, words: Phrases) -> str:
    """Return a value without its unit, with enough places that it does not look like the bound."""
    ours, limit = _for(person, felt, value), _for(person, felt, bound)
    places = _PLACES[felt]
    while (
        places < _MOST_PLACES and value != bound and f"{ours:.{places}f}" == f"{limit:.{places}f}"
    ):
        places += 1
    return f"{ours:.{places}f}".replace(".", words.decimal_mark)


def bound_shown(felt: Felt, bound: float, person: Person, words: Phrases) -> str:
    """Return a bound without its unit, with no more places than it needs."""
    shown = f"{round(_for(person, felt, bound), 3):g}"
    return shown.replace(".", words.decimal_mark)


def distance_shown(felt: Felt, distance: float, person: Person, words: Phrases) -> str:
    """Return how far a value is beyond its bound, with the unit; a difference, not a value."""
    scale = 9 / 5 if unit_shown(felt, person) == "°F" else 1.0
    places = max(_PLACES[felt], 1)
    shown = f"{distance * scale:.{places}f}".replace(".", words.decimal_mark)
    return f"{shown} {unit_shown(felt, person)}"


def clock_time(at: datetime, place: Place, *, now: datetime, words: Phrases) -> str:
    """Return the time on the site's wall, with the weekday when it is long ago."""
    local = to_local(at, place)
    if abs((now - at).total_seconds()) < _HOURS_WITHOUT_DAY * 3600:
        return f"{local:%H:%M}"
    return f"{words.weekdays[local.weekday()]} {local:%H:%M}"


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


def _for(person: Person, felt: Felt, value: float) -> float:
    return value * 9 / 5 + 32 if unit_shown(felt, person) == "°F" else value
