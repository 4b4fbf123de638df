"""Answering one alarm from its message: what may be said, and what saying it leads to.

A link shows a page; only its form answers. Link scanners and previews fetch pages and send no
forms, so they acknowledge nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from api.alerts.links import Link, Links, Refusal
from api.records.alarms import NothingToAcknowledge, UnknownAlarm, acknowledge, alarm
from api.records.observations import Entered, enter
from api.records.steps import raised_by
from api.web.words.people import people_words
from rules.model.batch import Cover, Observation, Seen, Wrap
from rules.model.plan import plan_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from sqlalchemy import Connection

    from api.parts import Parts
    from api.records.alarms import AlarmRecord
    from rules.model.batch import Batch
    from rules.model.people import Person

COVERED = frozenset({Seen.COVER_CLOSED, Seen.CONDENSATION, Seen.BAG_DRY})
FILM = frozenset({Seen.REWRAPPED, Seen.FILM_SPLIT})
OFFERED = (
    Seen.WATERED,
    Seen.COVER_CLOSED,
    Seen.LIGHT_LOWERED,
    Seen.REWRAPPED,
    Seen.DROOP,
    Seen.MOULD,
    Seen.CONDENSATION,
    Seen.BAG_DRY,
    Seen.FILM_SPLIT,
    Seen.NOTED,
)
"""What a person may write down from a message: what protects, and what was seen. Opening a cover,
more light and cuts need the whole of the plan before one's eyes, and are not offered here."""
LONGEST_NOTE = 300


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
    """Who is asked about which alarm, by a link that holds."""

    link: Link
    person: Person
    alarm: AlarmRecord


class Past(Exception):
    """The alarm has been raised again since the link was sent, or does not exist."""


class NoSuchDeed(Exception):
    """The form named nothing that can be written down for this batch."""


def asked_by(parts: Parts, links: Links, token: str, *, db: Connection) -> Asked | Refusal:
    """Return who is asked about what; why not if the link does not hold. Past if it is outdated."""
    link = links.read(token, now=parts.clock.now())
    if isinstance(link, Refusal):
        return link
    person = next((one for one in parts.site.person if one.id == link.person), None)
    if person is None or not person.answers:
        return Refusal.EXPIRED
    try:
        about = alarm(db, link.alarm_id)
    except UnknownAlarm as trouble:
        raise Past from trouble
    if raised_by(db, (link.alarm_id,)).get(link.alarm_id) != link.change_id:
        raise Past
    return Asked(link, person, about)


def deeds(
    parts: Parts, code: str, person: Person, *, seen: Mapping[Seen, str], at: datetime
) -> tuple[Deed, ...]:
    """Return what may be written down for a batch: deeds that fit it, then its checks."""
    batch = next((one for one in parts.site.batch if one.code == code), None)
    if batch is None:
        return ()
    found: list[Deed] = []
    plan, stage = plan_of(parts.plans, batch.plan, at), batch.stage_at(at)
    if plan is not None and stage in plan.stage:
        found += [
            Deed(
                f"{Seen.CHECKED.value}.{check.id}",
                Seen.CHECKED,
                check.id,
                f"{seen[Seen.CHECKED]}: {check.says.in_language(person.language)}",
            )
            for check in plan.stage[stage].check
        ]
    return (*(Deed(one.value, one, None, seen[one]) for one in _fitting(batch)), *found)


def say(
    db: Connection, asked: Asked, answer: Answer, *, deed: Deed | None, note: str, at: datetime
) -> None:
    """Keep what a person says to an alarm, all in one transaction.

    Saying the same again changes nothing. Raises NothingToAcknowledge for a plain answer that
    comes too late, NoSuchDeed for "done" without a deed.
    """
    words, person = people_words(asked.person.language), asked.person.id
    origin = f"answer.{asked.link.alarm_id}.{asked.link.change_id}.{person}"
    if answer is Answer.SEEN:
        acknowledge(db, asked.alarm.id, by=person, at=at, note=words.said_seen)
        return
    if answer is Answer.DONE and deed is None:
        raise NoSuchDeed
    seen, said = (deed, note) if deed is not None else (None, words.said_going)
    if asked.alarm.batch:
        observation = Observation(
            at=at,
            seen=Seen.NOTED if seen is None else seen.seen,
            by=person,
            note=said,
            check=None if seen is None else seen.check,
        )
        what = Answer.GOING.value if seen is None else seen.value
        enter(db, Entered(asked.alarm.batch, observation, at, f"{origin}.{what}"))
    try:
        acknowledge(db, asked.alarm.id, by=person, at=at, note=seen.says if seen else said)
    except NothingToAcknowledge:
        return  # someone has it already; that this person goes, or went, is kept all the same


def _fitting(batch: Batch) -> Iterator[Seen]:
    for one in OFFERED:
        if one in COVERED and batch.cover is Cover.NONE:
            continue
        if one in FILM and batch.wrap is not Wrap.STRETCH_FILM:
            continue
        yield one
