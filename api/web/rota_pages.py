"""The rota on the page of staff: who has the days to come, and forms for days off and swaps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.book import form_revision
from api.entering import Change, Refused, UnknownThing, change
from api.records.entries import ChangedMeanwhile, Kind
from api.web.pages import keep_choice
from api.web.words.rota import rota_words
from api.written.entered import key_of
from rules.local_time import local_day
from rules.model.people import WEEK
from rules.rota import duty_between

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.responses import Response

    from api.book import InForce
    from api.parts import Parts
    from api.web.pages import Desk
    from api.web.telling import Telling
    from api.web.words.rota import RotaWords
    from rules.model.people import Absence, Swap
    from rules.rota import Duty

LOOKED_AHEAD = timedelta(days=7)
NEW = "none"
DASH = "\N{WORD JOINER}\N{EN DASH}\N{WORD JOINER}"


@dataclass(frozen=True, slots=True)
class RotaLine:
    """Who has a stretch of the days to come; `alone` where the rota has nobody."""

    day: str
    hours: str
    said: str
    alone: bool


@dataclass(frozen=True, slots=True)
class Written:
    """A day off or a swap that is not over yet, and the name by which it is taken out."""

    key: str
    said: str
    because: str


@dataclass(frozen=True, slots=True)
class Rota:
    """All that the page says of the rota."""

    lines: tuple[RotaLine, ...]
    days_off: tuple[Written, ...]
    swaps: tuple[Written, ...]
    today: str


def rota_of(parts: Parts, telling: Telling) -> Rota:
    """Gather the rota of the next seven days, and what is written down of them and later."""
    site, words = parts.site, rota_words(telling.words.code)
    today = local_day(telling.now, site.site)
    return Rota(
        lines=tuple(
            _line(one, telling, words)
            for one in duty_between(site, telling.now, telling.now + LOOKED_AHEAD)
        ),
        days_off=tuple(
            Written(_key(Kind.ABSENCE, one), _day_off(one, telling, words), one.because)
            for one in sorted(site.absence, key=lambda one: one.first)
            if one.last >= today
        ),
        swaps=tuple(
            Written(_key(Kind.SWAP, one), _swap(one, telling, words), "")
            for one in sorted(site.swap, key=lambda one: one.on)
            if one.on >= today - timedelta(days=1)
        ),
        today=today.isoformat(),
    )


def _line(hours: Duty, telling: Telling, words: RotaWords) -> RotaLine:
    names = ", ".join(person.name for person in hours.people) or words.nobody
    said = names
    if not hours.by_shift:
        said = words.lead_instead.format(names=names)
    elif hours.backups:
        backups = ", ".join(person.name for person in hours.backups)
        said = words.with_backup.format(names=names, backups=backups)
    return RotaLine(
        day=telling.day(local_day(hours.start, telling.site.site)),
        hours=f"{telling.clock(hours.start)}{DASH}{telling.clock(hours.end)}",
        said=said,
        alone=not hours.by_shift,
    )


def _day_off(one: Absence, telling: Telling, words: RotaWords) -> str:
    return words.day_off_of.format(
        name=telling.person(one.who), first=telling.day(one.first), last=telling.day(one.last)
    )


def _swap(one: Swap, telling: Telling, words: RotaWords) -> str:
    day = telling.day(one.on)
    if one.start is not None:
        day = f"{day} {one.start:%H:%M}"
    return words.swap_of.format(
        day=day, taken_by=telling.person(one.taken_by), whose=telling.person(one.whose)
    )


def _key(kind: Kind, one: Absence | Swap) -> str:
    return key_of(kind.value, one.model_dump(mode="json", exclude_none=True))


def rota_router(at: Desk) -> APIRouter:
    """Return the routes of the forms. What is entered counts from the next minute."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def kept(
        request: Request, kind: Kind, key: str, body: Mapping[str, object] | None, *, by: str
    ) -> Response:
        telling = at.telling(request)
        words = rota_words(telling.words.code)
        one = Change(kind, key, body, NEW if body is not None else _revision(parts, kind, key))
        try:
            change(parts.records, parts.book, [one], by=by, at=parts.clock.now())
        except Refused as trouble:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, str(trouble)) from trouble
        except (ChangedMeanwhile, UnknownThing) as trouble:
            said = words.is_there if body is not None else telling.words.not_now
            raise HTTPException(HTTPStatus.CONFLICT, said) from trouble
        parts.refresh()
        response = RedirectResponse("/staff#rota", status_code=HTTPStatus.SEE_OTHER)
        keep_choice(response, "who", by)
        return response

    def read(request: Request, *typed: str) -> list[date]:
        try:
            return [date.fromisoformat(one) for one in typed]
        except ValueError as trouble:
            words = rota_words(at.telling(request).words.code)
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, words.unreadable) from trouble

    @router.post("/staff/days-off")
    def day_off(
        request: Request,
        who: Annotated[str, Form(max_length=40)],
        first: Annotated[str, Form(max_length=10)],
        by: Annotated[str, Form(max_length=40)],
        last: Annotated[str, Form(max_length=10)] = "",
        because: Annotated[str, Form(max_length=120)] = "",
    ) -> Response:
        begins, ends = read(request, first, last or first)
        body = {
            "who": who,
            "first": begins.isoformat(),
            "last": ends.isoformat(),
            "because": because.strip(),
        }
        return kept(request, Kind.ABSENCE, key_of("absence", body), body, by=by)

    @router.post("/staff/swaps")
    def swap(
        request: Request,
        on: Annotated[str, Form(max_length=10)],
        whose: Annotated[str, Form(max_length=40)],
        taken_by: Annotated[str, Form(max_length=40)],
        by: Annotated[str, Form(max_length=40)],
    ) -> Response:
        (day,) = read(request, on)
        shifts = [one.days for one in parts.site.shift if one.who == whose]
        if not any(WEEK[day.weekday()] in days for days in shifts):
            telling = at.telling(request)
            said = rota_words(telling.words.code).no_shift
            said = said.format(name=telling.person(whose), day=telling.day(day))
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, said)
        body = {"on": day.isoformat(), "whose": whose, "taken_by": taken_by}
        return kept(request, Kind.SWAP, key_of("swap", body), body, by=by)

    @router.post("/staff/take-out")
    def take_out(
        request: Request,
        kind: Annotated[str, Form(pattern="^(swap|absence)$")],
        key: Annotated[str, Form(max_length=100)],
        by: Annotated[str, Form(max_length=40)],
    ) -> Response:
        return kept(request, Kind(kind), key, None, by=by)

    return router


def _revision(parts: Parts, kind: Kind, key: str) -> str:
    now: InForce = parts.book.now
    return form_revision(now.written(kind, key))
