"""Who is on duty, by which ways people are reached, and a real test message to them."""

from __future__ import annotations

from datetime import timedelta
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Path, Query
from pydantic import AwareDatetime, BaseModel

from api.alerts.trial import owe_test
from api.records.session import reading, writing
from api.records.ways import last_tries
from api.v1.problems import Problem
from rules.local_time import local_day
from rules.rota import duty_between, is_away, who_is_on_duty

if TYPE_CHECKING:
    from api.parts import Parts
    from api.records.ways import LastTry
    from rules.model.people import Person
    from rules.rota import Duty

MOST_DAYS = 31


class WayBody(BaseModel):
    """One way to reach a person, by its kind alone: addresses are secrets.

    `arrived` is null while nothing was sent by it; `tried_at` and `error` are of the last try.
    """

    way: str
    tried_at: AwareDatetime | None
    arrived: bool | None
    error: str | None


class PersonBody(BaseModel):
    """A person of the site, as they can be reached now. `answers`: may take alarms on."""

    id: str
    name: str
    answers: bool
    lead: bool
    on_duty: bool
    away: bool
    backup: str | None
    ways: list[WayBody]


class DutyBody(BaseModel):
    """Who has a stretch of hours; `by_shift` false: nobody has them, so the lead is told."""

    start: AwareDatetime
    end: AwareDatetime
    people: list[str]
    backups: list[str]
    by_shift: bool


class OwedBody(BaseModel):
    """How many test messages were put on their way; 0 where one was asked for in this minute."""

    messages: int


def staff_router(parts: Parts) -> APIRouter:
    """Return the routes under /staff."""
    router = APIRouter(prefix="/staff", tags=["people"])

    @router.get("")
    def staff() -> list[PersonBody]:
        """Return everybody of the site, and what came of the last message by each of their ways."""
        site, now = parts.site, parts.clock.now()
        with reading(parts.records) as db:
            tries = last_tries(db)
        here = {person.id for person in who_is_on_duty(site, now)}
        today = local_day(now, site.site)
        return [
            PersonBody(
                id=one.id,
                name=one.name,
                answers=one.answers,
                lead=one.id == site.lead,
                on_duty=one.id in here,
                away=is_away(site, one.id, today),
                backup=one.backup,
                ways=[_way(way, tries.get((one.id, way))) for way in one.ways],
            )
            for one in site.person
        ]

    @router.get("/duty")
    def duty(days: Annotated[int, Query(ge=1, le=MOST_DAYS)] = 7) -> list[DutyBody]:
        """Return who is on duty from now on, stretch by stretch."""
        now = parts.clock.now()
        return [_duty(one) for one in duty_between(parts.site, now, now + timedelta(days=days))]

    @router.post("/{person}/test", status_code=HTTPStatus.ACCEPTED)
    def test(person: Annotated[str, Path(max_length=40)]) -> OwedBody:
        """Send a real test message by every way of a person, once a minute at most."""
        found: Person | None = next((one for one in parts.site.person if one.id == person), None)
        if found is None:
            raise Problem(HTTPStatus.NOT_FOUND, f"Nobody of the site has the id {person!r}.")
        with writing(parts.records) as db:
            owed = owe_test(db, found, at=parts.clock.now())
        return OwedBody(messages=owed)

    return router


def _way(way: str, last: LastTry | None) -> WayBody:
    if last is None:
        return WayBody(way=way, tried_at=None, arrived=None, error=None)
    return WayBody(way=way, tried_at=last.at, arrived=last.arrived, error=last.error)


def _duty(one: Duty) -> DutyBody:
    return DutyBody(
        start=one.start,
        end=one.end,
        people=[person.id for person in one.people],
        backups=[person.id for person in one.backups],
        by_shift=one.by_shift,
    )
