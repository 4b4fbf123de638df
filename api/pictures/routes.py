"""The picture of an alarm over HTTP, for pages and for those who were sent a link to it."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Query
from fastapi.responses import Response

from api.pictures.alarm_chart import Reader
from api.records.alarms import UnknownAlarm, alarm
from api.records.session import reading
from api.v1.numbers import Number
from api.v1.problems import Problem

if TYPE_CHECKING:
    from api.parts import Parts
    from api.pictures.pictures import Pictures

PNG = "image/png"
NO_PICTURE = "Nothing was seen of what alarm {id} speaks of, so there is nothing to draw."


class PngResponse(Response):
    """A picture."""

    media_type = PNG


def picture_router(parts: Parts, pictures: Pictures) -> APIRouter:
    """Return both addresses of an alarm's picture."""
    router = APIRouter()

    @router.get("/api/v1/alarms/{alarm_id}/picture", tags=["alarms"], response_class=PngResponse)
    def one_picture(
        alarm_id: Number,
        language: Annotated[Literal["en", "es"], Query()] = "en",
        unit: Annotated[Literal["degC", "degF"], Query()] = "degC",
    ) -> Response:
        """Return the alarm's chart as PNG: what was felt around it, and the limit."""
        return _answer(alarm_id, language, unit)

    @router.get(
        "/alarms/{alarm_id}/picture.png", include_in_schema=False, response_class=PngResponse
    )
    def same_picture(
        alarm_id: Number,
        language: Annotated[Literal["en", "es"], Query()] = "en",
        unit: Annotated[Literal["degC", "degF"], Query()] = "degC",
    ) -> Response:
        return _answer(alarm_id, language, unit)

    def _answer(alarm_id: int, language: str, unit: str) -> Response:
        with reading(parts.records) as db:
            try:
                one = alarm(db, alarm_id)
            except UnknownAlarm as trouble:
                raise Problem(HTTPStatus.NOT_FOUND, f"There is no alarm {alarm_id}.") from trouble
        made = pictures.of((one,), Reader(language, unit == "degF", parts.clock.now()))
        if made is None:
            raise Problem(HTTPStatus.NOT_FOUND, NO_PICTURE.format(id=alarm_id))
        return PngResponse(made)

    return router
