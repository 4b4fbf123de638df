"""Numbers and times as a person reads them: in their unit, their language, the site's own time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.measures import FAHRENHEIT, in_figures, measure_in, measure_of_sum_in
from rules.local_time import to_local

if TYPE_CHECKING:
    from datetime import datetime

    from api.alerts.phrases import Phrases
    from api.measures import Measure
    from rules.model.dose import DoseKind
    from rules.model.people import Person
    from rules.model.place import Place
    from rules.model.quantities import Felt

_MOST_PLACES = 4
_HOURS_WITHOUT_DAY = 18


def measure_of(felt: Felt, person: Person) -> Measure:
    """Return how the person reads a quantity."""
    return measure_in(felt, fahrenheit=person.temperature_unit == FAHRENHEIT)


def measure_of_sum(kind: DoseKind, person: Person) -> Measure:
    """Return how the person reads a sum."""
    return measure_of_sum_in(kind, fahrenheit=person.temperature_unit == FAHRENHEIT)


def value_shown(measure: Measure, value: float, bound: float, words: Phrases) -> str:
    """Return a value without its unit, with enough places that it does not look like the bound."""
    ours, limit = measure.of(value), measure.of(bound)
    places = measure.places
    while (
        places < _MOST_PLACES and value != bound and f"{ours:.{places}f}" == f"{limit:.{places}f}"
    ):
        places += 1
    return in_figures(ours, places, words.decimal_mark)


def plainly(measure: Measure, value: float, words: Phrases) -> str:
    """Return a value without its unit, with its usual places."""
    return in_figures(measure.of(value), measure.places, words.decimal_mark)


def bound_shown(measure: Measure, bound: float, words: Phrases) -> str:
    """Return a bound without its unit, with no more places than it needs."""
    shown = f"{round(measure.of(bound), 3):g}"
    return shown.replace(".", words.decimal_mark)


def distance_shown(measure: Measure, distance: float, words: Phrases) -> str:
    """Return how far a value is beyond its bound, with the unit; a difference, not a value."""
    places = max(measure.places, 1)
    shown = in_figures(measure.apart().of(distance), places, words.decimal_mark)
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
