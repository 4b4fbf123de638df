"""The web application: pages, events and API, and how each says that something went wrong."""

from __future__ import annotations

import logging
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.staticfiles import StaticFiles

from api.accounts.caller import signed_in
from api.accounts.keeping import AccountKeeping
from api.accounts.signing import Signing
from api.night_sheet.routes import sheet_router
from api.night_sheet.sheets import NightSheets
from api.pictures.pictures import Pictures
from api.pictures.routes import picture_router
from api.replays.running import Replays
from api.reviewing import Reviews
from api.v1.description import describe
from api.v1.problems import Problem, detail_of, problem_answer, wrongs_in
from api.v1.router import v1_router
from api.v1.unchanged import Unchanged
from api.web.account_pages import own_account_router
from api.web.accounts_page import accounts_router
from api.web.adopt_page import adopt_router
from api.web.bench_pages import bench_router
from api.web.bounded import Bounded
from api.web.cautions_page import cautions_router
from api.web.charts_page import charts_router
from api.web.door import Door, demand_classed
from api.web.guard import Guard, headers_for
from api.web.hold_pages import holding_router
from api.web.house_page import house_router
from api.web.labels_page import labels_router
from api.web.live import Live, live_router
from api.web.machine_pages import machine_router
from api.web.pages import Desk, desk, pages_router
from api.web.people_pages import people_router
from api.web.photo_pages import photo_pages_router
from api.web.plan_edit_page import plan_edit_router
from api.web.plans_page import plans_router
from api.web.replay_page import replay_router
from api.web.review_routes import review_router
from api.web.rings_page import rings_page_router
from api.web.rota_pages import rota_router
from api.web.settings_page import settings_router
from api.web.sign_in_pages import sign_in_router
from api.web.todo_page import todo_page_router
from api.web.tonight_page import tonight_router
from collector.stores.base import StoreFailure

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from api.parts import Parts
    from api.v1.sight import Sight
    from rules.model.site import Site

log = logging.getLogger(__name__)

NOT_VALID = "The request is not as the API takes it; see errors."
OUR_FAULT = "Something went wrong on this side. The log says more; the watch goes on."
STORE_AWAY = "The store of readings does not answer. The log says more."


def create_app(parts: Parts, sight: Sight) -> FastAPI:
    """Build the application. It starts nothing: the watch and the collector run elsewhere.

    `sight` is shared with what draws for messages: a day is worked out once for both.
    """
    live = Live(parts)
    at = desk(parts)
    signing, keeping = accounts_in(parts)
    replays = Replays(parts)

    def still_signed(request: Request) -> bool:
        return parts.settings.accounts == "off" or signing.still(signed_in(request))

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        async with live.looking():
            yield
        await run_in_threadpool(replays.close)

    app = FastAPI(
        title="graftvigil",
        summary="What grafted batches feel, how that sits with what they need, and who was told.",
        version="1",
        openapi_url="/api/v1/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
        dependencies=[Depends(demand_classed)],
    )
    reviews = Reviews(parts)
    app.include_router(v1_router(parts, sight, reviews, replays))
    pictures = Pictures(parts, sight)
    sheets = NightSheets(parts, sight, pictures)
    app.include_router(picture_router(parts, pictures))
    app.include_router(sheet_router(parts, sheets))
    app.include_router(tonight_router(at, sight, sheets))
    app.include_router(live_router(live, still_signed))
    app.include_router(pages_router(at, sight))
    app.include_router(charts_router(at, sight))
    app.include_router(review_router(at, reviews))
    app.include_router(adopt_router(at))
    app.include_router(people_router(at))
    app.include_router(rota_router(at))
    app.include_router(plans_router(at))
    app.include_router(plan_edit_router(at))
    app.include_router(settings_router(at))
    app.include_router(holding_router(at))
    app.include_router(labels_router(at))
    app.include_router(bench_router(at, sight))
    app.include_router(photo_pages_router(at))
    app.include_router(todo_page_router(at))
    app.include_router(house_router(at, sight))
    app.include_router(rings_page_router(at))
    app.include_router(replay_router(at, replays))
    app.include_router(cautions_router(at))
    app.include_router(machine_router(parts))
    if parts.settings.accounts == "on":
        app.include_router(sign_in_router(at, signing, keeping))
        app.include_router(own_account_router(at, signing, keeping))
        app.include_router(accounts_router(at, keeping))
    app.mount("/static", StaticFiles(directory=Path(__file__).parent / "static"), name="static")
    _add_answers_to_trouble(app, at)
    describe(app)
    app.add_middleware(Unchanged)
    app.add_middleware(Bounded)
    if parts.settings.accounts == "on":
        app.add_middleware(Door, signing=signing, at=at)
    app.add_middleware(Guard, base_url=parts.settings.base_url)
    return app


def accounts_in(parts: Parts) -> tuple[Signing, AccountKeeping]:
    """Return what signs people in, and what keeps their accounts."""

    def site() -> Site:
        return parts.site

    signing = Signing(parts.records, parts.clock, site)
    return signing, AccountKeeping(parts.records, parts.clock, site, signing)


def _add_answers_to_trouble(app: FastAPI, at: Desk) -> None:
    @app.exception_handler(HTTPException)
    def refused(request: Request, trouble: HTTPException) -> Response:
        if _is_api(request):
            return problem_answer(
                trouble.status_code,
                detail_of(trouble),
                instance=request.url.path,
                errors=trouble.errors if isinstance(trouble, Problem) else None,
                headers=trouble.headers,
            )
        return _page(at, request, trouble.status_code, trouble)

    @app.exception_handler(RequestValidationError)
    def not_valid(request: Request, trouble: RequestValidationError) -> Response:
        if _is_api(request):
            return problem_answer(
                422, NOT_VALID, instance=request.url.path, errors=wrongs_in(trouble)
            )
        return _page(at, request, 404 if request.method == "GET" else 422, None)

    @app.exception_handler(StoreFailure)
    def store_away(request: Request, trouble: StoreFailure) -> Response:
        log.error("web.store_failed route=%s why=%s", _route(request), trouble)
        if _is_api(request):
            return problem_answer(503, STORE_AWAY, instance=request.url.path)
        return _page(at, request, 503, None)

    @app.exception_handler(Exception)
    def our_fault(request: Request, trouble: Exception) -> Response:
        log.error("web.fault route=%s", _route(request), exc_info=trouble)
        if _is_api(request):
            answer: Response = problem_answer(500, OUR_FAULT, instance=request.url.path)
        else:
            answer = _page(at, request, 500, None)
        for name, value in headers_for(at.parts.settings.base_url).items():
            answer.headers[name] = value
        return answer


def _route(request: Request) -> str:
    """Return the form of the address, fit for a log: the address itself may hold a link's token."""
    return str(getattr(request.scope.get("route"), "path", "-"))


def _is_api(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _page(at: Desk, request: Request, status: int, trouble: HTTPException | None) -> Response:
    telling = at.telling(request)
    words = telling.words
    if status in (404, 405):
        title, hint = words.not_found_title, words.not_found_hint
    elif status >= 500:
        title, hint = words.went_wrong_title, words.went_wrong_hint
    else:
        title, hint = words.refused_title, str(trouble.detail) if trouble else ""
    return at.answer(request, "trouble.html", telling, status=status, title=title, hint=hint)
