"""Readings as they were kept, raw, and readings pushed by devices."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from pydantic import AwareDatetime, BaseModel, Field
from starlette.concurrency import run_in_threadpool

from api.records.tables import as_ms, instant
from api.v1.problems import Problem
from api.v1.senders import sensor_spoken_for
from api.watch.clock import milliseconds
from collector.push import take_pushed
from collector.stores.base import StoreFailure, checked_cell_min
from collector.tokens import DeviceTokens
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from api.parts import Parts
    from rules.model.reading import StoredReading

MOST_BODY_BYTES = 256 * 1024
MOST_READINGS = 50_000


class ReadingBody(BaseModel):
    """One raw value, in the unit its channel declares."""

    channel: str
    at: AwareDatetime
    value: float
    declared_unit: str | None


class CellBody(BaseModel):
    """What one channel's raw values were in a stretch of time that begins at `start`."""

    start: AwareDatetime
    count: int
    lowest: float
    highest: float
    mean: float


class RejectBody(BaseModel):
    """One value or message that was refused: where, why, and what to do."""

    field: str
    problem: str
    fix: str


class PushedBody(BaseModel):
    """What became of a pushed message. What is counted here is on disk."""

    kept: int
    rejected: list[RejectBody]


def readings_router(parts: Parts) -> APIRouter:
    """Return the routes under /readings."""
    router = APIRouter(prefix="/readings", tags=["readings"])
    tokens = DeviceTokens(parts.rejects.file)

    def body_of(stored: StoredReading) -> ReadingBody:
        channel = parts.site.channels.get(stored.channel)
        return ReadingBody(
            channel=stored.channel,
            at=instant(stored.at_ms),
            value=stored.value,
            declared_unit=channel.unit if channel else None,
        )

    @router.get("/latest")
    def latest() -> list[ReadingBody]:
        """Return the newest reading of every channel ever heard."""
        return [body_of(one) for _, one in sorted(parts.store.latest().items())]

    @router.get("")
    def span(
        channel: Annotated[str, Query(min_length=3, max_length=81)],
        start: Annotated[AwareDatetime, Query(alias="from")],
        end: Annotated[AwareDatetime, Query(alias="to")],
    ) -> list[ReadingBody]:
        """Return the readings of one channel with from <= at < to, in order."""
        if channel not in parts.site.channels:
            raise Problem(HTTPStatus.NOT_FOUND, f"The site has no channel {channel!r}.")
        found = parts.store.span([channel], as_ms(start), as_ms(end))
        if len(found) > MOST_READINGS:
            msg = f"That span holds more than {MOST_READINGS} readings. Ask for a shorter one."
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, msg)
        return [body_of(one) for one in found]

    @router.get("/cells")
    def cells(
        channel: Annotated[str, Query(min_length=3, max_length=81)],
        start: Annotated[AwareDatetime, Query(alias="from")],
        end: Annotated[AwareDatetime, Query(alias="to")],
        minutes: Annotated[int, Query(description="A multiple of 10 that divides a day.")] = 10,
    ) -> list[CellBody]:
        """Return one channel's cells with from <= start < to: a season in little, for charts.

        They tell of raw values, and stay when the readings themselves have been given up.
        """
        if channel not in parts.site.channels:
            raise Problem(HTTPStatus.NOT_FOUND, f"The site has no channel {channel!r}.")
        try:
            checked_cell_min(minutes)
        except ValueError as trouble:
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, f"{trouble}.") from trouble
        start_ms, end_ms = as_ms(start), as_ms(end)
        if (end_ms - start_ms) // (minutes * MINUTE_MS) > MOST_READINGS:
            msg = f"That span has more than {MOST_READINGS} cells. Ask for longer cells."
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, msg)
        return [
            CellBody(
                start=instant(cell.start_ms),
                count=cell.count,
                lowest=cell.lowest,
                highest=cell.highest,
                mean=cell.mean,
            )
            for cell in parts.store.coarse([channel], start_ms, end_ms, cell_min=minutes)
        ]

    @router.post(
        "/{topic:path}",
        openapi_extra={
            "security": [{"deviceToken": []}],
            "requestBody": {
                "content": {
                    "application/json": {"schema": {}},
                    "application/senml+json": {"schema": {}},
                    "text/plain": {"schema": {"type": "string"}},
                },
                "required": True,
            },
        },
    )
    async def push(topic: Annotated[str, Field(max_length=512)], request: Request) -> PushedBody:
        """Take one message of the sensor with this topic; answered once it is on disk.

        The body is as the site file says of the sensor, whatever its content type. The token of a
        device is needed; until one is made, programs on this machine may push without.
        """
        try:
            only = await run_in_threadpool(sensor_spoken_for, parts, tokens, request)
            if only is not None and only not in parts.ingest.gate.sensors_on(topic):
                msg = f"This token is for sensor {only}, which does not speak on {topic!r}."
                raise Problem(HTTPStatus.FORBIDDEN, msg)
            pushed = await run_in_threadpool(
                take_pushed,
                parts.ingest,
                topic,
                payload=await _body(request),
                arrived_ms=milliseconds(parts.clock),
                only=only,
            )
        except StoreFailure as trouble:
            raise Problem(
                HTTPStatus.SERVICE_UNAVAILABLE,
                "The readings could not be kept; nothing of this message was. Send it again.",
                headers={"retry-after": "30"},
            ) from trouble
        return PushedBody(
            kept=pushed.kept,
            rejected=[
                RejectBody(field=r.field, problem=r.problem, fix=r.fix) for r in pushed.rejects
            ],
        )

    return router


async def _body(request: Request) -> bytes:
    """Return the body; a longer one than allowed is refused before it has all been read."""
    held = bytearray()
    async for piece in request.stream():
        held += piece
        if len(held) > MOST_BODY_BYTES:
            msg = f"A message may have {MOST_BODY_BYTES} bytes at most. Send it in parts."
            raise Problem(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, msg)
    return bytes(held)
