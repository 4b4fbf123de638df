"""The web server, told to let go of open pages before it waits for them."""

from __future__ import annotations

import socket
from typing import TYPE_CHECKING

import uvicorn

if TYPE_CHECKING:
    import threading


LOOK_S = 0.5


class PageServer(uvicorn.Server):
    """A server that first ends its event streams when it stops; else one open page holds it up."""

    def __init__(self, config: uvicorn.Config, stopping: threading.Event) -> None:
        super().__init__(config)
        self._stopping = stopping

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start to serve, with every answer sent at once.

        Connections take the option over from the socket that listens. Without it the second half of
        an answer waits some 40 ms for the other side to say that the first half came.
        """
        for one in sockets or ():
            if one.family in (socket.AF_INET, socket.AF_INET6):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        await super().startup(sockets)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End the streams, then wait for requests that are still being answered."""
        self._stopping.set()
        await super().shutdown(sockets)


class Unserved:
    """Stands in for the server where no pages are served: waits until it is told to exit."""

    def __init__(self, stopping: threading.Event) -> None:
        self.should_exit = False
        self._stopping = stopping

    def run(self) -> None:
        """Return when told to exit; a signal ends the wait from outside."""
        while not self.should_exit and not self._stopping.wait(LOOK_S):
            pass
