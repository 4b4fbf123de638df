"""The forms about photos: added at the bench, removed on the page of the batch."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

from api.accounts.caller import leads, signed_in
from api.entering import UnknownThing
from api.photos.keeping import (
    BadPhoto,
    HasPhoto,
    TooLateForPhoto,
    UnknownWriter,
    add_photo,
    remove,
)
from api.photos.readying import MOST_BYTES, PhotoFault
from api.photos.words import FAULTS, LEAD_ONLY, why_not

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.web.pages import Desk
    from rules.model.words import Words

MOST_AROUND_BYTES = 64 * 1024
"""What a form may have beside the photo itself."""

_MOST_NUMBER = 2**31 - 1


def photo_pages_router(at: Desk) -> APIRouter:
    """Return the routes of both forms."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def refused(request: Request, status: HTTPStatus, why: Words) -> Response:
        telling = at.telling(request)
        said = why.in_language(telling.words.code)
        title = telling.words.refused_title
        return at.answer(request, "trouble.html", telling, status=status, title=title, hint=said)

    def keep(request: Request, code: str, number: int, sent: bytes, by: str) -> Response:
        try:
            add_photo(parts.records, parts.book, number, sent, by=by, at=parts.clock.now())
        except UnknownThing as trouble:
            raise HTTPException(HTTPStatus.NOT_FOUND) from trouble
        except UnknownWriter as trouble:
            unknown = at.telling(request).words.unknown_person
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, unknown) from trouble
        except (BadPhoto, HasPhoto, TooLateForPhoto) as trouble:
            status = HTTPStatus.CONFLICT
            if isinstance(trouble, BadPhoto):
                status = HTTPStatus.UNPROCESSABLE_ENTITY
            return refused(request, status, why_not(trouble))
        return RedirectResponse(f"/bench/{code}", status_code=HTTPStatus.SEE_OTHER)

    @router.post("/bench/{code}/photo")
    async def add(request: Request, code: str) -> Response:
        """Keep a photo with what was just written down; the form is not read if it is too long."""
        batch = next((one for one in parts.site.batch if one.code == code), None)
        if batch is None:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        length = request.headers.get("content-length", "")
        if not length.isdecimal():
            raise HTTPException(HTTPStatus.LENGTH_REQUIRED)
        if int(length) > MOST_BYTES + MOST_AROUND_BYTES:
            too_large = FAULTS[PhotoFault.TOO_LARGE]
            status = HTTPStatus.REQUEST_ENTITY_TOO_LARGE
            return await run_in_threadpool(refused, request, status, too_large)
        async with request.form(max_files=1, max_fields=8) as form:
            photo, number, by = form.get("photo"), str(form.get("number")), str(form.get("by"))
            if not number.isdecimal() or not 1 <= int(number[:12]) <= _MOST_NUMBER:
                raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY)
            sent = await photo.read() if isinstance(photo, UploadFile) else b""
        return await run_in_threadpool(keep, request, batch.code, int(number), sent, by[:40])

    @router.post("/batches/{code}/photos/{number}/remove")
    def take_away(
        request: Request,
        code: str,
        number: Annotated[int, Path(ge=1, le=_MOST_NUMBER)],
        by: Annotated[str, Form(max_length=40)],
        why: Annotated[str, Form(max_length=300)] = "",
    ) -> Response:
        """Wipe a photo, as a lead."""
        if all(one.code != code for one in parts.site.batch):
            raise HTTPException(HTTPStatus.NOT_FOUND)
        if not leads(signed_in(request), by, parts.site):
            return refused(request, HTTPStatus.FORBIDDEN, LEAD_ONLY)
        try:
            remove(parts.records, parts.book, number, by=by, at=parts.clock.now(), why=why.strip())
        except UnknownThing as trouble:
            raise HTTPException(HTTPStatus.NOT_FOUND) from trouble
        except UnknownWriter as trouble:
            unknown = at.telling(request).words.unknown_person
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, unknown) from trouble
        return RedirectResponse(f"/batches/{code}#seen", status_code=HTTPStatus.SEE_OTHER)

    return router
