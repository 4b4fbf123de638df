"""The page on which a lead says who may do what, invites people and devices, and shuts them out."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from api.accounts.keeping import MACHINE, Granted, NotDone
from api.accounts.roles import Role
from api.records.accounts import account_of, all_accounts, newest_trail
from api.records.session import reading
from api.web.identity import demand_signed
from api.web.words.accounts import account_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.responses import Response

    from api.accounts.keeping import AccountKeeping
    from api.records.accounts import Account, TrailLine
    from api.web.pages import Desk
    from api.web.telling import Telling

NEWEST_LINES = 30
Named = Annotated[str, Form(max_length=40)]


@dataclass(frozen=True, slots=True)
class AccountLine:
    """One account, in words."""

    id: str
    name: str
    role: Role
    said: tuple[str, ...]
    disabled: bool
    shared: bool


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """One line of the trail, in words."""

    when: str
    said: str


def accounts_router(at: Desk, keeping: AccountKeeping) -> APIRouter:
    """Return the routes of everybody's accounts."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def page(
        request: Request, *, said: str = "", link: str = "", invited: str = "", status: int = 200
    ) -> Response:
        telling = at.telling(request)
        words = account_words(telling.words.code)
        with reading(parts.records) as db:
            known, trail = all_accounts(db), newest_trail(db, most=NEWEST_LINES)
        able = [person for person in parts.site.person if person.answers]
        link_said = words.link_made.format(name=telling.person(invited)) if link else ""
        return at.answer(
            request,
            "accounts.html",
            telling,
            status=status,
            said=said,
            link=link,
            link_said=link_said,
            lines=[_line(one, at, telling) for one in known],
            able=able,
            without=[person for person in able if person.id not in {one.person for one in known}],
            roles=list(Role),
            device_roles=[role for role in Role if role is not Role.LEAD],
            changes=[_change(one, telling) for one in trail],
        )

    def done(request: Request, deed: Callable[[], object]) -> Response:
        try:
            deed()
        except NotDone as trouble:
            words = account_words(at.telling(request).words.code)
            return page(request, said=words.why_not[trouble.why], status=409)
        return RedirectResponse("/accounts", status_code=HTTPStatus.SEE_OTHER)

    def with_link(request: Request, person: str, make: Callable[[], str]) -> Response:
        try:
            secret = make()
        except NotDone as trouble:
            words = account_words(at.telling(request).words.code)
            return page(request, said=words.why_not[trouble.why], status=409)
        link = f"{parts.settings.base_url.rstrip('/')}/invited/{secret}"
        # Shown in answer to the form itself: an address that showed it could be opened again.
        return page(request, link=link, invited=person)

    @router.get("/accounts")
    def accounts(request: Request) -> Response:
        return page(request)

    @router.post("/accounts/invite")
    def invite(
        request: Request,
        person: Named,
        role: Annotated[Role | None, Form()] = None,
        acts_for: Annotated[list[str] | None, Form(max_length=100)] = None,
    ) -> Response:
        lead = demand_signed(request).account
        if role is None:
            return with_link(request, person, lambda: keeping.new_link(person, by=lead))
        granted = Granted(role, None if acts_for is None else tuple(acts_for))
        return with_link(request, person, lambda: keeping.invite(person, granted, by=lead))

    @router.post("/accounts/{person}/role")
    def change_role(request: Request, person: str, role: Annotated[Role, Form()]) -> Response:
        lead = demand_signed(request).account
        with reading(parts.records) as db:
            known = account_of(db, person)
        granted = Granted(role, None if known is None else known.acts_for)
        return done(request, lambda: keeping.change_role(person, granted, by=lead))

    @router.post("/accounts/{person}/disable")
    def disable(request: Request, person: str) -> Response:
        lead = demand_signed(request).account
        return done(request, lambda: keeping.disable(person, by=lead))

    @router.post("/accounts/{person}/enable")
    def enable(request: Request, person: str) -> Response:
        lead = demand_signed(request).account
        return done(request, lambda: keeping.enable(person, by=lead))

    @router.post("/accounts/{person}/sign-out")
    def sign_out(request: Request, person: str) -> Response:
        lead = demand_signed(request).account
        return done(request, lambda: keeping.sign_out_everywhere(person, by=lead))

    return router


def _line(one: Account, at: Desk, telling: Telling) -> AccountLine:
    words = account_words(telling.words.code)
    people = {person.id: person.name for person in at.parts.site.person if person.answers}
    said = [words.role_tells[one.role]]
    if one.acts_for is not None:
        names = ", ".join(people.get(name, name) for name in one.acts_for)
        said.append(words.acts_for.format(names=names))
    if one.acts_for is None and one.person not in people:
        said.append(words.not_in_book)
    if one.disabled_at is not None:
        said.append(words.disabled.format(time=telling.time(one.disabled_at)))
    elif not one.has_password:
        said.append(words.not_yet)
    return AccountLine(
        id=one.person,
        name=people.get(one.person, one.person),
        role=Role(one.role),
        said=tuple(said),
        disabled=one.disabled_at is not None,
        shared=one.acts_for is not None,
    )


def _change(one: TrailLine, telling: Telling) -> ChangeLine:
    words = account_words(telling.words.code)
    by = words.by_machine if one.by == MACHINE else telling.person(one.by)
    deed = words.deeds[one.done].format(person=telling.person(one.person), details=one.details)
    return ChangeLine(telling.time(one.at), f"{by}: {deed.strip()}")
