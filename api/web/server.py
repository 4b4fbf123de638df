"""The web server, told to let go of open pages before it waits for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import uvicorn

if TYPE_CHECKING:
    import socket
    import threading


class PageServer(uvicorn.Server):
    """A server that first ends its event streams when it stops; else one open page holds it up."""

    def __init__(self, config: uvicorn.Config, stopping: threading.Event) -> None:
        super().__init__(config)
        self._stopping = stopping

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End the streams, then wait for requests that are still being answered."""
        self._stopping.set()
        await super().shutdown(sockets)
