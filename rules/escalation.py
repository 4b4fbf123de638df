"""Who is owed a message now, and by which way. Pure: no clock, no database.

The same decision serves the night and a replayed season, in which it counts messages. Danger is
never held back; what is of lower priority waits for the end of a person's quiet hours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from rules.local_time import earliest_instant, latest_instant, local_day
from rules.model.alarm import Priority
from rules.model.people import Role, Ways
from rules.rota import backups_at, is_away, people_of, stand_in, the_lead
from rules.rota import who_is_on_duty as who_is_on_duty

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import datetime, time

    from rules.model.people import Person, Step
    from rules.model.place import Place
    from rules.model.site import Site

_DAY = timedelta(days=1)
_MINUTE = timedelta(minutes=1)


class Outcome(StrEnum):
    """What became of a message: still under way, taken by its way, or not to be counted on."""

    UNDER_WAY = "under_way"
    ARRIVED = "arrived"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Told:
    """One message of an alarm that was owed: under which step, to whom, by which way, when.

    `at` is when it became owed, `held_until` when a message that waits for the end of quiet hours
    is to go. `instead_of` is who could not be reached.
    """

    step: str
    person: str
    way: str
    at: datetime
    outcome: Outcome = Outcome.UNDER_WAY
    held_until: datetime | None = None
    instead_of: str | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """One alarm from its opening to now, as far as telling people goes.

    `failed_way` is the person and the way that an alarm about a way speaks of: it is told to the
    lead, by any other way. None for an alarm of a batch.

    A group of alarms that are told together has a course as one alarm has. `first_only`: of this
    one only the first step is owed, the later ones are those of a course that goes on already.
    `said_at` is when the first word of it went that is not in `told`, such as that of one alarm
    before there was a group: from then its later steps count.
    """

    priority: Priority
    opened_at: datetime
    acknowledged: bool
    over: bool
    told: tuple[Told, ...] = ()
    failed_way: tuple[str, str] | None = None
    first_only: bool = False
    said_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Owed:
    """One message that is owed now: the step it belongs to, to whom, by which way.

    `held_until`: it goes then, together with all else that was held back from the person.
    """

    step: str
    person: str
    way: str
    held_until: datetime | None = None
    instead_of: str | None = None


def owed_now(site: Site, course: Course, at: datetime) -> tuple[Owed, ...]:
    """Return what is owed at an aware instant and has not been owed before.

    Nothing once someone has acknowledged. Of an alarm that is over, only the first word of it,
    until somebody has heard. Minutes count from the opening; from the first word if that was late.
    """
    if course.acknowledged:
        return ()
    heard = any(one.outcome is Outcome.ARRIVED for one in course.told)
    if course.over and heard:
        return ()
    if course.failed_way is not None:
        first = () if course.told else _about_a_way(site, course.failed_way, at)
        return (*first, *_passed_over(site, course, at))
    return (*_steps_due(site, course, at), *_passed_over(site, course, at))


def held_until(person: Person, priority: Priority, at: datetime, place: Place) -> datetime | None:
    """Return when the quiet hours end that hold a message back from a person; None: it may go."""
    if priority is Priority.HIGH or person.quiet is None:
        return None
    return _end_of(person.quiet.start, person.quiet.end, at, place)


def messages_in(
    site: Site,
    course: Course,
    *,
    acknowledged_at: datetime | None,
    ended_at: datetime | None,
    until: datetime,
) -> tuple[Told, ...]:
    """Return every message of an alarm as it would be owed minute by minute, all of them arriving.

    For counting over a replayed season: `course` is the alarm at its opening, the instants are
    when someone acknowledges and when it is over (None: not before `until`).
    """
    at, told = course.opened_at, course.told
    while at < until:
        acknowledged = acknowledged_at is not None and acknowledged_at <= at
        over = ended_at is not None and ended_at <= at
        now = replace(course, acknowledged=acknowledged, over=over, told=told)
        told += tuple(
            Told(one.step, one.person, one.way, at, Outcome.ARRIVED, one.held_until)
            for one in owed_now(site, now, at)
        )
        if acknowledged or (over and told):
            break
        at += _MINUTE
    return told


def _steps_due(site: Site, course: Course, at: datetime) -> Iterator[Owed]:
    """Yield the steps that have come due; of several that were missed, each person's last."""
    steps = site.steps(course.priority)
    if course.over or course.first_only:
        steps = tuple(step for step in steps if step.after_min == steps[0].after_min)
    begun_at = _counted_from(course)
    newest = max((_after_min(one.step) for one in course.told), default=-1)
    owed: dict[str, list[Owed]] = {}
    for step in steps:
        if step.after_min <= newest or begun_at + step.after_min * _MINUTE > at:
            continue
        speaks_at = _speaks_at(step, at, site.site)
        for person in _told_by(site, step, speaks_at):
            until = held_until(person, step.priority, speaks_at, site.site) or speaks_at
            held = until if until > at else None
            owed[person.id] = [
                Owed(step.key, person.id, way, held) for way in _ways(person, step.by)
            ]
    for rows in owed.values():
        yield from rows


def _counted_from(course: Course) -> datetime:
    """Return the instant from which steps are counted: first word, less the step's own minutes."""
    heard = [] if course.said_at is None else [course.said_at]
    if course.told:
        first_at = min(one.at for one in course.told)
        minutes = max(_after_min(one.step) for one in course.told if one.at == first_at)
        heard.append(first_at - minutes * _MINUTE)
    return max(course.opened_at, min(heard, default=course.opened_at))


def is_first_step(site: Site, priority: Priority, step: str) -> bool:
    """Return whether a step of this key is the first word of an alarm of a priority."""
    return _after_min(step) <= site.steps(priority)[0].after_min


def _after_min(step: str) -> int:
    return int(step.partition(".")[0])


def _speaks_at(step: Step, at: datetime, place: Place) -> datetime:
    """Return the instant itself in the hours of the step, else when they next begin."""
    if step.start is None or step.end is None:
        return at
    return _end_of(step.end, step.start, at, place) or at


def _told_by(site: Site, step: Step, at: datetime) -> tuple[Person, ...]:
    match step.to:
        case Role.ON_DUTY:
            return who_is_on_duty(site, at)
        case Role.BACKUP:
            return backups_at(site, at)
        case Role.LEAD:
            return people_of(site, [the_lead(site, at)])
        case Role.EVERYONE:
            day = local_day(at, site.site)
            return tuple(one for one in site.person if not is_away(site, one.id, day))
        case name:
            return people_of(site, [name] if _known(site, name) else [])


def _passed_over(site: Site, course: Course, at: datetime) -> Iterator[Owed]:
    """Yield what is owed because a way has failed: the person's next way, else the next person."""
    by_step: dict[str, list[Told]] = {}
    for one in course.told:
        by_step.setdefault(one.step, []).append(one)
    for step, told in by_step.items():
        asked = {one.person for one in told}
        for name in dict.fromkeys(one.person for one in told):
            rows = [one for one in told if one.person == name]
            if any(one.outcome is not Outcome.FAILED for one in rows):
                continue
            following = _next_way(site, rows, course.failed_way)
            if following is not None:
                first = rows[0]
                yield Owed(step, name, following, first.held_until, first.instead_of)
            elif not any(one.instead_of == name for one in told):
                instead = _next_person(site, name, asked, course.failed_way, at)
                if instead is not None:
                    asked.add(instead.id)
                    for way in _ways(instead, _by(site, course.priority, step)):
                        if (instead.id, way) != course.failed_way:
                            yield Owed(step, instead.id, way, instead_of=name)


def _next_way(site: Site, rows: Sequence[Told], failed_way: tuple[str, str] | None) -> str | None:
    tried = {one.way for one in rows}
    name = rows[0].person
    person = next((one for one in site.person if one.id == name), None)
    ways = () if person is None else person.ways
    return next((way for way in ways if way not in tried and (name, way) != failed_way), None)


def _next_person(
    site: Site, name: str, asked: set[str], failed_way: tuple[str, str] | None, at: datetime
) -> Person | None:
    """Return who is told instead of someone who cannot be reached."""
    day = local_day(at, site.site)
    in_turn = (
        stand_in(site, name, day),
        *(one.id for one in backups_at(site, at)),
        *(one.id for one in who_is_on_duty(site, at)),
        the_lead(site, at),
        *(one.id for one in site.person if not is_away(site, one.id, day)),
    )
    for person in people_of(site, (one for one in in_turn if one is not None)):
        if person.id not in asked and person.answers:
            others = [way for way in person.ways if (person.id, way) != failed_way]
            if others:
                return person
    return None


def _ways(person: Person, by: Ways) -> tuple[str, ...]:
    return person.ways if by is Ways.EVERY else person.ways[:1]


def _by(site: Site, priority: Priority, key: str) -> Ways:
    """Return by how many ways a step tells; by every one where the site file has lost the step."""
    found = (step.by for step in site.steps(priority) if step.key == key)
    return next(found, Ways.EVERY)


def _about_a_way(site: Site, failed: tuple[str, str], at: datetime) -> Iterator[Owed]:
    """Yield word of a way that fails: to the lead by another way, of another kind if there is one.

    Where the lead has none, to the next person who has.
    """
    day = local_day(at, site.site)
    lead = the_lead(site, at)
    in_turn: Iterable[str] = (
        lead,
        *(one for one in (stand_in(site, lead, day),) if one is not None),
        *(one.id for one in who_is_on_duty(site, at)),
        *(one.id for one in site.person),
    )
    for person in people_of(site, in_turn):
        ways = [way for way in person.ways if (person.id, way) != failed]
        ways.sort(key=lambda way: way == failed[1])  # one of the same kind may fail alike
        if ways and person.answers:
            held = held_until(person, Priority.MEDIUM, at, site.site)
            yield Owed("0.lead", person.id, ways[0], held)
            return


def _known(site: Site, name: str) -> bool:
    return any(person.id == name for person in site.person)


def _end_of(start: time, end: time, at: datetime, place: Place) -> datetime | None:
    """Return when the local hours from `start` to `end` that hold the instant are over, UTC.

    None if it lies outside of them.
    """
    today = local_day(at, place)
    for day in (today - _DAY, today, today + _DAY):
        closes = day + _DAY if end <= start else day
        until = latest_instant(closes, end, place)
        if earliest_instant(day, start, place) <= at < until:
            return until
    return None
