"""What takes long is got ready beside the sending, so that no word of danger waits long for it."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Future

Ready = TypeVar("Ready")


class Easel:
    """One thread that draws in the order in which it was asked; several would only share a core.

    `longest_wait_s` is how long, from `begin` on, the messages of one turn wait for their pictures
    all together.
    """

    def __init__(self, longest_wait_s: float) -> None:
        self._longest_wait_s = longest_wait_s
        self._until = 0.0
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="pictures")
        self._asked: dict[int, Future[bytes | None]] = {}

    def begin(self) -> None:
        """Start the time in which pictures of a turn are waited for; forget those not fetched."""
        self._until = time.monotonic() + self._longest_wait_s
        for one in self._asked.values():
            one.cancel()
        self._asked.clear()

    def ask(self, message_id: int, draw: Callable[[], bytes | None]) -> None:
        """Have the picture of a message drawn when its turn comes."""
        self._asked[message_id] = self._pool.submit(draw)

    def fetch(self, message_id: int) -> bytes | None:
        """Return the picture asked for; None: it is not ready in time, or there is none.

        Raises what the drawing raised.
        """
        asked = self._asked.pop(message_id, None)
        if asked is None:
            return None
        try:
            return asked.result(max(0.0, self._until - time.monotonic()))
        except TimeoutError:
            if asked.done():  # then the drawing itself said so
                raise
            asked.cancel()
            return None

    def stop(self) -> None:
        """Begin nothing more; what is being drawn still reads the stores, so wait for it."""
        self._pool.shutdown(wait=True, cancel_futures=True)


class Gathering(Generic[Ready]):
    """Gets ready in a thread of its own what is in no hurry; such messages wait until it is."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="sheets")
        self._begun: dict[int, Future[Ready]] = {}

    def is_ready(self, message_id: int, gather: Callable[[], Ready], *, wait: bool) -> bool:
        """Begin once for each message; return whether it is done, waiting for that if told to."""
        if message_id not in self._begun:
            self._begun[message_id] = self._pool.submit(gather)
        begun = self._begun[message_id]
        if wait:
            begun.exception()
        return begun.done()

    def fetch(self, message_id: int) -> Ready:
        """Return what is ready, once; the next `is_ready` begins anew. Raises what it raised."""
        return self._begun.pop(message_id).result()

    def stop(self) -> None:
        """Begin nothing more; what is being got ready still reads the stores, so wait for it."""
        self._pool.shutdown(wait=True, cancel_futures=True)
