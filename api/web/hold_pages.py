"""The forms that hold alarms back: setting aside, out of service, and work in hand."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.records.alarms import UnknownAlarm
from api.records.session import reading, writing
from api.records.works import InHandAlready, UnknownWork, WorkOver, end_work
from api.watch.ground import Ground
from api.watch.holding import let_alarm_go, shelve_alarm, take_alarm_out
from api.watch.working import WorkNotPossible, begin, places
from api.web.held import offered, work_lines, work_lines_over
from api.web.pages import keep_choice, own_address
from rules.alarms import CueOutOfPlaceError
from rules.model.work import WorkKind, WorkPlace
from rules.shelving import ShelvedTooLong
from rules.work_in_hand import LONGEST_MIN, PLACES, USUAL_MIN

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.web.pages import Desk
    from api.web.telling import Telling


def holding_router(at: Desk) -> APIRouter:
    """Return the page of work in hand and the routes of the forms."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def ground() -> Ground:
        book = parts.book.now
        return Ground(book.site, book.watchlist)

    def someone(request: Request, by: str) -> Telling:
        telling = at.telling(request)
        if by not in {person.id for person in parts.site.person}:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, telling.words.unknown_person)
        return telling

    @router.get("/works")
    def works(request: Request) -> Response:
        telling = at.telling(request)
        with reading(parts.records) as db:
            now, over = work_lines(db, telling), work_lines_over(db, telling)
        words = telling.words
        answer = words.works_answer(len(now)) if now else words.nothing_in_hand
        kinds = [
            (
                kind,
                words.work_kind[kind],
                [(place, _title(kind, place, telling)) for place in places(parts.site, kind)],
                [(span, words.lasting(span * 60)) for span in offered(LONGEST_MIN[kind])],
                USUAL_MIN[kind],
                words.work_caution[kind],
            )
            for kind in WorkKind
        ]
        return at.answer(
            request, "works.html", telling, answer=answer, now=now, over=over, kinds=kinds
        )

    @router.post("/works")
    def begin_one(
        request: Request,
        kind: Annotated[WorkKind, Form()],
        place: Annotated[str, Form(max_length=40)],
        by: Annotated[str, Form(max_length=40)],
        minutes: Annotated[int, Form()],
        note: Annotated[str, Form(max_length=300)] = "",
    ) -> Response:
        telling = someone(request, by)
        with writing(parts.records) as db:
            try:
                begin(
                    db,
                    parts.site,
                    kind,
                    place=place,
                    who=by,
                    at=parts.clock.now(),
                    minutes=minutes,
                    note=note.strip() or None,
                )
            except WorkNotPossible as trouble:
                raise HTTPException(
                    HTTPStatus.UNPROCESSABLE_ENTITY, telling.words.not_possible
                ) from trouble
            except InHandAlready as trouble:
                raise HTTPException(HTTPStatus.CONFLICT, telling.words.not_now) from trouble
        return _back("/works", by)

    @router.post("/works/{work_id}/end")
    def end_one(
        request: Request, work_id: int, by: Annotated[str, Form(max_length=40)]
    ) -> Response:
        telling = someone(request, by)
        with writing(parts.records) as db:
            try:
                end_work(db, work_id, by=by, at=parts.clock.now())
            except UnknownWork as trouble:
                raise HTTPException(HTTPStatus.NOT_FOUND) from trouble
            except WorkOver as trouble:
                raise HTTPException(HTTPStatus.CONFLICT, telling.words.not_now) from trouble
        return _back("/works", by)

    @router.post("/alarms/{alarm_id}/hold")
    def hold_one(
        request: Request,
        alarm_id: int,
        what: Annotated[Literal["shelve", "take_out", "let_go"], Form()],
        by: Annotated[str, Form(max_length=40)],
        why: Annotated[str, Form(max_length=300)] = "",
        minutes: Annotated[int | None, Form()] = None,
    ) -> Response:
        telling = someone(request, by)
        because, now = why.strip(), parts.clock.now()
        if what != "let_go" and not because:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, telling.words.why)
        with writing(parts.records) as db:
            try:
                if what == "shelve":
                    held = shelve_alarm(
                        db,
                        alarm_id,
                        ground=ground(),
                        by=by,
                        at=now,
                        why=because,
                        minutes=minutes,
                    )
                elif what == "take_out":
                    held = take_alarm_out(db, alarm_id, by=by, at=now, why=because)
                else:
                    held = let_alarm_go(
                        db, alarm_id, ground=ground(), by=by, at=now, note=because or None
                    )
            except UnknownAlarm as trouble:
                raise HTTPException(HTTPStatus.NOT_FOUND) from trouble
            except CueOutOfPlaceError as trouble:
                raise HTTPException(HTTPStatus.CONFLICT, telling.words.not_now) from trouble
            except ShelvedTooLong as trouble:
                raise HTTPException(
                    HTTPStatus.UNPROCESSABLE_ENTITY, telling.words.not_possible
                ) from trouble
        return _back(f"/alarms/{held.id}", by)

    return router


def _title(kind: WorkKind, place: str, telling: Telling) -> str:
    match PLACES[kind]:
        case WorkPlace.HOUSE:
            return telling.house(place)
        case WorkPlace.SENSOR:
            titles = {sensor.id: sensor.title for sensor in telling.site.sensor}
            return f"{titles.get(place, place)} ({place})"
        case WorkPlace.BATCH:
            return place


def _back(address: str, by: str) -> Response:
    response = RedirectResponse(own_address(address), status_code=HTTPStatus.SEE_OTHER)
    keep_choice(response, "who", by)
    return response
