"""The pages that a stranger may see: signing in, the first set-up, and taking up an invitation."""

from __future__ import annotations

import logging
import math
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from api.accounts.caller import signed_in
from api.accounts.keeping import NotDone, TooWeak
from api.accounts.set_up import drop_code, is_code
from api.accounts.signing import Wait
from api.web.identity import (
    SESSION_COOKIE,
    cookie_name,
    drop_session,
    is_secure,
    keep_signed_in,
    place_of,
)
from api.web.pages import own_address
from api.web.words.accounts import account_words

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.accounts.keeping import AccountKeeping
    from api.accounts.signing import SignedIn, Signing
    from api.web.pages import Desk

log = logging.getLogger(__name__)

LONGEST_ADDRESS = 300
Typed = Annotated[str, Form(max_length=1000)]
Name = Annotated[str, Form(max_length=200)]


def wait_words(at: Desk, request: Request, wait: Wait) -> str:
    """Return how long someone has to wait, in words."""
    words = at.telling(request).words
    seconds = math.ceil(wait.span.total_seconds())
    return account_words(words.code).wait.format(time=words.lasting(seconds))


def sign_in_router(at: Desk, signing: Signing, keeping: AccountKeeping) -> APIRouter:
    """Return the routes of the pages that nobody needs to be signed in for."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    secure = is_secure(at.parts.settings.base_url)
    data = at.parts.settings.data

    def let_in(request: Request, signed: SignedIn, to: str) -> Response:
        """Answer with a new session; the one that the browser had before ends."""
        before = request.cookies.get(cookie_name(SESSION_COOKIE, secure=secure))
        if before is not None:
            signing.sign_out(before)
        response = RedirectResponse(own_address(to), status_code=HTTPStatus.SEE_OTHER)
        keep_signed_in(response, signed, secure=secure)
        return response

    def sign_in_page(
        request: Request, *, to: str, name: str = "", said: str = "", status: int = 200
    ) -> Response:
        telling = at.telling(request)
        return at.answer(
            request,
            "sign_in.html",
            telling,
            status=status,
            to=own_address(to),
            name=name,
            said=said,
        )

    @router.get("/sign-in")
    def sign_in(request: Request, next: str = "/") -> Response:  # noqa: A002 (as the address says)
        to = own_address(next[:LONGEST_ADDRESS])
        if signed_in(request) is not None:
            return RedirectResponse(to, status_code=HTTPStatus.SEE_OTHER)
        if signing.nobody_yet():
            return RedirectResponse("/set-up", status_code=HTTPStatus.SEE_OTHER)
        return sign_in_page(request, to=to)

    @router.post("/sign-in")
    def signed(
        request: Request,
        name: Name,
        password: Typed,
        next: Annotated[str, Form(max_length=LONGEST_ADDRESS)] = "/",  # noqa: A002
    ) -> Response:
        found = signing.sign_in(name, password, place_of(request))
        if isinstance(found, Wait):
            said = wait_words(at, request, found)
            page = sign_in_page(request, to=next, name=name, said=said, status=429)
            page.headers["retry-after"] = str(math.ceil(found.span.total_seconds()))
            return page
        if found is None:
            said = account_words(at.telling(request).words.code).wrong
            return sign_in_page(request, to=next, name=name, said=said, status=401)
        return let_in(request, found, next)

    @router.post("/sign-out")
    def sign_out(request: Request) -> Response:
        secret = request.cookies.get(cookie_name(SESSION_COOKIE, secure=secure))
        if secret is not None:
            signing.sign_out(secret)
        response = RedirectResponse("/sign-in", status_code=HTTPStatus.SEE_OTHER)
        drop_session(response, secure=secure)
        return response

    def set_up_page(request: Request, *, said: str = "", status: int = 200) -> Response:
        telling = at.telling(request)
        site = at.parts.site
        able = [person for person in site.person if person.answers]
        return at.answer(
            request,
            "set_up.html",
            telling,
            status=status,
            able=able,
            leads=site.lead,
            said=said,
        )

    @router.get("/set-up")
    def set_up(request: Request) -> Response:
        if not signing.nobody_yet():
            return RedirectResponse("/sign-in", status_code=HTTPStatus.SEE_OTHER)
        return set_up_page(request)

    @router.post("/set-up")
    def set_up_done(
        request: Request, code: Name, person: Name, password: Typed, again: Typed
    ) -> Response:
        words = account_words(at.telling(request).words.code)
        place = place_of(request)
        if not signing.nobody_yet():
            return RedirectResponse("/sign-in", status_code=HTTPStatus.SEE_OTHER)
        tried = signing.attempt(f"set up from {place.address}", place, person=None)
        if isinstance(tried, Wait):
            return set_up_page(request, said=wait_words(at, request, tried), status=429)
        if not is_code(data, code):
            log.warning("set_up.refused address=%s", place.address)
            return set_up_page(request, said=words.set_up_wrong, status=403)
        signing.good(tried)
        if password != again:
            return set_up_page(request, said=words.not_same, status=422)
        try:
            signed = keeping.set_up(person, password, place)
        except TooWeak as trouble:
            return set_up_page(request, said=words.weak[trouble.why], status=422)
        except NotDone as trouble:
            return set_up_page(request, said=words.why_not[trouble.why], status=409)
        # Killed before this line the code is left over, and opens nothing: an account exists.
        drop_code(data)
        log.info("set_up.done person=%s", signed.account)
        return let_in(request, signed, "/")

    def invited_page(
        request: Request, token: str, *, said: str = "", status: int = 200
    ) -> Response:
        telling = at.telling(request)
        person = keeping.invited(token)
        words = account_words(telling.words.code)
        if person is None:
            return at.answer(
                request,
                "trouble.html",
                telling,
                status=HTTPStatus.GONE.value,
                title=telling.words.refused_title,
                hint=words.why_not["link_over"],
            )
        return at.answer(
            request,
            "invited.html",
            telling,
            status=status,
            title=words.invited_title.format(name=telling.person(person)),
            person=person,
            token=token,
            said=said,
        )

    @router.get("/invited/{token}")
    def invited(request: Request, token: str) -> Response:
        return invited_page(request, token)

    @router.post("/invited/{token}")
    def taken_up(request: Request, token: str, password: Typed, again: Typed) -> Response:
        words = account_words(at.telling(request).words.code)
        if password != again:
            return invited_page(request, token, said=words.not_same, status=422)
        try:
            found = keeping.take_up(token, password, place_of(request))
        except TooWeak as trouble:
            return invited_page(request, token, said=words.weak[trouble.why], status=422)
        except NotDone:
            return invited_page(request, token)
        return let_in(request, found, "/")

    return router
