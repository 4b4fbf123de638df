"""Sensors with what they speak for and their last words, and what was refused on arrival."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel

from api.records.tables import instant
from collector.rejects import readable
from rules.model.place import channel_key
from rules.model.quantities import Quantity

if TYPE_CHECKING:
    from datetime import datetime

    from api.parts import Parts
    from rules.model.place import Channel, Position, Sensor


class PlaceBody(BaseModel):
    """What a channel speaks for now; all empty when it speaks for nothing."""

    cover_of: str | None = None
    bench: str | None = None
    house: str | None = None
    open_sky: bool = False


class ChannelBody(BaseModel):
    """One measured quantity. `last_value` is raw, in `declared_unit`."""

    id: str
    quantity: Quantity
    declared_unit: str
    stale_after_min: int
    speaks_for: PlaceBody
    last_at: AwareDatetime | None
    last_value: float | None
    age_s: int | None


class SensorBody(BaseModel):
    """A device and its channels."""

    id: str
    title: str
    topic: str
    channels: list[ChannelBody]


class RefusedBody(BaseModel):
    """A value or message refused on arrival. `payload` is its head, made safe to print."""

    at: AwareDatetime
    topic: str
    field: str
    problem: str
    fix: str
    payload: str


class RejectsBody(BaseModel):
    """How many there ever were of each kind, and the newest."""

    counts: dict[str, int]
    newest: list[RefusedBody]


def position_of(sensor: Sensor, channel: Channel, at: datetime) -> Position | None:
    """Return the position from which a channel speaks at the aware instant, if from any."""
    held = [position for position in sensor.position if position.holds(channel.id, at)]
    return held[-1] if held else None


def sensors_router(parts: Parts) -> APIRouter:
    """Return the routes /sensors and /rejects."""
    router = APIRouter(tags=["sensors"])

    @router.get("/sensors")
    def sensors() -> list[SensorBody]:
        """Return every sensor of the site file."""
        now = parts.clock.now()
        latest = parts.store.latest()

        def channel_body(sensor: Sensor, channel: Channel) -> ChannelBody:
            position = position_of(sensor, channel, now)
            last = latest.get(channel_key(sensor.id, channel.id))
            heard = instant(last.at_ms) if last else None
            return ChannelBody(
                id=channel.id,
                quantity=channel.quantity,
                declared_unit=channel.unit,
                stale_after_min=channel.stale_after_min,
                speaks_for=PlaceBody(
                    cover_of=position.cover_of,
                    bench=position.bench,
                    house=position.house,
                    open_sky=position.open_sky,
                )
                if position
                else PlaceBody(),
                last_at=heard,
                last_value=last.value if last else None,
                age_s=int((now - heard).total_seconds()) if heard else None,
            )

        return [
            SensorBody(
                id=sensor.id,
                title=sensor.title,
                topic=sensor.topic,
                channels=[channel_body(sensor, channel) for channel in sensor.channel],
            )
            for sensor in parts.site.sensor
        ]

    @router.get("/rejects")
    def rejects(most: Annotated[int, Query(ge=1, le=1000)] = 100) -> RejectsBody:
        """Return what was refused on arrival, the newest first."""
        return RejectsBody(
            counts=dict(parts.rejects.counts()),
            newest=[
                RefusedBody(
                    at=instant(one.at_ms),
                    topic=one.topic,
                    field=one.field,
                    problem=one.problem,
                    fix=one.fix,
                    payload=readable(one.payload),
                )
                for one in parts.rejects.newest(most)
            ],
        )

    return router
