"""Who is told now: the people whose shift holds this instant, or the lead when there is nobody."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from rules.local_time import earliest_instant, latest_instant, local_day
from rules.model.people import WEEK

if TYPE_CHECKING:
    from datetime import date, datetime

    from rules.model.people import Person, Shift
    from rules.model.place import Place
    from rules.model.site import Site

_DAY = timedelta(days=1)


def who_is_on_duty(site: Site, at: datetime) -> tuple[Person, ...]:
    """Return the people on duty at an aware instant, in the order of the site's shifts.

    Nobody on a shift: the lead alone. LookupError if a name points to nobody; site files are
    checked first.
    """
    people = {person.id: person for person in site.person}
    on_duty = [shift.who for shift in site.shift if holds(shift, at, site.site)]
    names = tuple(dict.fromkeys(on_duty)) or (site.lead,)
    return tuple(people[name] for name in names)


def holds(shift: Shift, at: datetime, place: Place) -> bool:
    """Return whether a shift, local to the place, holds the aware instant.

    Where the clock shows an hour twice, a shift begins with the first showing and ends with the
    last, so that two shifts overlap rather than leave an hour to nobody.
    """
    today = local_day(at, place)
    # A shift over midnight began yesterday; a leap of the clock can put one more date between.
    return any(
        start <= at < end
        for day in (today - _DAY, today, today + _DAY)
        if WEEK[day.weekday()] in shift.days
        for start, end in (_turn(shift, day, place),)
    )


def _turn(shift: Shift, day: date, place: Place) -> tuple[datetime, datetime]:
    """Return when the shift that starts on a local day begins and ends."""
    over_midnight = shift.end <= shift.start
    return (
        earliest_instant(day, shift.start, place),
        latest_instant(day + _DAY if over_midnight else day, shift.end, place),
    )
