"""Ends the process so that the service manager starts it anew.

A thread that has died, or hangs, shared state with others that nobody has checked since. After a
kill at any moment everything goes on from the records, so starting anew is the safe way out.
"""

from __future__ import annotations

import logging
import os
import threading
from typing import Protocol

log = logging.getLogger(__name__)

WITHIN_S = 20.0
"""What hangs may keep the process from ending well for so long; then it ends all the same."""


class Server(Protocol):
    """What serves until it is told to exit."""

    should_exit: bool


class Ending:
    """Ends the process with a code other than 0, within WITHIN_S seconds. Any thread may call."""

    def __init__(self) -> None:
        self.why = ""
        self._server: Server | None = None

    def serves(self, server: Server) -> None:
        """Name the server with which the process ends."""
        self._server = server

    def give_up(self, why: str) -> None:
        """Begin to end the process; a second call changes nothing."""
        if self.why:
            return
        self.why = why
        log.critical("given_up why=%s", why)
        last = threading.Timer(WITHIN_S, os._exit, (1,))
        last.daemon = True
        last.start()
        if self._server is not None:
            self._server.should_exit = True
