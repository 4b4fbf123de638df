"""The routes about people: staff with a test of their ways, and answering from a message."""

from __future__ import annotations

import logging
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.alerts.answering import (
    Answer,
    Asked,
    NoSuchDeed,
    Past,
    asked_by,
    many_asked_by,
    say,
    take_on,
)
from api.alerts.links import Refusal
from api.alerts.trial import owe_test
from api.records.alarms import NothingToAcknowledge
from api.records.observations import entered
from api.records.session import reading, writing
from api.web.alarm_pages import line_of, pace_said, todo_of
from api.web.answering import LONGEST_NOTE, deeds
from api.web.now_page import WAITING
from api.web.reader import telling_to
from api.web.rota_pages import rota_of
from api.web.staff_page import staff_page
from api.web.words.languages import LANGUAGES
from api.web.words.people import people_words
from api.web.words.rota import rota_words

if TYPE_CHECKING:
    from sqlalchemy import Connection
    from starlette.responses import Response

    from api.web.pages import Desk
    from api.web.telling import Telling

log = logging.getLogger(__name__)

_REFUSED = {
    Refusal.TAMPERED: HTTPStatus.NOT_FOUND,
    Refusal.EXPIRED: HTTPStatus.GONE,
}


def people_router(at: Desk) -> APIRouter:
    """Return the routes of the pages about people."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    @router.get("/staff")
    def staff(request: Request) -> Response:
        telling = at.telling(request)
        words = people_words(telling.words.code)
        return at.answer(
            request,
            "staff.html",
            telling,
            p=words,
            page=staff_page(parts, telling),
            r=rota_words(telling.words.code),
            rota=rota_of(parts, telling),
        )

    @router.post("/staff/test")
    def test(person: Annotated[str, Form(max_length=40)], request: Request) -> Response:
        found = next((one for one in parts.site.person if one.id == person), None)
        if found is None:
            unknown = at.telling(request).words.unknown_person
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, unknown)
        with writing(parts.records) as db:
            owe_test(db, found, at=parts.clock.now())
        return RedirectResponse("/staff", status_code=HTTPStatus.SEE_OTHER)

    @router.post("/staff/light")
    def light(lamp: Annotated[str, Form(max_length=40)], request: Request) -> Response:
        found = next((one for one in parts.site.lamp if one.id == lamp), None)
        if found is None or parts.lamp_trials is None:
            unknown = people_words(at.telling(request).words.code).lamp_unknown
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, unknown)
        parts.lamp_trials.begin(found)
        return RedirectResponse("/staff#lamps", status_code=HTTPStatus.SEE_OTHER)

    @router.api_route("/answer/all/{token}", methods=["GET", "HEAD"])
    def asked_of_many(request: Request, token: str) -> Response:
        with reading(parts.records) as db:
            return _many(at, request, token, db=db)

    @router.post("/answer/all/{token}")
    def many_taken_on(request: Request, token: str) -> Response:
        now = parts.clock.now()
        with writing(parts.records) as db:
            found = many_asked_by(parts.site, parts.links, token, db=db, now=now)
            if isinstance(found, Refusal):
                return _refused(at, request, found)
            person, many = found
            taken = take_on(db, many, at=now)
        log.info("answered_all alarms=%d by=%s", taken, person.id)
        return RedirectResponse(f"/answer/all/{token}", status_code=HTTPStatus.SEE_OTHER)

    @router.api_route("/answer/{token}", methods=["GET", "HEAD"])
    def asked(request: Request, token: str) -> Response:
        with reading(parts.records) as db:
            return _page(at, request, token, db=db)

    @router.post("/answer/{token}")
    def answered(
        request: Request,
        token: str,
        answer: Annotated[Answer, Form()],
        deed: Annotated[str, Form(max_length=60)] = "",
        note: Annotated[str, Form(max_length=LONGEST_NOTE)] = "",
    ) -> Response:
        try:
            with writing(parts.records) as db:
                found = asked_by(parts.site, parts.links, token, db=db, now=parts.clock.now())
                if isinstance(found, Refusal):
                    return _refused(at, request, found)
                now = parts.clock.now()
                words = LANGUAGES[found.person.language]
                offered = deeds(parts, found.alarm.batch, found.person, seen=words.seen, at=now)
                done = next((one for one in offered if one.value == deed), None)
                say(
                    db,
                    found,
                    answer,
                    deed=done if answer is Answer.DONE else None,
                    note=note.strip(),
                    at=now,
                )
        except Past:
            return _refused(at, request, None)
        except (NothingToAcknowledge, NoSuchDeed) as trouble:
            with reading(parts.records) as db:
                return _page(at, request, token, db=db, trouble=trouble)
        log.info("answered alarm=%d by=%s answer=%s", found.alarm.id, found.person.id, answer)
        return RedirectResponse(f"/answer/{token}", status_code=HTTPStatus.SEE_OTHER)

    return router


def _page(
    at: Desk, request: Request, token: str, *, db: Connection, trouble: Exception | None = None
) -> Response:
    parts = at.parts
    try:
        found = asked_by(parts.site, parts.links, token, db=db, now=parts.clock.now())
    except Past:
        return _refused(at, request, None)
    if isinstance(found, Refusal):
        return _refused(at, request, found)
    telling = telling_to(found.person, parts.site, parts.clock.now())
    words = people_words(found.person.language)
    one = found.alarm
    said = ""
    if isinstance(trouble, NoSuchDeed):
        said = words.choose_deed
    elif isinstance(trouble, NothingToAcknowledge):
        said = telling.words.already_answered
    has_it = words.nobody_has_it
    if one.state not in WAITING and one.acknowledged_by and one.acknowledged_at:
        has_it = words.has_it.format(
            name=telling.person(one.acknowledged_by), time=telling.time(one.acknowledged_at)
        )
    batch = next((b for b in parts.site.batch if b.code == one.batch), None)
    return at.answer(
        request,
        "answer.html",
        telling,
        status=HTTPStatus.OK if trouble is None else HTTPStatus.CONFLICT,
        p=words,
        line=line_of(parts, one, telling),
        place=", ".join((telling.kind(batch), telling.bench(batch.bench))) if batch else "",
        since=telling.since(one.since) if one.ended_at is None else "",
        over=words.over.format(time=telling.time(one.ended_at)) if one.ended_at else "",
        todo=todo_of(parts, one, telling),
        pace=pace_said(parts, one, telling),
        has_it=has_it,
        waiting=one.state in WAITING,
        said=said,
        person=found.person.name,
        wrote=_written(found, telling, db=db),
        deeds=deeds(parts, one.batch, found.person, seen=telling.words.seen, at=telling.now),
        longest_note=LONGEST_NOTE,
        token=token,
    )


def _many(at: Desk, request: Request, token: str, *, db: Connection) -> Response:
    """Show every alarm that a message listed, with one button for all that still wait."""
    parts = at.parts
    found = many_asked_by(parts.site, parts.links, token, db=db, now=parts.clock.now())
    if isinstance(found, Refusal):
        return _refused(at, request, found)
    person, many = found
    telling = telling_to(person, parts.site, parts.clock.now())
    words = people_words(person.language)
    waiting = sum(one.alarm.state in WAITING for one in many)
    return at.answer(
        request,
        "answer_all.html",
        telling,
        p=words,
        title=words.many_title.format(count=len(many)),
        lines=[line_of(parts, one.alarm, telling) for one in many],
        take=words.many_take.format(count=waiting) if waiting else "",
        person=person.name,
        token=token,
    )


def _written(found: Asked, telling: Telling, *, db: Connection) -> tuple[str, ...]:
    """Return what the person has written down by this alarm's link already."""
    ours = f"{found.origin}."
    return tuple(
        " · ".join(
            part
            for part in (
                telling.time(one.observation.at),
                telling.words.seen[one.observation.seen],
                one.observation.check or "",
                one.observation.note,
            )
            if part
        )
        for one in entered(db, batch=found.alarm.batch)
        if one.origin is not None and one.origin.startswith(ours)
    )


def _refused(at: Desk, request: Request, why: Refusal | None) -> Response:
    """Say why a link is not taken; None: it was for an earlier time."""
    telling = at.telling(request)
    words = people_words(telling.words.code)
    title = words.link_past
    if why is not None:
        title = words.link_tampered if why is Refusal.TAMPERED else words.link_expired
    status = HTTPStatus.GONE if why is None else _REFUSED[why]
    log.info("answer_refused why=%s", "past" if why is None else why)
    return at.answer(
        request, "trouble.html", telling, status=status, title=title, hint=words.link_hint
    )
