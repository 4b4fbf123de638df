"""The page of staff answers: who is on duty now and next, and does every way reach them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.records.session import reading
from api.records.ways import last_tries
from api.v1.lamps import lamp_bodies
from api.web.words.people import people_words
from collector.outgoing import Fate
from rules.local_time import local_day
from rules.model.people import EMAIL
from rules.rota import is_away, next_change, who_is_on_duty

if TYPE_CHECKING:
    from collections.abc import Iterable

    from api.parts import Parts
    from api.records.ways import LastTry
    from api.v1.lamps import LampBody
    from api.web.telling import Telling
    from api.web.words.people import PeopleWords
    from rules.model.people import Person

LOOKED_AHEAD = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class WayLine:
    """One way to reach a person, and what came of the last message by it."""

    name: str
    said: str
    failed: bool


@dataclass(frozen=True, slots=True)
class PersonLine:
    """A person as the page shows them. No address stands here: addresses are secrets."""

    id: str
    name: str
    on_duty: bool
    notes: tuple[str, ...]
    ways: tuple[WayLine, ...]
    test_hint: str


@dataclass(frozen=True, slots=True)
class LampLine:
    """A lamp or siren: what it should be now, whose alarms light it, what came of a trial."""

    id: str
    title: str
    lit: bool
    said: str
    why: str
    whose: str
    tried: str
    failed: bool


@dataclass(frozen=True, slots=True)
class StaffPage:
    """All that the page says."""

    answer: str
    afterwards: str
    people: tuple[PersonLine, ...]
    lamps: tuple[LampLine, ...]


def staff_page(parts: Parts, telling: Telling) -> StaffPage:
    """Gather what the page says."""
    site, now = parts.site, telling.now
    words = people_words(telling.words.code)
    on_duty = who_is_on_duty(site, now)
    change = next_change(site, now, within=LOOKED_AHEAD)
    afterwards = words.no_change
    if change is not None:
        following = _names(who_is_on_duty(site, change))
        afterwards = words.afterwards.format(time=telling.time(change), names=following)
    with reading(parts.records) as db:
        tries = last_tries(db)
    here = {person.id for person in on_duty}
    return StaffPage(
        answer=words.staff_answer.format(names=_names(on_duty)),
        afterwards=afterwards,
        people=tuple(
            PersonLine(
                id=person.id,
                name=person.name,
                on_duty=person.id in here,
                notes=_notes(parts, person, telling, words),
                ways=tuple(
                    _way(way, tries.get((person.id, way)), telling, words) for way in person.ways
                ),
                test_hint=words.test_hint.format(name=person.name),
            )
            for person in sorted(site.person, key=lambda one: one.id not in here)
        ),
        lamps=tuple(_lamp(lamp, parts, telling, words) for lamp in lamp_bodies(parts)),
    )


def _notes(parts: Parts, person: Person, telling: Telling, words: PeopleWords) -> tuple[str, ...]:
    site = parts.site
    notes: list[str] = []
    if person.id == site.lead:
        notes.append(words.lead)
    if is_away(site, person.id, local_day(telling.now, site.site)):
        notes.append(f"{telling.words.capital(words.away)}.")
    if person.backup is not None:
        notes.append(words.stands_in.format(name=telling.person(person.backup)))
    if person.quiet is not None:
        start, end = person.quiet.start, person.quiet.end
        notes.append(words.quiet.format(start=f"{start:%H:%M}", end=f"{end:%H:%M}"))
    return tuple(notes)


def _way(way: str, last: LastTry | None, telling: Telling, words: PeopleWords) -> WayLine:
    name = words.email if way == EMAIL else way
    if last is None:
        return WayLine(name, words.no_way_tried, failed=False)
    if last.arrived:
        return WayLine(name, words.arrived.format(time=telling.time(last.at)), failed=False)
    return WayLine(name, words.failed.format(why=last.error or ""), failed=True)


def _lamp(lamp: LampBody, parts: Parts, telling: Telling, words: PeopleWords) -> LampLine:
    titles = {house.id: house.title for house in parts.site.house}
    whose = ", ".join(titles[house] for house in lamp.houses) or words.lamp_all
    trial = lamp.trial
    tried = words.lamp_never_tried
    if trial is not None:
        told = {
            Fate.UNDER_WAY: words.lamp_trying,
            Fate.ACCEPTED: words.lamp_passed_on,
            Fate.LOST: words.lamp_not_reached,
        }
        tried = told[trial.fate].format(time=telling.time(trial.at), why=trial.trouble)
    return LampLine(
        id=lamp.id,
        title=lamp.title,
        lit=lamp.lit,
        said=words.lamp_lit if lamp.lit else words.lamp_dark,
        why=words.lamp_lit_why if lamp.lit else words.lamp_dark_why,
        whose=words.lamp_whose.format(houses=whose),
        tried=tried,
        failed=trial is not None and trial.fate is Fate.LOST,
    )


def _names(people: Iterable[Person]) -> str:
    return ", ".join(person.name for person in people)
