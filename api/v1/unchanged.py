"""Spares a slow line: what a client has already is not sent to it again.

Every JSON answer to a GET of the API gets an ETag; asked with it in If-None-Match, the answer is
304 without a body. It is worked out all the same: what is spared is the sending.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from starlette.datastructures import Headers, MutableHeaders

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

PREFIX = "/api/v1/"
_BODILESS = ("content-length", "content-type")


class Unchanged:
    """Wraps an application; answers outside the API pass through untouched."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and its answer back, with less of it where that will do."""
        mine = scope["type"] == "http" and scope["method"] == "GET"
        if not mine or not str(scope["path"]).startswith(PREFIX):
            await self._app(scope, receive, send)
            return
        known = Headers(scope=scope).get("if-none-match", "")
        await self._app(scope, receive, _Answer(send, known).sending)


class _Answer:
    """One answer on its way out: JSON is held until it is whole, anything else goes through."""

    def __init__(self, send: Send, known: str) -> None:
        self._send = send
        self._known = known
        self._start: Message | None = None
        self._held = bytearray()

    async def sending(self, message: Message) -> None:
        """Take one message of the answer."""
        if message["type"] == "http.response.start" and _is_json(message):
            self._start = message
            return
        if self._start is None or message["type"] != "http.response.body":
            await self._send(message)
            return
        self._held += message.get("body", b"")
        if not message.get("more_body", False):
            await self._finish(self._start)

    async def _finish(self, start: Message) -> None:
        headers = MutableHeaders(scope=start)
        tag = headers.get("etag") or f'"{hashlib.sha256(self._held).hexdigest()[:16]}"'
        headers["etag"] = tag
        headers["cache-control"] = "private, no-cache"
        body = bytes(self._held)
        if is_among(tag, self._known):
            start["status"], body = 304, b""
            for name in _BODILESS:
                if name in headers:
                    del headers[name]
        await self._send(start)
        await self._send({"type": "http.response.body", "body": body})


def is_among(tag: str, known: str) -> bool:
    """Return whether an If-None-Match header names a tag; weak ones count (RFC 9110, 13.1.2).

    >>> is_among('"a1"', 'W/"b2", "a1"'), is_among('"a1"', "*"), is_among('"a1"', '"a"')
    (True, True, False)
    """
    said = [one.strip().removeprefix("W/") for one in known.split(",")]
    return "*" in said or tag.removeprefix("W/") in said


def _is_json(message: Message) -> bool:
    kind = Headers(raw=message["headers"]).get("content-type", "")
    return message["status"] == 200 and kind.startswith("application/json")
