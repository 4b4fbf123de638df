"""Who may push readings: a device with a token, or, before any is made, this machine itself."""

from __future__ import annotations

import hmac
import logging
from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from api.v1.problems import Problem
from api.watch.clock import milliseconds

if TYPE_CHECKING:
    from fastapi import Request

    from api.parts import Parts
    from collector.tokens import DeviceTokens

log = logging.getLogger(__name__)

HERE = frozenset({"127.0.0.1", "::1", "localhost"})
PASSED_ON = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")
"""Headers by which a proxy says that a request came from elsewhere."""


def sensor_spoken_for(parts: Parts, tokens: DeviceTokens, request: Request) -> str | None:
    """Return the one sensor the sender may speak for, None for every one.

    Raises Problem when the sender may not push at all.
    """
    scheme, _, given = request.headers.get("authorization", "").partition(" ")
    given = given.strip()
    if not given:
        return _without_token(parts, tokens, request)
    common = parts.settings.push_token
    right = common is not None and hmac.compare_digest(
        given.encode(errors="backslashreplace"), common.get_secret_value().encode()
    )
    if scheme.lower() != "bearer":
        raise _unknown()
    if right:
        return None
    holder = tokens.holder(given, at_ms=milliseconds(parts.clock))
    if holder is None:
        raise _unknown()
    return holder.sensor


def _without_token(parts: Parts, tokens: DeviceTokens, request: Request) -> str | None:
    if parts.settings.push_token is not None or tokens.listed():
        raise _unknown()
    # Behind a proxy every request comes from this machine: there, a token is always needed.
    host = request.client.host if request.client else ""
    ours = (urlsplit(parts.settings.base_url).hostname or "").lower()
    if host in HERE and ours in HERE and not any(name in request.headers for name in PASSED_ON):
        return None
    log.warning("push.refused why=no-token-made")
    raise Problem(
        HTTPStatus.FORBIDDEN,
        "Only programs on this machine may push until a token is made. Make one with "
        "`graftvigil device add NAME`, or set GRAFTVIGIL_PUSH_TOKEN.",
    )


def _unknown() -> Problem:
    log.warning("push.refused why=token")
    return Problem(
        HTTPStatus.UNAUTHORIZED,
        "Send the token of the device as `Authorization: Bearer <token>`. "
        "`graftvigil device add` makes one.",
        headers={"www-authenticate": "Bearer"},
    )
