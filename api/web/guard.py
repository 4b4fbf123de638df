"""Keeps strangers out of every request: foreign hosts, foreign forms, foreign scripts.

The danger here is a page of someone else's that is open in the same browser. It may neither read
our pages under another name nor send our forms. Who may do what, the door decides behind this.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse

from api.v1.problems import problem_answer

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


BY_TLS_ALONE = "max-age=31536000"
"""A year: whoever came by https once is never led to plain http by somebody in between."""


def headers_for(base_url: str) -> dict[str, str]:
    """Return what every answer carries; where people come by https, that they always are to."""
    if urlsplit(base_url).scheme == "https":
        return {**HEADERS, "strict-transport-security": BY_TLS_ALONE}
    return HEADERS


class Guard:
    """Wraps the whole application; `base_url` is how people reach it."""

    def __init__(self, app: ASGIApp, *, base_url: str) -> None:
        self._app = app
        ours = urlsplit(base_url)
        self._place = ours.netloc.lower()
        self._headers = headers_for(base_url)
        self._hosts = LOOPBACK | ({ours.hostname.lower()} if ours.hostname else set())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on if it is ours, else answer why not."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, _with_headers(send, self._headers))
            return
        await self._app(scope, receive, _with_headers(send, self._headers))

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if (urlsplit(f"//{host}").hostname or "").lower() not in self._hosts:
            return _answer(scope, 421, "This name is not one of ours. Use the address in base_url.")
        if scope["method"] not in SAFE and not self._from_here(headers, host):
            return _answer(scope, 403, "Another site sent this. Do it from our own page.")
        return None

    def _from_here(self, headers: Headers, host: str) -> bool:
        """Return whether our own page sent this, or something that is no browser."""
        fetched_from = headers.get("sec-fetch-site")
        if fetched_from is not None:
            return fetched_from in ("same-origin", "none")
        origin = headers.get("origin")
        if origin is None:
            return True
        return urlsplit(origin).netloc.lower() in (host.lower(), self._place)


def _answer(scope: Scope, status: int, detail: str) -> Response:
    path = str(scope["path"])
    if path.startswith("/api/"):
        return problem_answer(status, detail, instance=path)
    return PlainTextResponse(detail, status_code=status)


def _with_headers(send: Send, ours: dict[str, str]) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in ours.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return sending
