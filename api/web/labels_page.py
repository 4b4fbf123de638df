"""Labels to print: choose batches and a sheet, get a PDF; and where a label's code leads."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException
from starlette.responses import Response

from api.labels.drawing import MOST_LABELS, CannotDraw, Label, sheet_pdf
from api.labels.sheets import SHEETS
from api.web.words.labels import label_words
from rules.model.batch import ENDED

if TYPE_CHECKING:
    from api.labels.sheets import Sheet
    from api.web.pages import Desk
    from api.web.words.en import English
    from rules.model.batch import Batch

USUAL_SHEET = "a4-24"
MOST_COPIES = 200


def label_of(batch: Batch, words: English, *, base_url: str) -> Label:
    """Return what the label of a batch says in one language.

    The day is written with its month in words, so that nobody reads it the wrong way round.
    """
    own = label_words(words.code)
    on = batch.grafted_on
    day = f"{on.day} {words.months[on.month - 1]} {on.year}"
    kind = ", ".join(
        text for text in (words.method[batch.method], words.cover[batch.cover]) if text
    )
    return Label(
        code=batch.code,
        lines=(
            f"{batch.species} {batch.cultivar}",
            own.on_stock.format(rootstock=batch.rootstock),
            kind,
            day,
            own.plants.format(count=batch.count, grafter=batch.grafter),
        ),
        address=f"{base_url.rstrip('/')}/b/{batch.code}",
    )


def labels_pdf(
    batches: tuple[Batch, ...],
    words: English,
    *,
    sheet: Sheet,
    copies: int,
    first_place: int,
    base_url: str,
) -> bytes:
    """Return the PDF of so many copies of each batch's label; CannotDraw says what to change."""
    labels = [label_of(batch, words, base_url=base_url) for batch in batches]
    every = [label for label in labels for _ in range(copies)]
    title = label_words(words.code).labels
    return sheet_pdf(sheet, every, first_place=first_place, title=title)


def labels_router(at: Desk) -> APIRouter:
    """Return the routes of labels."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    @router.get("/labels")
    def labels(request: Request) -> Response:
        telling = at.telling(request)
        standing = [
            (batch, label_of(batch, telling.words, base_url=parts.settings.base_url))
            for batch in parts.site.batch
            if batch.stage_at(telling.now) not in ENDED
        ]
        return at.answer(
            request,
            "labels.html",
            telling,
            p=label_words(telling.words.code),
            batches=standing,
            usual=USUAL_SHEET,
            most_copies=MOST_COPIES,
        )

    @router.get("/labels.pdf")
    def pdf(
        request: Request,
        batch: Annotated[list[str], Query(max_length=MOST_LABELS)],
        sheet: str = USUAL_SHEET,
        first: Annotated[int, Query(ge=1, le=100)] = 1,
        copies: Annotated[int, Query(ge=1, le=MOST_COPIES)] = 1,
    ) -> Response:
        telling = at.telling(request)
        known = {one.code: one for one in parts.site.batch}
        if sheet not in SHEETS or not set(batch) <= set(known):
            raise HTTPException(HTTPStatus.NOT_FOUND)
        try:
            drawn = labels_pdf(
                tuple(known[code] for code in dict.fromkeys(batch)),
                telling.words,
                sheet=SHEETS[sheet],
                copies=copies,
                first_place=first - 1,
                base_url=parts.settings.base_url,
            )
        except CannotDraw as trouble:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, str(trouble)) from trouble
        return Response(
            drawn,
            media_type="application/pdf",
            headers={"Content-Disposition": f'inline; filename="labels-{sheet}.pdf"'},
        )

    @router.get("/b/{code}")
    def scanned(code: str) -> Response:
        """Lead from a label to its batch at the bench, also where it was typed in small letters."""
        for batch in parts.site.batch:
            if batch.code.casefold() == code.casefold():
                return RedirectResponse(
                    f"/bench/{batch.code}", status_code=HTTPStatus.TEMPORARY_REDIRECT
                )
        raise HTTPException(HTTPStatus.NOT_FOUND)

    return router
