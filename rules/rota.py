"""Who is on duty: shifts, less days off, with swaps and stand-ins. Pure, and proof against DST."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from rules.local_time import earliest_instant, latest_instant, local_day
from rules.model.people import WEEK

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import date, datetime

    from rules.model.people import Person, Shift
    from rules.model.place import Place
    from rules.model.site import Site

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Turn:
    """One shift that starts on one local day: from when to when, UTC, and who really has it.

    `who` is None when the person is away and nobody stands in.
    """

    shift: Shift
    day: date
    start: datetime
    end: datetime
    who: str | None


@dataclass(frozen=True, slots=True)
class Duty:
    """Who is on duty from an instant to another, UTC, and who stands in if they do not answer.

    `by_shift` False: nobody has a shift, and the lead is told instead.
    """

    start: datetime
    end: datetime
    people: tuple[Person, ...]
    backups: tuple[Person, ...]
    by_shift: bool


def who_is_on_duty(site: Site, at: datetime) -> tuple[Person, ...]:
    """Return the people on duty at an aware instant, in the order of the site's shifts.

    Nobody on a shift: the lead alone, or who stands in for the lead. LookupError if a name points
    to nobody; site files are checked first.
    """
    names = [turn.who for turn in turns_at(site, at) if turn.who is not None]
    return people_of(site, names or [the_lead(site, at)])


def backups_at(site: Site, at: datetime) -> tuple[Person, ...]:
    """Return who stands in for those on duty if they do not answer; never those on duty."""
    on_duty = [person.id for person in who_is_on_duty(site, at)]
    day = local_day(at, site.site)
    found: list[str] = []
    for turn in turns_at(site, at):
        if turn.who is not None:
            first = turn.shift.backup
            named = first if first is not None and not is_away(site, first, day) else None
            found += [one for one in (named or stand_in(site, turn.who, day),) if one is not None]
    if not found:
        found = [one for one in (stand_in(site, name, day) for name in on_duty) if one is not None]
    return people_of(site, [name for name in found if name not in on_duty])


def the_lead(site: Site, at: datetime) -> str:
    """Return the lead's id, or who stands in on the lead's days off; the lead if nobody does."""
    day = local_day(at, site.site)
    if not is_away(site, site.lead, day):
        return site.lead
    return stand_in(site, site.lead, day) or site.lead


def people_of(site: Site, names: Iterable[str]) -> tuple[Person, ...]:
    """Return people by their ids, each once, in this order; KeyError for an id of nobody."""
    people = {person.id: person for person in site.person}
    return tuple(people[name] for name in dict.fromkeys(names))


def is_away(site: Site, name: str, day: date) -> bool:
    """Return whether the local day is one of the person's days off."""
    return any(off.who == name and off.first <= day <= off.last for off in site.absence)


def stand_in(site: Site, name: str, day: date) -> str | None:
    """Return who stands in for a person on a local day: the back-up, or the back-up's, who is in.

    None where nobody is left, also when back-ups name one another in a ring.
    """
    backups = {person.id: person.backup for person in site.person}
    passed = {name}
    following = backups.get(name)
    while following is not None and following not in passed:
        if not is_away(site, following, day):
            return following
        passed.add(following)
        following = backups.get(following)
    return None


def turns_at(site: Site, at: datetime) -> Iterator[Turn]:
    """Yield the turns that hold the aware instant, in the order of the site's shifts."""
    today = local_day(at, site.site)
    for shift in site.shift:
        # A shift over midnight began yesterday; a leap of the clock can put one more date between.
        for day in (today - _DAY, today, today + _DAY):
            if WEEK[day.weekday()] in shift.days:
                start, end = turn_span(shift, day, site.site)
                if start <= at < end:
                    yield Turn(shift, day, start, end, holder(site, shift, day))


def holder(site: Site, shift: Shift, day: date) -> str | None:
    """Return who has the shift that starts on a local day: by swap, by right, or standing in."""
    swaps = (
        swap.taken_by
        for swap in site.swap
        if swap.on == day and swap.whose == shift.who and swap.start in (None, shift.start)
    )
    taker = next(swaps, None)
    who = shift.who if taker is None else taker
    if not is_away(site, who, day):
        return who
    if shift.backup is not None and shift.backup != who and not is_away(site, shift.backup, day):
        return shift.backup
    return stand_in(site, who, day)


def turn_span(shift: Shift, day: date, place: Place) -> tuple[datetime, datetime]:
    """Return when the shift that starts on a local day begins and ends, UTC.

    Where the clock shows an hour twice, a shift begins with the first showing and ends with the
    last, so that two shifts overlap rather than leave an hour to nobody.
    """
    over_midnight = shift.end <= shift.start
    return (
        earliest_instant(day, shift.start, place),
        latest_instant(day + _DAY if over_midnight else day, shift.end, place),
    )


def changes_between(site: Site, start: datetime, end: datetime) -> tuple[datetime, ...]:
    """Return the instants at which a turn begins or ends, from `start` until before `end`."""
    day, last = local_day(start, site.site) - _DAY, local_day(end, site.site) + _DAY
    found: set[datetime] = set()
    while day <= last:
        for shift in site.shift:
            if WEEK[day.weekday()] in shift.days:
                found.update(turn_span(shift, day, site.site))
        day += _DAY
    return tuple(sorted(one for one in found if start <= one < end))


def duty_between(site: Site, start: datetime, end: datetime) -> tuple[Duty, ...]:
    """Return who is on duty between two aware instants, stretch by stretch where people change."""
    edges = sorted({start, *changes_between(site, start, end)})
    found: list[Duty] = []
    for edge, following in zip(edges, [*edges[1:], end], strict=True):
        people, backups = who_is_on_duty(site, edge), backups_at(site, edge)
        by_shift = any(turn.who is not None for turn in turns_at(site, edge))
        last = found[-1] if found else None
        if last is not None and (last.people, last.backups, last.by_shift) == (
            people,
            backups,
            by_shift,
        ):
            found[-1] = replace(last, end=following)
        else:
            found.append(Duty(edge, following, people, backups, by_shift))
    return tuple(found)


def uncovered(site: Site, start: datetime, end: datetime) -> tuple[tuple[datetime, datetime], ...]:
    """Return the spans in which no shift, swap or stand-in puts anybody on duty, UTC, ends open."""
    edges = sorted({start, *changes_between(site, start, end)})
    spans: list[tuple[datetime, datetime]] = []
    for edge, following in zip(edges, [*edges[1:], end], strict=True):
        if any(turn.who is not None for turn in turns_at(site, edge)):
            continue
        if spans and spans[-1][1] == edge:
            spans[-1] = (spans[-1][0], following)
        else:
            spans.append((edge, following))
    return tuple(spans)


def next_change(site: Site, at: datetime, *, within: timedelta) -> datetime | None:
    """Return when other people come on duty; None if that does not happen within the time."""
    present = who_is_on_duty(site, at)
    for edge in changes_between(site, at, at + within):
        if edge > at and who_is_on_duty(site, edge) != present:
            return edge
    return None
