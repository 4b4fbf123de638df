"""For whom a page is written: the language and the unit of temperature that its reader has."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.measures import FAHRENHEIT, TEMPERATURE_UNITS
from api.web.telling import Telling
from api.web.words.languages import LANGUAGES

if TYPE_CHECKING:
    from datetime import datetime

    from rules.model.people import Person
    from rules.model.site import Site


def telling_to(person: Person, site: Site, now: datetime) -> Telling:
    """Return how things are said to a person whom we know, as after a link in a message."""
    fahrenheit = person.temperature_unit == FAHRENHEIT
    return Telling(LANGUAGES[person.language], site, now, fahrenheit=fahrenheit)


def reads_fahrenheit(*, asked: str | None, kept: str | None, own: Person | None) -> bool:
    """Return whether temperatures are shown in °F: asked for, else kept on the device, else own.

    `own` is the person signed in, None for nobody or a shared device.

    >>> reads_fahrenheit(asked=None, kept="degF", own=None)
    True
    """
    for unit in (asked, kept):
        if unit is not None and unit in TEMPERATURE_UNITS:
            return unit == FAHRENHEIT
    return own is not None and own.temperature_unit == FAHRENHEIT
