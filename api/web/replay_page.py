"""The page of replays: what is asked for, files shown before they are used, how far it is."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool

from api.replays.files import Given
from api.replays.looking import look_at_all
from api.replays.receiving import STATUS, NotTaken
from api.replays.span import Days
from api.replays.state import RUNS, Asked, Busy, NotShown, Stage, UnknownReplay
from api.v1.replays import day_in, drained, received
from api.watch.clock import milliseconds
from api.web.door import MOST_FIELDS
from api.web.replay_files import options_in, shown_files
from api.web.replay_told import told_page
from api.web.words.replay import replay_words

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.responses import Response

    from api.replays.looking import Look
    from api.replays.receiving import Receiver
    from api.replays.running import Replays
    from api.replays.state import Replay
    from api.web.pages import Desk
    from api.web.replay_files import ShownFile

ADDRESS = "/replay"


def replay_router(at: Desk, replays: Replays) -> APIRouter:
    """Return the routes of the page and its forms."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def looks_at(replay: Replay) -> tuple[Look, ...]:
        return look_at_all(replay.asked.files, parts.site, now_ms=milliseconds(parts.clock))

    def page(request: Request, *, status: int = 200, wrong: str = "") -> Response:
        telling = at.telling(request)
        replay = replays.now
        files: tuple[ShownFile, ...] = ()
        if replay is not None and replay.stage is Stage.SHOWN:
            files = shown_files(looks_at(replay), parts.site, telling)
        outcome = None if replay is None else replay.outcome
        told = None
        if replay is not None and outcome is not None:
            told = told_page(replay, outcome, parts, telling)
        return at.answer(
            request,
            "replay.html",
            telling,
            status=status,
            p=replay_words(telling.words.code),
            replay=replay,
            runs=replay is not None and replay.stage in RUNS,
            percent=0 if replay is None else round(replay.share * 100),
            files=files,
            told=told,
            wrong=wrong,
        )

    def back() -> Response:
        return RedirectResponse(ADDRESS, status_code=HTTPStatus.SEE_OTHER)

    def taken(request: Request, folder: Path, form: Receiver) -> Response:
        """Show the files of a form, or begin where there is none to be shown."""
        words = replay_words(at.telling(request).words.code)

        def typed(name: str) -> str:
            return "".join(form.fields.get(name, ()))

        refused = int(HTTPStatus.UNPROCESSABLE_ENTITY)
        try:
            days = Days(day_in(typed("from")), day_in(typed("to")))
        except ValueError:
            return page(request, status=refused, wrong=words.not_a_day)
        if days.first is not None and days.last is not None and days.last < days.first:
            return page(request, status=refused, wrong=words.days_turned)
        if typed("of") == "files" and not form.files:
            return page(request, status=refused, wrong=words.nothing_chosen)
        given = tuple(Given(path) for path in form.files)
        shown = replays.show(Asked(given, days, typed("how") == "hindsight"), folder)
        if not given:
            replays.begin(shown.number)
        return back()

    @router.get("/replay")
    def show(request: Request) -> Response:
        return page(request)

    @router.post("/replay")
    async def ask(request: Request) -> Response:
        words = replay_words(at.telling(request).words.code)
        try:
            with replays.receiving() as folder:
                form = await received(request, folder)
                return await run_in_threadpool(taken, request, folder, form)
        except Busy:
            await drained(request)
            status, wrong = int(HTTPStatus.CONFLICT), words.busy
        except NotTaken as trouble:
            status, wrong = int(STATUS[trouble.why]), words.not_taken[trouble.why]
            if trouble.name:
                wrong = f"{words.in_file.format(name=trouble.name)}. {wrong}"
        return await run_in_threadpool(page, request, status=status, wrong=wrong)

    def begun(request: Request, number: int, fields: dict[str, str]) -> Response:
        words = replay_words(at.telling(request).words.code)
        try:
            replay = replays.of(number)
            before = looks_at(replay)
            files = [
                Given(one.given.path, options_in(fields, place, one))
                for place, one in enumerate(before)
            ]
            replay = replays.say(number, files)
            # Only what was shown is judged: a file that could not be read before is shown first.
            ready = all(one.detection is not None for one in (*before, *looks_at(replay)))
            if fields.get("press") == "run" and ready:
                replays.begin(number)
        except UnknownReplay:
            return page(request, status=int(HTTPStatus.NOT_FOUND), wrong=words.gone)
        except NotShown:
            return page(request, status=int(HTTPStatus.CONFLICT), wrong=words.busy)
        return back()

    @router.post("/replay/begin")
    async def begin(request: Request) -> Response:
        async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
            fields = {name: value for name, value in form.items() if isinstance(value, str)}
        typed = fields.get("number", "")
        number = int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 16 else 0
        return await run_in_threadpool(begun, request, number, fields)

    @router.post("/replay/end")
    def end(request: Request, number: Annotated[int, Form(ge=0, le=2**53)]) -> Response:
        try:
            replays.end(number)
        except UnknownReplay:
            words = replay_words(at.telling(request).words.code)
            return page(request, status=int(HTTPStatus.NOT_FOUND), wrong=words.gone)
        return back()

    return router
