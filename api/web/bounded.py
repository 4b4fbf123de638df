"""No request's body is read beyond what may be sent, whoever sends it.

A form is held in memory while it is read. Without a bound whoever can reach the page of signing in
could fill the memory of a small board, and with it stop the watch.
"""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from api.accounts.roles import SENT_PIECEMEAL, Need, demand
from api.v1.problems import Problem
from api.web.door import MOST_BODY_BYTES

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_OF_STRANGERS = 64 * 1024
"""The longest form that is there for people who are not signed in has a name, a word, a note."""


class Bounded:
    """Wraps the application inside the door. What is sent piecemeal has a bound of its own."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; more of its body than may be is answered with 413."""
        if scope["type"] != "http" or (scope["method"], scope["path"]) in SENT_PIECEMEAL:
            await self._app(scope, receive, send)
            return
        asked = demand(scope["method"], scope["path"])
        of_strangers = asked.without_sign_in and Need.DEVICE not in asked.needs
        most = MOST_OF_STRANGERS if of_strangers else MOST_BODY_BYTES
        await self._app(scope, _up_to(most, receive), send)


def _up_to(most: int, receive: Receive) -> Receive:
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most:
            detail = f"At most {most // 1024} KiB at once."
            raise Problem(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, detail)
        return message

    return counted
