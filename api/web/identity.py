"""Who a request is from, as the door found out, and the cookies that a browser keeps for us."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.accounts.caller import signed_in
from api.accounts.roles import Demand, Need
from api.accounts.signing import SESSION_LASTS, Place, Signed

if TYPE_CHECKING:
    from fastapi import Request
    from starlette.responses import Response

    from api.accounts.signing import SignedIn

SESSION_COOKIE = "graftvigil"
DEVICE_COOKIE = "graftvigil-device"
_DEVICE_KEPT_S = 365 * 86_400


def cookie_name(name: str, *, secure: bool) -> str:
    """Return the name of a cookie; `__Host-` where no other machine and no plain page may set it.

    >>> cookie_name("graftvigil", secure=True)
    '__Host-graftvigil'
    """
    return f"__Host-{name}" if secure else name


def is_secure(base_url: str) -> bool:
    """Return whether people reach the pages through an encrypted connection."""
    return base_url.lower().startswith("https://")


def demand_signed(request: Request) -> Signed:
    """Return whom a request is from, on an address that the door opens to nobody else."""
    found = signed_in(request)
    if found is None:
        msg = "the door is not in front of this address"
        raise TypeError(msg)
    return found


def place_of(request: Request) -> Place:
    """Return where a request comes from, as the door found out."""
    place = request.scope["state"]["place"]
    if not isinstance(place, Place):
        msg = "the door is not in front of this application"
        raise TypeError(msg)
    return place


def demanded(request: Request) -> Demand | None:
    """Return what the address asks for; None where accounts are off."""
    asked = request.scope.get("state", {}).get("demand")
    return asked if isinstance(asked, Demand) else None


def may(signed: Signed | None, need: str) -> bool:
    """Return whether someone may do what a part of a page is for."""
    return signed is not None and signed.may(Demand(frozenset({Need(need)})))


def keep_signed_in(response: Response, signed: SignedIn, *, secure: bool) -> None:
    """Let the browser keep its session, and that it is known.

    Lax, not strict: a link in a mail must find the session. What a link can do is read; every
    change is a POST, with which such a cookie is never sent from another site.
    """
    name = cookie_name(SESSION_COOKIE, secure=secure)
    kept_s = int(SESSION_LASTS.total_seconds())
    response.set_cookie(
        name, signed.session, max_age=kept_s, httponly=True, secure=secure, samesite="lax"
    )
    if signed.device is not None:
        response.set_cookie(
            cookie_name(DEVICE_COOKIE, secure=secure),
            signed.device,
            max_age=_DEVICE_KEPT_S,
            httponly=True,
            secure=secure,
            samesite="strict",
        )


def drop_session(response: Response, *, secure: bool) -> None:
    """Let the browser forget its session."""
    name = cookie_name(SESSION_COOKIE, secure=secure)
    response.delete_cookie(name, httponly=True, secure=secure, samesite="lax")
