"""How the collector itself is, and who speaks without being in the site file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel

from api.records.tables import instant
from collector.guess import candidates
from collector.meanings import WHY_SAID
from collector.rejects import readable
from rules.model.payload import Payload, Timestamp
from rules.model.quantities import Quantity

if TYPE_CHECKING:
    from api.parts import Parts
    from collector.guess import Candidate
    from collector.spool import SpoolHealth


class BrokerBody(BaseModel):
    """Whether messages reach us by MQTT; `trouble` says why not, and what to do.

    `waiting` are the messages received and not yet kept, with their bytes. What waits at a broker
    of one's own, only that broker knows.
    """

    connected: bool
    connections: int
    trouble: str | None
    waiting: int
    waiting_bytes: int


class ArchiveBody(BaseModel):
    """How far the archive is behind: at most `waiting` readings, the first from `oldest_at`.

    `set_aside` readings it refuses for themselves; `last_refusal` is what it said of the last.
    `trouble` is set while it takes nothing.
    """

    waiting: int
    oldest_at: AwareDatetime | None
    set_aside: int
    last_refusal: str | None
    trouble: str | None
    trouble_since: AwareDatetime | None


class CollectorBody(BaseModel):
    """Counts since the start. `lag_s`: how long the oldest message of the last commit waited.

    `failing_since` and `failure` are set while the store refuses. `archive` is null where readings
    stay in the data folder alone.
    """

    messages: int
    readings: int
    rejects: int
    last_commit_at: AwareDatetime | None
    lag_s: float | None
    failing_since: AwareDatetime | None
    failure: str | None
    broker: BrokerBody | None
    archive: ArchiveBody | None
    strangers: int


class NumberBody(BaseModel):
    """A number in a message, what it probably is, and why."""

    path: str
    value: float
    quantity: Quantity | None
    unit: str | None
    scale: float
    why: list[str]


class StrangerBody(BaseModel):
    """A sender that no sensor of the site file is. `sample` is made safe to print."""

    topic: str
    device: str | None
    payload: Payload | None
    time: Timestamp
    time_path: str | None
    first_heard: AwareDatetime
    last_heard: AwareDatetime
    messages: int
    sample: str
    adopted: bool
    numbers: list[NumberBody]


def collector_router(parts: Parts) -> APIRouter:
    """Return the routes /collector and /strangers."""
    router = APIRouter(tags=["collector"])

    @router.get("/collector")
    def collector() -> CollectorBody:
        """Return how the collector is."""
        health = parts.ingest.health()
        broker = parts.broker() if parts.broker is not None else None
        return CollectorBody(
            messages=health.messages,
            readings=health.readings,
            rejects=health.rejects,
            last_commit_at=_or_none(health.last_commit_ms),
            lag_s=None if health.lag_ms is None else health.lag_ms / 1000,
            failing_since=_or_none(health.failing_since_ms),
            failure=health.failure,
            broker=None
            if broker is None
            else BrokerBody(
                connected=broker.connected,
                connections=broker.connections,
                trouble=broker.trouble,
                waiting=broker.waiting,
                waiting_bytes=broker.waiting_bytes,
            ),
            archive=None if parts.spool is None else _archive(parts.spool.health()),
            strangers=len(strangers_of(parts)),
        )

    @router.get("/strangers")
    def strangers() -> list[StrangerBody]:
        """Return who was heard that no sensor of the site file is, heard last first."""
        return [_stranger(one) for one in strangers_of(parts)]

    return router


def strangers_of(parts: Parts) -> list[Candidate]:
    """Return who waits to be adopted, without what has become a sensor since."""
    gate = parts.ingest.gate
    waiting = [
        one for one in parts.ingest.waiting.listed() if one.device or not gate.sensors_on(one.topic)
    ]
    return candidates(waiting)


def _archive(health: SpoolHealth) -> ArchiveBody:
    return ArchiveBody(
        waiting=health.waiting,
        oldest_at=_or_none(health.oldest_ms),
        set_aside=health.set_aside,
        last_refusal=health.last_refusal,
        trouble=health.trouble,
        trouble_since=_or_none(health.trouble_since_ms),
    )


def _or_none(at_ms: int | None) -> AwareDatetime | None:
    return None if at_ms is None else instant(at_ms)


def _stranger(one: Candidate) -> StrangerBody:
    return StrangerBody(
        topic=one.topic,
        device=one.device or None,
        payload=one.payload,
        time=one.time,
        time_path=one.time_path,
        first_heard=instant(one.first_ms),
        last_heard=instant(one.last_ms),
        messages=one.count,
        sample=readable(one.sample),
        adopted=one.adopted,
        numbers=[
            NumberBody(
                path=found.path,
                value=found.value,
                quantity=found.meant.quantity,
                unit=found.meant.unit,
                scale=found.meant.scale,
                why=[WHY_SAID[why] for why in found.meant.why],
            )
            for found in one.found
        ],
    )
