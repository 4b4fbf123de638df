"""The addresses of a review: the page, and the same on paper; also as files that stand alone."""

from __future__ import annotations

from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup
from starlette.exceptions import HTTPException

from api.records.session import reading
from api.web.pages import desk
from api.web.review_page import review_page, stretches, worst_day_in
from api.web.review_pdf import review_pdf
from api.web.span_picture import drawn_as_picture, span_words
from api.web.words.review import review_words

if TYPE_CHECKING:
    from api.parts import Parts
    from api.reviewing import Reviewed, Reviews
    from api.web.pages import Desk
    from api.web.telling import Telling

STYLE = Path(__file__).parent / "static" / "style.css"


def review_router(at: Desk, reviews: Reviews) -> APIRouter:
    """Return the routes of the page and of its print."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def found(code: str) -> Reviewed:
        try:
            return reviews.of(code)
        except LookupError as trouble:
            raise HTTPException(HTTPStatus.NOT_FOUND) from trouble

    @router.get("/batches/{code}/review")
    def review(request: Request, code: str) -> Response:
        telling = at.telling(request)
        page = review_page(parts, found(code), telling)
        return at.answer(
            request,
            "review.html",
            telling,
            page=page,
            r=review_words(telling.words.code),
            alone=False,
        )

    @router.get("/batches/{code}/review.pdf")
    def on_paper(request: Request, code: str) -> Response:
        telling = at.telling(request)
        made = pdf_of(parts, found(code), telling)
        head = {"Content-Disposition": f'inline; filename="{code}-review.pdf"'}
        return Response(made, media_type="application/pdf", headers=head)

    return router


def alone(parts: Parts, found: Reviewed, telling: Telling) -> str:
    """Return the page as one file that needs nothing beside it."""
    return (
        desk(parts)
        .templates.get_template("review_alone.html")
        .render(
            w=telling.words,
            r=review_words(telling.words.code),
            page=review_page(parts, found, telling),
            site_title=parts.site.site.title,
            style=Markup(STYLE.read_text(encoding="utf-8")),  # noqa: S704 - our own file
            alone=True,
        )
    )


def pdf_of(parts: Parts, found: Reviewed, telling: Telling) -> bytes:
    """Return the review on A4, with the line of time as pictures."""
    page = review_page(parts, found, telling)
    night = worst_day_in(found, telling)
    first, end = found.life.first_minute, found.life.first_minute + found.life.minutes
    spans = [(first, end), *([night] if night is not None else [])]
    pictures: list[list[bytes]] = []
    with reading(parts.records) as db:
        for start, stop in spans:
            words = span_words(start, stop, telling) if start < stop else ""
            pictures.append(
                [
                    drawn_as_picture(one, found.watch, telling, span=words)
                    for one in (stretches(parts, db, found, start, stop) if start < stop else ())
                ]
            )
    return review_pdf(page, review_words(telling.words.code), pictures)
