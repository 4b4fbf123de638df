"""Answering one alarm, from its message or from a button: who may, and what saying it leads to."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from api.alerts.links import Refusal
from api.alerts.telling_phrases import telling_phrases
from api.records.alarms import NothingToAcknowledge, UnknownAlarm, acknowledge, alarm
from api.records.courses import raised_by
from api.records.observations import Entered, enter
from rules.model.batch import Observation, Seen

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy import Connection

    from api.alerts.links import Links
    from api.records.alarms import AlarmRecord
    from rules.model.people import Person
    from rules.model.site import Site


class Answer(StrEnum):
    """What a person says to an alarm."""

    GOING = "going"
    SEEN = "seen"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Deed:
    """Something that may be written down: `value` as a form sends it."""

    value: str
    seen: Seen
    check: str | None
    says: str


@dataclass(frozen=True, slots=True)
class Asked:
    """Who is asked about which alarm, as the change raised it that the message told of."""

    alarm: AlarmRecord
    change_id: int
    person: Person

    @property
    def origin(self) -> str:
        """What everything that the person says to this opening of the alarm is kept under."""
        return f"answer.{self.alarm.id}.{self.change_id}.{self.person.id}"


class Past(Exception):
    """The alarm has been raised again since it was told, or does not exist."""


class NoSuchDeed(Exception):
    """What was named cannot be written down for this batch."""


def person_who_answers(site: Site, name: str) -> Person | None:
    """Return the person of an id; None for one who has left, and for a lamp or a shared chat."""
    return next((one for one in site.person if one.id == name and one.answers), None)


def asked_by(
    site: Site, links: Links, token: str, *, db: Connection, now: datetime
) -> Asked | Refusal:
    """Return who a link asks about what, or why it does not hold; Past if it is outdated."""
    link = links.read(token, now=now)
    if isinstance(link, Refusal):
        return link
    person = person_who_answers(site, link.person)
    if person is None:
        return Refusal.EXPIRED
    asked = asked_about(db, link.alarm_id, person)
    if asked.change_id != link.change_id:
        raise Past
    return asked


def many_asked_by(
    site: Site, links: Links, token: str, *, db: Connection, now: datetime
) -> tuple[Person, tuple[Asked, ...]] | Refusal:
    """Return who a link asks about which openings, or why it does not hold.

    Openings of alarms that were raised again since are left out: the message did not list those.
    """
    link = links.read_many(token, now=now)
    if isinstance(link, Refusal):
        return link
    person = person_who_answers(site, link.person)
    if person is None:
        return Refusal.EXPIRED
    found = []
    for alarm_id, change_id in link.openings:
        try:
            asked = asked_about(db, alarm_id, person)
        except Past:
            continue
        if asked.change_id == change_id:
            found.append(asked)
    return person, tuple(found)


def take_on(db: Connection, many: Sequence[Asked], *, at: datetime) -> int:
    """Acknowledge every alarm that still waits; return how many did."""
    taken = 0
    for one in many:
        note = telling_phrases(one.person.language).said_seen
        try:
            acknowledge(db, one.alarm.id, by=one.person.id, at=at, note=note)
        except NothingToAcknowledge:
            continue
        taken += 1
    return taken


def asked_about(db: Connection, alarm_id: int, person: Person) -> Asked:
    """Return a person with an alarm as it stands now; Past if there is no such alarm."""
    try:
        about = alarm(db, alarm_id)
    except UnknownAlarm as trouble:
        raise Past from trouble
    change_id = raised_by(db, (alarm_id,)).get(alarm_id)
    if change_id is None:
        raise Past
    return Asked(about, change_id, person)


def say(
    db: Connection, asked: Asked, answer: Answer, *, deed: Deed | None, note: str, at: datetime
) -> None:
    """Keep what a person says to an alarm, all in one transaction.

    Saying the same again changes nothing. Raises NothingToAcknowledge for a plain "seen" that
    comes too late, NoSuchDeed for "done" without a deed.
    """
    words, person = telling_phrases(asked.person.language), asked.person.id
    if answer is Answer.SEEN:
        acknowledge(db, asked.alarm.id, by=person, at=at, note=words.said_seen)
        return
    if answer is Answer.DONE and deed is None:
        raise NoSuchDeed
    said = words.said_going if deed is None else deed.says
    if asked.alarm.batch:
        observation = Observation(
            at=at,
            seen=Seen.NOTED if deed is None else deed.seen,
            by=person,
            note=said if deed is None else note,
            check=None if deed is None else deed.check,
        )
        what = Answer.GOING.value if deed is None else deed.value
        enter(db, Entered(asked.alarm.batch, observation, at, f"{asked.origin}.{what}"))
    try:
        acknowledge(db, asked.alarm.id, by=person, at=at, note=said)
    except NothingToAcknowledge:
        return  # someone has it already; that this person goes, or went, is kept all the same
