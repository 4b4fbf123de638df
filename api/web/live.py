"""Server-sent events: tells open pages that something has changed.

One task of the process looks at the records once a second, however many pages are open. Streams
end as soon as the process is told to stop, so that an open page never holds it up.
"""

from __future__ import annotations

import asyncio
import json
import logging
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse
from sqlalchemy import func, select
from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool

from api.records.session import reading
from api.records.tables import alarm_changes
from api.records.watch import next_cell
from rules.local_time import to_local

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from api.parts import Parts

log = logging.getLogger(__name__)

LOOK_EVERY_S = 1.0
STOP_WITHIN_S = 0.2
BEAT_EVERY_S = 15.0


@dataclass(frozen=True, slots=True)
class Moment:
    """What, when it differs, makes a page old: the next cell, and the newest alarm change."""

    next_minute: int
    change_id: int


def moment(parts: Parts) -> Moment:
    """Read how far the watch and the alarms have come."""
    with reading(parts.records) as db:
        minute = next_cell(db)
        change = db.execute(select(func.max(alarm_changes.c.id))).scalar()
    return Moment(minute, change or 0)


class Live:
    """Hands out the stream of changes to every open page."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._moment: Moment | None = None
        self._turned = asyncio.Event()
        self.open_streams = 0

    @asynccontextmanager
    async def looking(self) -> AsyncIterator[None]:
        """Look at the records while the block runs."""
        task = asyncio.create_task(self._look())
        try:
            yield
        finally:
            task.cancel()
            with suppress(asyncio.CancelledError):
                await task

    async def _look(self) -> None:
        loop = asyncio.get_running_loop()
        look_at = loop.time()
        while not self._parts.stopping.is_set():
            if loop.time() >= look_at:
                look_at = loop.time() + LOOK_EVERY_S
                try:
                    seen = await run_in_threadpool(moment, self._parts)
                except SQLAlchemyError as trouble:
                    log.warning("live.look_failed why=%s", type(trouble).__name__)
                else:
                    if seen != self._moment:
                        self._moment = seen
                        self._wake()
            await asyncio.sleep(STOP_WITHIN_S)
        self._wake()

    def _wake(self) -> None:
        self._turned.set()
        self._turned = asyncio.Event()

    async def stream(self, still: Callable[[], bool]) -> AsyncIterator[str]:
        """Yield events for one page: `here` at once and as a heartbeat, `moved` on each change.

        Before each event `still` is asked whether whoever listens may go on.
        """
        self.open_streams += 1
        try:
            yield f"retry: 2000\n{self._event('here')}"
            told = self._moment
            while not self._parts.stopping.is_set() and await run_in_threadpool(still):
                turned = self._turned
                if self._moment == told:
                    try:
                        await asyncio.wait_for(turned.wait(), BEAT_EVERY_S)
                    except TimeoutError:
                        yield f": still here\n{self._event('here')}"
                        continue
                if self._parts.stopping.is_set() or not await run_in_threadpool(still):
                    return
                if self._moment != told:
                    told = self._moment
                    yield self._event("moved")
        finally:
            self.open_streams -= 1

    def _event(self, name: str) -> str:
        local = to_local(self._parts.clock.now(), self._parts.site.site)
        seen = self._moment
        facts = {
            "time": f"{local:%H:%M}",
            "next_minute": seen.next_minute if seen else 0,
            "alarm_change": seen.change_id if seen else 0,
        }
        return f"event: {name}\ndata: {json.dumps(facts)}\n\n"


def live_router(live: Live, still_signed: Callable[[Request], bool]) -> APIRouter:
    """Return the route of the event stream; it ends when its listener is signed in no more."""
    router = APIRouter(include_in_schema=False)

    @router.get("/events")
    async def events(request: Request) -> StreamingResponse:
        return StreamingResponse(
            live.stream(lambda: still_signed(request)),
            media_type="text/event-stream",
            headers={"cache-control": "no-store", "x-accel-buffering": "no"},
        )

    return router
