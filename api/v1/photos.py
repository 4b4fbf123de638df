"""Photos of what was seen: sent as they come out of a phone, read small or whole, removed."""

from __future__ import annotations

from enum import StrEnum
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Request, Response
from pydantic import AwareDatetime, BaseModel
from starlette.concurrency import run_in_threadpool

from api.accounts.caller import leads, signed_in
from api.entering import UnknownThing
from api.photos.keeping import (
    Added,
    BadPhoto,
    HasPhoto,
    TooLateForPhoto,
    UnknownWriter,
    add_photo,
    remove,
)
from api.photos.readying import MEDIA_TYPE, MOST_BYTES, PhotoFault
from api.photos.words import LEAD_ONLY, why_not
from api.records.photos import picture_of
from api.records.session import reading
from api.v1.problems import Problem, Wrong
from api.v1.unchanged import is_among

if TYPE_CHECKING:
    from api.parts import Parts
    from rules.model.words import Words

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Person = Annotated[str, Query(min_length=1, max_length=40)]
Why = Annotated[str, Query(max_length=300)]
KEPT_BY_BROWSERS = "private, max-age=3600"
"""A photo never changes, but it may be removed: an hour later nobody's browser shows it."""

_STATUS = {
    PhotoFault.EMPTY: HTTPStatus.UNPROCESSABLE_ENTITY,
    PhotoFault.TOO_LARGE: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    PhotoFault.NO_PHOTO: HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
    PhotoFault.TOO_MANY_PIXELS: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    PhotoFault.UNREADABLE: HTTPStatus.UNPROCESSABLE_ENTITY,
}
_BYTES = {"schema": {"type": "string", "format": "binary"}}
_SENT = {
    "required": True,
    "content": dict.fromkeys(("image/jpeg", "image/png", "image/webp"), _BYTES),
}
_PICTURE: dict[int | str, dict[str, Any]] = {
    200: {"description": "The photo.", "content": {MEDIA_TYPE: _BYTES}},
    304: {"description": "It is still the one whose ETag was sent back."},
}


class JpegResponse(Response):
    """A photo."""

    media_type = MEDIA_TYPE


class Size(StrEnum):
    """How large a photo is asked for: at most 320 or 1600 pixels along its longer side."""

    SMALL = "small"
    LARGE = "large"


class PhotoBody(BaseModel):
    """A photo of an observation as it is kept; width and height in pixels, `size` in bytes."""

    observation: int
    width: int
    height: int
    size: int
    by: str
    added_at: AwareDatetime


def photos_router(parts: Parts) -> APIRouter:
    """Return the routes under /observations/{number}/photo."""
    router = APIRouter(prefix="/observations/{number}/photo", tags=["photos"])

    @router.post(
        "",
        status_code=HTTPStatus.CREATED,
        responses={200: {"model": PhotoBody, "description": "The same was kept before."}},
        openapi_extra={"requestBody": _SENT},
    )
    async def add(request: Request, response: Response, number: Number, by: Person) -> PhotoBody:
        """Keep a photo with what was seen, one each, within a day: the body is the file itself.

        It is drawn anew at 1600 pixels or less; place, time and all else in the file are dropped.
        """
        sent = await whole(request)
        kept = await run_in_threadpool(_added, parts, number, sent, by)
        if not kept.new:
            response.status_code = HTTPStatus.OK
        one = kept.photo
        return PhotoBody(
            observation=one.observation,
            width=one.width,
            height=one.height,
            size=one.size,
            by=one.by,
            added_at=one.added_at,
        )

    @router.get("", response_class=JpegResponse, responses=_PICTURE)
    def read(
        number: Number,
        size: Annotated[Size, Query()] = Size.LARGE,
        if_none_match: Annotated[str, Header(max_length=1000)] = "",
    ) -> JpegResponse:
        """Return the photo of an observation as JPEG."""
        with reading(parts.records) as db:
            found = picture_of(db, number, small=size is Size.SMALL)
        if found is None:
            raise Problem(HTTPStatus.NOT_FOUND, f"Observation {number} has no photo.")
        tag = f'"photo-{found[0]}-{size.value}"'
        headers = {
            "cache-control": KEPT_BY_BROWSERS,
            "etag": tag,
            "content-disposition": f'inline; filename="observation-{number}.jpg"',
        }
        if is_among(tag, if_none_match):
            return JpegResponse(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
        return JpegResponse(found[1], headers=headers)

    @router.delete("", status_code=HTTPStatus.NO_CONTENT)
    def removed(request: Request, number: Number, by: Person, note: Why = "") -> None:
        """Wipe the photo of an observation, as a lead; who added and who removed it stays."""
        if not leads(signed_in(request), by, parts.site):
            raise Problem(HTTPStatus.FORBIDDEN, LEAD_ONLY.en, errors=_wrongs(LEAD_ONLY))
        try:
            remove(parts.records, parts.book, number, by=by, at=parts.clock.now(), why=note)
        except UnknownThing as trouble:
            raise _nothing(number) from trouble
        except UnknownWriter as trouble:
            raise _nobody(by) from trouble

    return router


async def whole(request: Request) -> bytes:
    """Return the body of a request; of one that is too large, one byte more than it may have."""
    held = bytearray()
    async for piece in request.stream():
        held += piece
        if len(held) > MOST_BYTES:
            return bytes(held[: MOST_BYTES + 1])
    return bytes(held)


def _added(parts: Parts, number: int, sent: bytes, by: str) -> Added:
    try:
        return add_photo(parts.records, parts.book, number, sent, by=by, at=parts.clock.now())
    except UnknownThing as trouble:
        raise _nothing(number) from trouble
    except UnknownWriter as trouble:
        raise _nobody(by) from trouble
    except BadPhoto as trouble:
        words = why_not(trouble)
        raise Problem(_STATUS[trouble.fault], words.en, errors=_wrongs(words)) from trouble
    except (HasPhoto, TooLateForPhoto) as trouble:
        words = why_not(trouble)
        raise Problem(HTTPStatus.CONFLICT, words.en, errors=_wrongs(words)) from trouble


def _wrongs(words: Words) -> list[Wrong]:
    return [Wrong(where=code, detail=words.in_language(code)) for code in ("en", "es")]


def _nothing(number: int) -> Problem:
    return Problem(HTTPStatus.NOT_FOUND, f"There is no observation {number}.")


def _nobody(by: str) -> Problem:
    return Problem(HTTPStatus.UNPROCESSABLE_ENTITY, f"Nobody has the id {by!r}.")
