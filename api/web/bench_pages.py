"""The page at the bench: two taps to write down what was seen or done, and one to take it back.

Everything works as a plain form; the script only keeps what is tapped while there is no network.
"""

from __future__ import annotations

import secrets
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.accounts.caller import leads, signed_in
from api.at_bench import AgainstPlan, LeadOnly, declare, says, undo, write_down
from api.entering import Refused, Seeing, TooLate, UnknownThing
from api.records.entries import ChangedMeanwhile
from api.web.bench_deeds import bench_page, deed_fields
from api.web.identity import may
from api.web.pages import keep_choice, own_address
from api.web.words.bench import bench_words
from api.web.words.photos import photo_words
from rules.model.batch import Stage

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.v1.sight import Sight
    from api.web.pages import Desk
    from api.web.telling import Telling
    from rules.model.batch import Batch

WORKER = Path(__file__).parent / "static" / "bench-worker.js"
Text = Annotated[str, Form(max_length=300)]
Name = Annotated[str, Form(max_length=40)]
Figure = Annotated[str, Form(max_length=7, pattern=r"^\s*\d*\s*$")]
"""Figures as an empty field sends them too."""


def bench_router(at: Desk, sight: Sight) -> APIRouter:
    """Return the routes of the page at the bench."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def batch_of(code: str) -> Batch:
        folded = code.casefold()
        found = next((one for one in parts.site.batch if one.code.casefold() == folded), None)
        if found is None:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        return found

    def page(request: Request, code: str, *, status: int = 200, wrong: str = "") -> Response:
        telling = at.telling(request)
        return at.answer(
            request,
            "bench.html",
            telling,
            status=status,
            page=bench_page(parts, sight.present(), batch_of(code), telling),
            p=bench_words(telling.words.code),
            lead=telling.person(parts.site.lead),
            photos=photo_words(telling.words.code),
            wrong=wrong,
            token=secrets.token_hex(8),
        )

    def refusal(trouble: Exception, telling: Telling) -> tuple[int, str]:
        own = bench_words(telling.words.code)
        match trouble:
            case AgainstPlan():
                said = says(trouble.verdict, telling.words.code)
                return HTTPStatus.CONFLICT, f"{own.not_kept} {said}"
            case LeadOnly():
                said = own.lead_demanded.format(lead=telling.person(parts.site.lead))
                return HTTPStatus.FORBIDDEN, f"{own.not_kept} {said}"
            case TooLate():
                return HTTPStatus.CONFLICT, own.too_late
            case Refused():
                said = " ".join(f"{one.field}: {one.problem}. {one.fix}" for one in trouble.faults)
                return HTTPStatus.UNPROCESSABLE_ENTITY, f"{own.not_kept} {said}"
            case _:
                return HTTPStatus.CONFLICT, f"{own.not_kept} {trouble}"

    def back_to(address: str, by: str) -> Response:
        response = RedirectResponse(own_address(address), status_code=HTTPStatus.SEE_OTHER)
        keep_choice(response, "who", by)
        return response

    @router.get("/bench-worker.js")
    def worker() -> Response:
        """Serve the worker that keeps the page for when there is no network."""
        headers = {"service-worker-allowed": "/b", "cache-control": "no-cache"}
        return FileResponse(WORKER, media_type="text/javascript", headers=headers)

    @router.get("/bench/{code}")
    def at_bench(request: Request, code: str) -> Response:
        """Show the page to write on; to who may not write, the page of the batch."""
        signed = signed_in(request)
        if signed is not None and not may(signed, "tend"):
            to = f"/batches/{batch_of(code).code}"
            return RedirectResponse(to, status_code=HTTPStatus.SEE_OTHER)
        return page(request, code)

    @router.post("/bench/{code}")
    def write(
        request: Request,
        code: str,
        what: Annotated[str, Form(max_length=140)],
        by: Name,
        token: Name = "",
        note: Text = "",
        alive: Figure = "",
        dead: Figure = "",
        back: Text = "",
        override: Annotated[bool, Form()] = False,  # noqa: FBT002 - a field of a form
    ) -> Response:
        batch = batch_of(code)
        fields = deed_fields(what)
        if fields is None:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY)
        fields["note"] = note.strip()
        for name, figure in (("alive", alive), ("dead", dead)):
            if figure.strip() and fields["seen"] == "counted":
                fields[name] = int(figure)
        device = f"{token}.{what}"[:80] if token else None
        seeing = Seeing(batch.code, fields, by, device)
        now = parts.clock.now()
        try:
            write_down(
                parts.records,
                parts.book,
                seeing,
                at=now,
                override=override,
                lead=leads(signed_in(request), by, parts.site),
            )
        except (Refused, AgainstPlan, LeadOnly, ChangedMeanwhile, UnknownThing) as trouble:
            status, wrong = refusal(trouble, at.telling(request))
            return page(request, batch.code, status=status, wrong=wrong)
        parts.refresh()
        return back_to(back or f"/bench/{batch.code}", by)

    @router.post("/bench/{code}/take-back")
    def take_one_back(
        request: Request,
        code: str,
        number: Annotated[int, Form(ge=1, le=2**31 - 1)],
        by: Name,
        back: Text = "",
    ) -> Response:
        batch = batch_of(code)
        try:
            undo(parts.records, parts.book, number, by=by, at=parts.clock.now())
        except UnknownThing as trouble:
            raise HTTPException(HTTPStatus.NOT_FOUND) from trouble
        except (Refused, TooLate, ChangedMeanwhile) as trouble:
            status, wrong = refusal(trouble, at.telling(request))
            return page(request, batch.code, status=status, wrong=wrong)
        parts.refresh()
        return back_to(back or f"/bench/{batch.code}", by)

    @router.post("/bench/{code}/stage")
    def move_stage(
        request: Request,
        code: str,
        stage: Annotated[Stage, Form()],
        by: Name,
        because: Text = "",
        override: Annotated[bool, Form()] = False,  # noqa: FBT002 - a field of a form
    ) -> Response:
        batch = batch_of(code)
        try:
            declare(
                parts.records,
                parts.book,
                batch.code,
                stage,
                because=because.strip(),
                by=by,
                at=parts.clock.now(),
                override=override,
                lead=leads(signed_in(request), by, parts.site),
            )
        except (Refused, AgainstPlan, LeadOnly, ChangedMeanwhile) as trouble:
            status, wrong = refusal(trouble, at.telling(request))
            return page(request, batch.code, status=status, wrong=wrong)
        parts.refresh()
        return back_to(f"/bench/{batch.code}", by)

    @router.post("/who")
    def choose_who(by: Name, back: Text = "/") -> Response:
        if by not in {person.id for person in parts.site.person}:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY)
        return back_to(back, by)

    return router
