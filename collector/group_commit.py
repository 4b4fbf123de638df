"""Many waiting messages, one commit: what arrives while the disk is busy is kept together next."""

from __future__ import annotations

import asyncio
import logging
from typing import TYPE_CHECKING

from collector.stores.base import StoreFailure

if TYPE_CHECKING:
    from collector.gate import Message
    from collector.ingest import Ingest

log = logging.getLogger(__name__)

MOST_WAITING = 5_000
MOST_WAITING_BYTES = 16 * 1024 * 1024
MOST_A_COMMIT = 1_000
_FIRST_WAIT_S = 0.5
_LONGEST_WAIT_S = 30.0


class GroupCommit:
    """Keeps messages for tasks of one event loop; ask `room` before reading more from a client."""

    def __init__(self, ingest: Ingest) -> None:
        self._ingest = ingest
        self._waiting: list[tuple[Message, asyncio.Future[None] | None]] = []
        self._waiting_bytes = 0
        self._arrived = asyncio.Event()
        self._room = asyncio.Event()
        self._room.set()
        self._task: asyncio.Task[None] | None = None

    @property
    def waiting(self) -> tuple[int, int]:
        """How many messages wait to be kept, and their bytes."""
        return len(self._waiting), self._waiting_bytes

    def start(self) -> None:
        """Begin to keep what arrives."""
        self._task = asyncio.create_task(self._run(), name="group-commit")

    async def stop(self) -> None:
        """Finish the commit under way; what still waits is not kept, nor acknowledged."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self._task = None
        for _, kept in self._waiting:
            if kept is not None:
                kept.cancel()
        self._waiting.clear()
        self._room.set()

    async def room(self) -> None:
        """Return when there is room for more messages."""
        await self._room.wait()

    async def keep(self, message: Message) -> None:
        """Return when the message is on disk."""
        kept: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._add(message, kept)
        await kept

    def keep_soon(self, message: Message) -> None:
        """See that the message is kept, without waiting for it."""
        self._add(message, None)

    def _add(self, message: Message, kept: asyncio.Future[None] | None) -> None:
        self._waiting.append((message, kept))
        self._waiting_bytes += len(message.payload)
        if len(self._waiting) >= MOST_WAITING or self._waiting_bytes >= MOST_WAITING_BYTES:
            self._room.clear()
        self._arrived.set()

    async def _run(self) -> None:
        while True:
            await self._arrived.wait()
            batch = self._waiting[:MOST_A_COMMIT]
            await self._keep_for_certain([message for message, _ in batch])
            del self._waiting[: len(batch)]
            self._waiting_bytes -= sum(len(message.payload) for message, _ in batch)
            if not self._waiting:
                self._arrived.clear()
            if (
                len(self._waiting) < MOST_WAITING // 2
                and self._waiting_bytes < MOST_WAITING_BYTES // 2
            ):
                self._room.set()
            for _, kept in batch:
                if kept is not None and not kept.done():
                    kept.set_result(None)

    async def _keep_for_certain(self, messages: list[Message]) -> None:
        wait_s = _FIRST_WAIT_S
        while True:
            try:
                await asyncio.to_thread(self._ingest.take, messages)
            except StoreFailure as err:
                log.error("store-refused messages=%d cause=%s", len(messages), err)  # noqa: TRY400
                await asyncio.sleep(wait_s)
                wait_s = min(wait_s * 2, _LONGEST_WAIT_S)
            else:
                return
