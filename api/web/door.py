"""The one place where it is decided whether a request is let in, for pages and the API alike.

Who asks is found by the cookie of a session or by a personal token; what the address asks for
stands in `api.accounts.roles`. In whose name something is done is decided here too: whoever is
signed in does it, and only a lead or a shared device may name somebody else.

Sessions need no token in each form: a browser says from which site a POST comes, the guard refuses
other sites, and here one that does not say is refused when it could carry a cookie.
"""

from __future__ import annotations

import json
from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, quote, urlencode

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse

from api.accounts.addresses import caller, networks
from api.accounts.roles import SENT_PIECEMEAL, Need, demand
from api.accounts.signing import Place
from api.v1.problems import Problem, problem_answer
from api.web.guard import SAFE
from api.web.identity import DEVICE_COOKIE, SESSION_COOKIE, cookie_name, demanded, is_secure
from api.web.words.accounts import account_words

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from api.accounts.roles import Demand
    from api.accounts.signing import Signed, Signing
    from api.web.pages import Desk

MOST_BODY_BYTES = 16 * 1024 * 1024
MOST_FIELDS = 10_000
"""A care plan with hundreds of limits has thousands of figures, and its text is one field."""
_FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")


def demand_classed(request: Request) -> None:
    """Refuse an address that stands in no class: forgotten is closed, not open."""
    asked = demanded(request)
    if asked is not None and not asked.needs:
        raise Problem(HTTPStatus.FORBIDDEN, "Nobody was given this address yet.")


class Door:
    """Wraps the application inside the guard. Built only where accounts are on."""

    def __init__(self, app: ASGIApp, *, signing: Signing, at: Desk) -> None:
        self._app = app
        self._signing = signing
        self._at = at
        settings = at.parts.settings
        self._secure = is_secure(settings.base_url)
        self._trusted = networks(settings.trusted_proxy)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on if its sender may, else say why not."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope, receive)
        state = scope.setdefault("state", {})
        asked = demand(scope["method"], scope["path"])
        state["demand"], state["signed"], state["place"] = asked, None, self._place(request)
        if Need.DEVICE in asked.needs or _tells_nothing(scope["path"]):
            await self._app(scope, receive, send)
            return
        signed = await run_in_threadpool(self._find, request)
        state["signed"] = signed
        refusal = await self._refusal(request, asked, signed)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        piecemeal = (scope["method"], scope["path"]) in SENT_PIECEMEAL
        if signed is None or scope["method"] in SAFE or asked.without_sign_in or piecemeal:
            await self._app(scope, receive, send)
            return
        named = await self._in_own_name(request, signed)
        if isinstance(named, bytes):
            await self._app(scope, _again(named, receive), send)
        else:
            await named(scope, receive, send)

    def _place(self, request: Request) -> Place:
        peer = request.client.host if request.client else ""
        forwarded = request.headers.getlist("x-forwarded-for")
        return Place(
            caller(peer, forwarded, self._trusted),
            request.headers.get("user-agent", ""),
            request.cookies.get(cookie_name(DEVICE_COOKIE, secure=self._secure)),
        )

    def _find(self, request: Request) -> Signed | None:
        given = request.headers.get("authorization")
        if given is not None:
            scheme, _, token = given.partition(" ")
            return self._signing.by_token(token.strip()) if scheme.lower() == "bearer" else None
        secret = request.cookies.get(cookie_name(SESSION_COOKIE, secure=self._secure))
        return None if secret is None else self._signing.by_session(secret)

    async def _refusal(
        self, request: Request, asked: Demand, signed: Signed | None
    ) -> Response | None:
        if signed is None and not asked.without_sign_in:
            return await run_in_threadpool(self._stranger, request)
        words = account_words(self._at.telling(request).words.code)
        headers = request.headers
        says_from_where = "sec-fetch-site" in headers or "origin" in headers
        by_token = signed is not None and signed.token is not None
        if request.method not in SAFE and not by_token and not says_from_where:
            return self._refused(request, HTTPStatus.FORBIDDEN, words.from_nowhere)
        if signed is not None and not asked.without_sign_in and not signed.may(asked):
            role = words.roles[(signed.token_role or signed.role).value]
            said = words.may_not.format(role=role)
            if asked.by_session_only and signed.session is None:
                said = words.no_token_may
            return self._refused(request, HTTPStatus.FORBIDDEN, said)
        return None

    def _stranger(self, request: Request) -> Response:
        """Lead to the page of signing in, or of setting up where nobody has an account yet."""
        path = request.url.path
        nobody = self._signing.nobody_yet()
        words = account_words(self._at.telling(request).words.code)
        said = words.set_up_first if nobody else words.sign_in_first
        if path.startswith("/api/"):
            return problem_answer(
                HTTPStatus.UNAUTHORIZED,
                said,
                instance=path,
                headers={"www-authenticate": "Bearer"},
            )
        if path in {"/events", "/metrics"}:
            return PlainTextResponse(said, status_code=HTTPStatus.UNAUTHORIZED)
        if nobody:
            return RedirectResponse("/set-up", status_code=HTTPStatus.SEE_OTHER)
        wanted = path if request.method in SAFE else "/"
        if request.url.query and request.method in SAFE:
            wanted = f"{wanted}?{request.url.query}"
        to = "/sign-in" if wanted == "/" else f"/sign-in?next={quote(wanted, safe='')}"
        return RedirectResponse(to, status_code=HTTPStatus.SEE_OTHER)

    async def _in_own_name(self, request: Request, signed: Signed) -> bytes | Response:
        """Return the body to pass on, or why not: it names someone else than whoever is signed in.

        A JSON object or a picture to the API that names nobody is given the name of whoever is
        signed in.
        """
        body = await _whole(request)
        if body is None:
            said = f"At most {MOST_BODY_BYTES // 1024 // 1024} MiB at once."
            return self._refused(request, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, said)
        scope = request.scope
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        named = [str(one) for one in request.query_params.getlist("by")]
        fields: object = None
        if kind in _FORMS:
            again = Request(scope, _again(body, request.receive))
            form_of = again.form(max_fields=MOST_FIELDS, max_part_size=MOST_BODY_BYTES)
            async with form_of as form:
                named += [str(one) for one in form.getlist("by")]
        else:
            fields = _object_in(body)
            if isinstance(fields, dict) and "by" in fields:
                named.append(str(fields["by"]))
        may_name = signed.names(self._at.parts.site)
        if not set(named) <= set(may_name):
            words = account_words(self._at.telling(request).words.code)
            said = words.not_your_name.format(names=", ".join(may_name))
            return self._refused(request, HTTPStatus.FORBIDDEN, said)
        if named or signed.acts_for is not None or not scope["path"].startswith("/api/"):
            return body
        if isinstance(fields, dict):
            body = json.dumps({**fields, "by": signed.account}).encode()
            MutableHeaders(scope=scope)["content-length"] = str(len(body))
        elif not body or kind.startswith("image/"):
            query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
            scope["query_string"] = urlencode([*query, ("by", signed.account)]).encode()
        return body

    def _refused(self, request: Request, status: HTTPStatus, said: str) -> Response:
        path = request.url.path
        if path.startswith("/api/"):
            return problem_answer(status, said, instance=path)
        telling = self._at.telling(request)
        title = telling.words.refused_title
        return self._at.answer(
            request, "trouble.html", telling, status=status.value, title=title, hint=said
        )


def _tells_nothing(path: str) -> bool:
    """Return whether it is the same for everybody, so that nobody needs to be looked up."""
    return path.startswith("/static/") or path == "/healthz"


async def _whole(request: Request) -> bytes | None:
    held = bytearray()
    async for piece in request.stream():
        held += piece
        if len(held) > MOST_BODY_BYTES:
            return None
    return bytes(held)


def _object_in(body: bytes) -> object:
    """Return what a body says as JSON; None if it is none, which the route itself then tells."""
    try:
        found: object = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return found


def _again(body: bytes, receive: Receive) -> Receive:
    """Return a receiver that gives a body that was read already, then whatever comes after it."""
    left = [body]

    async def receiving() -> Message:
        if left:
            return {"type": "http.request", "body": left.pop(), "more_body": False}
        return await receive()

    return receiving
