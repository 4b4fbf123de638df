"""The page of the night: what may happen and who goes; at dawn what happened and what is first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from api.drawing.day import day_of, instant_of
from api.night_sheet.routes import kind_now
from api.night_sheet.sheet import MorningSheet
from api.web.day_charts import frame_of
from api.web.pictures import day_picture, ribbon_of
from rules.sheet_times import SheetKind

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.night_sheet.sheets import NightSheets
    from api.v1.sight import Sight
    from api.web.pages import Desk


def tonight_router(at: Desk, sight: Sight, sheets: NightSheets) -> APIRouter:
    """Return the route of the page."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    @router.get("/tonight")
    def tonight(request: Request, sheet: Annotated[SheetKind | None, Query()] = None) -> Response:
        telling = at.telling(request)
        kind = sheet or kind_now(parts)
        made = sheets.sheet(kind)
        told = sheets.told(made, language=telling.words.code, fahrenheit=telling.fahrenheit)
        place = parts.site.site
        shown = instant_of(made.first) if isinstance(made, MorningSheet) else made.at
        picture = day_picture(sight, place, day_of(shown, place))
        drawn = {
            one.batch.code: ribbon
            for one in made.batches
            if one.covered and (ribbon := ribbon_of(picture, one.batch, telling)) is not None
        }
        return at.answer(
            request,
            "tonight.html",
            telling,
            page=told,
            kind=kind.value,
            drawn=drawn,
            hours=[text for _, text in frame_of(picture, telling).hours],
        )

    return router
