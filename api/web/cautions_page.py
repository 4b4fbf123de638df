"""The page of cautions, which anybody may read: it tells nothing of the nursery but its name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.alerts.caution_words import caution_words

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.web.pages import Desk


def cautions_router(at: Desk) -> APIRouter:
    """Return the route of the page."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    @router.get("/cautions")
    def cautions(request: Request) -> Response:
        telling = at.telling(request)
        page = caution_words(telling.words.code)
        return at.answer(request, "cautions.html", telling, page=page)

    return router
