"""Tells the outside that all is well, as long as it is: silence out there means trouble in here.

The address may carry a token: it is never logged, kept or handed on.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import urllib3

if TYPE_CHECKING:
    from collections.abc import Callable

    from pydantic import SecretStr

    from api.watch.clock import Steady

log = logging.getLogger(__name__)

TIMEOUT_S = 10.0
LOOK_EVERY_S = 1.0


@dataclass(slots=True)
class Heartbeat:
    """Asks for an address every `every_s` seconds while `is_well`. One thread runs it.

    `failed` counts the tries that have failed in a row; `error` is what the last one said.
    """

    url: SecretStr
    method: str
    every_s: float
    is_well: Callable[[], bool]
    steady: Steady
    failed: int = 0
    error: str = ""
    sent: int = 0
    last_sent_s: float | None = None
    _last_s: float | None = None
    _pool: urllib3.PoolManager = field(
        default_factory=lambda: urllib3.PoolManager(retries=False, timeout=TIMEOUT_S)
    )

    def beat(self) -> bool:
        """Ask once if it is time and all is well; return whether the outside has heard it."""
        at_s = self.steady.seconds()
        if self._last_s is not None and at_s - self._last_s < self.every_s:
            return False
        if not self.is_well():
            return False
        self._last_s = at_s
        said = self._ask()
        if said:
            self.failed += 1
            self.error = said
            log.warning("heartbeat_failed failures=%d cause=%s", self.failed, said)
            return False
        if self.failed:
            log.info("heartbeat_back")
        self.failed, self.error = 0, ""
        self.sent += 1
        self.last_sent_s = at_s
        return True

    def _ask(self) -> str:
        """Return what went wrong, without the address; "" if the outside took it."""
        try:
            answer = self._pool.request(
                self.method.upper(), self.url.get_secret_value(), redirect=False
            )
        except (urllib3.exceptions.HTTPError, OSError, ValueError) as trouble:
            # Their texts hold the address, and with it perhaps a token.
            return type(trouble).__name__
        return "" if 200 <= answer.status < 300 else f"status {answer.status}"

    def run(self, stop: threading.Event) -> None:
        """Beat until `stop`."""
        while not stop.is_set():
            try:
                self.beat()
            except Exception as trouble:  # noqa: BLE001  its text may hold the address
                log.error("heartbeat_fault kind=%s", type(trouble).__name__)  # noqa: TRY400
                self.failed += 1
                self.error = type(trouble).__name__
            stop.wait(LOOK_EVERY_S)
