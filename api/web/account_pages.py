"""One's own account: password, where one is signed in, and tokens for programs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.accounts.keeping import NotDone, TooWeak
from api.accounts.passwords import is_password
from api.accounts.roles import Role
from api.accounts.signing import Wait, grantable
from api.records.accounts import hash_of, tokens_of
from api.records.session import reading
from api.records.sign_ins import sessions_of
from api.web.identity import (
    demand_signed,
    drop_session,
    is_secure,
    keep_signed_in,
    place_of,
)
from api.web.sign_in_pages import Typed, wait_words
from api.web.words.accounts import account_words

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.accounts.keeping import AccountKeeping
    from api.accounts.signing import Signed, Signing
    from api.records.accounts import PersonalToken
    from api.web.pages import Desk
    from api.web.telling import Telling

SPANS_DAYS = ("30", "90", "365", "0")
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]


@dataclass(frozen=True, slots=True)
class SessionLine:
    """One place where someone is signed in."""

    id: int
    where: str
    browser: str
    said: str
    this: bool


@dataclass(frozen=True, slots=True)
class TokenLine:
    """One token, in words."""

    id: int
    name: str
    said: str
    counts: bool


def own_account_router(at: Desk, signing: Signing, keeping: AccountKeeping) -> APIRouter:
    """Return the routes of one's own account."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts
    secure = is_secure(parts.settings.base_url)

    def page(request: Request, *, said: str = "", token: str = "", status: int = 200) -> Response:
        signed, telling = demand_signed(request), at.telling(request)
        with reading(parts.records) as db:
            tokens = tokens_of(db, signed.account)
        return at.answer(
            request,
            "account.html",
            telling,
            status=status,
            said=said,
            token=token,
            sessions=_sessions(at, signed, telling),
            tokens=[_token(one, telling) for one in tokens],
            roles=grantable(signed.role),
            own_role=signed.role,
            spans=SPANS_DAYS,
        )

    def back() -> Response:
        return RedirectResponse("/account", status_code=HTTPStatus.SEE_OTHER)

    @router.get("/account")
    def account(request: Request) -> Response:
        return page(request)

    @router.post("/account/password")
    def password(request: Request, now: Typed, password: Typed, again: Typed) -> Response:
        signed, place = demand_signed(request), place_of(request)
        words = account_words(at.telling(request).words.code)
        if password != again:
            return page(request, said=words.not_same, status=422)
        tried = signing.attempt(signed.account, place, person=signed.account)
        if isinstance(tried, Wait):
            return page(request, said=wait_words(at, request, tried), status=429)
        with reading(parts.records) as db:
            hashed = hash_of(db, signed.account)
        if not is_password(now, hashed):
            return page(request, said=words.wrong, status=403)
        signing.good(tried)
        try:
            anew = keeping.change_password(signed.account, password, place)
        except TooWeak as trouble:
            return page(request, said=words.weak[trouble.why], status=422)
        response = back()
        if anew is not None:
            keep_signed_in(response, anew, secure=secure)
        return response

    @router.post("/account/sign-out-everywhere")
    def everywhere(request: Request) -> Response:
        person = demand_signed(request).account
        keeping.sign_out_everywhere(person, by=person)
        response = RedirectResponse("/sign-in", status_code=HTTPStatus.SEE_OTHER)
        drop_session(response, secure=secure)
        return response

    @router.post("/account/sessions/{number}/end")
    def end_one(request: Request, number: Number) -> Response:
        if not keeping.end_session(demand_signed(request).account, number):
            raise HTTPException(HTTPStatus.NOT_FOUND)
        return back()

    @router.post("/account/tokens")
    def make_token(
        request: Request,
        name: Annotated[str, Form(max_length=60)],
        role: Annotated[Role, Form()],
        days: Annotated[int, Form(ge=0, le=3650)],
    ) -> Response:
        person = demand_signed(request).account
        lasts = timedelta(days=days) if days else None
        try:
            made = keeping.make_token(person, name=name, role=role, lasts=lasts, by=person)
        except NotDone as trouble:
            words = account_words(at.telling(request).words.code)
            return page(request, said=words.why_not[trouble.why], status=422)
        # Shown in answer to the form itself: an address that showed it could be opened again.
        return page(request, token=made)

    @router.post("/account/tokens/{number}/revoke")
    def revoke(request: Request, number: Number) -> Response:
        person = demand_signed(request).account
        try:
            keeping.revoke_token(person, number, by=person)
        except NotDone as trouble:
            raise HTTPException(HTTPStatus.NOT_FOUND) from trouble
        return back()

    return router


def _sessions(at: Desk, signed: Signed, telling: Telling) -> list[SessionLine]:
    words = account_words(telling.words.code)
    with reading(at.parts.records) as db:
        found = sessions_of(db, signed.account)
    return [
        SessionLine(
            id=one.id,
            where=one.address,
            browser=one.browser,
            said=words.since_seen.format(
                since=telling.time(one.made_at), seen=telling.ago(one.seen_at)
            ),
            this=one.id == signed.session,
        )
        for one in found
        if one.expires_at > telling.now
    ]


def _token(one: PersonalToken, telling: Telling) -> TokenLine:
    words = account_words(telling.words.code)
    parts = [words.roles[one.role]]
    if one.revoked_at is not None:
        parts.append(words.revoked.format(time=telling.time(one.revoked_at)))
    elif one.expires_at is not None:
        parts.append(words.expires.format(time=telling.time(one.expires_at)))
    used = words.never_used
    if one.used_at is not None:
        used = words.used.format(time=telling.ago(one.used_at))
    over = one.expires_at is not None and one.expires_at <= telling.now
    return TokenLine(
        one.id, one.name, ", ".join((*parts, used)), one.revoked_at is None and not over
    )
