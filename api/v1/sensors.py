"""Sensors with what they speak for and their last words, and what was refused on arrival."""

from __future__ import annotations

from operator import itemgetter
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from pydantic import AwareDatetime, BaseModel

from api.records.tables import as_ms, instant
from api.v1.paging import USUAL, Cursor, Limit, one_page
from collector.rejects import readable
from rules.doubt import Flag, QualityTest
from rules.model.payload import Payload
from rules.model.place import channel_key
from rules.model.quantities import Quantity
from rules.model.reading import minute_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from api.parts import Parts
    from api.v1.sight import Present, Sight
    from collector.presence import Presence
    from rules.model.place import Channel, Position, Sensor
    from rules.model.reading import StoredReading


class PlaceBody(BaseModel):
    """What a channel speaks for now; all empty when it speaks for nothing."""

    cover_of: str | None = None
    bench: str | None = None
    house: str | None = None
    open_sky: bool = False


class GapBody(BaseModel):
    """A silence longer than usual: the last reading before it and the first after."""

    start: AwareDatetime
    end: AwareDatetime


class ChannelBody(BaseModel):
    """One measured quantity. `last_value` is raw, in `declared_unit`.

    `flag` is that of the last judged word (QARTOD: 1 pass, 2 not evaluated, 3 suspect, 4 fail,
    9 missing: silent for longer than `stale_after_min`), `test` the quality test that decided it.
    `calibrated_until` is when the calibration in force expires, null if never or if there is none.
    `usual_interval_s` is the median of its newest intervals since the collector started, null
    while there are too few; `gaps` the newest silences of more than 2.5 of them.
    """

    id: str
    quantity: Quantity
    declared_unit: str
    stale_after_min: int
    speaks_for: PlaceBody
    last_at: AwareDatetime | None
    last_value: float | None
    age_s: int | None
    flag: int
    test: str | None
    calibrated_until: AwareDatetime | None
    out_of_calibration: bool
    usual_interval_s: float | None
    gaps: list[GapBody]


class PresenceBody(BaseModel):
    """What was last said of the sensor being there, since when, and when it was last said."""

    up: bool
    since: AwareDatetime
    heard_at: AwareDatetime


class BatteryBody(BaseModel):
    """The newest value of a channel that measures the sensor's battery."""

    channel: str
    value: float
    declared_unit: str
    at: AwareDatetime


class SensorBody(BaseModel):
    """A device, its channels, and how it is.

    `clock_behind_s` is by how much its clock is behind ours, below 0 ahead; null if it tells no
    time. `rejects` counts what was ever refused of it, by kind.
    """

    id: str
    title: str
    topic: str
    payload: Payload
    presence: PresenceBody | None
    battery: list[BatteryBody]
    clock_behind_s: float | None
    rejects: dict[str, int]
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


def verdict_on(
    present: Present, sensor: Sensor, channel: Channel
) -> tuple[Flag, QualityTest | None]:
    """Return the flag of a channel's last judged word, and the test that spoke against it."""
    memory = present.quality.get(channel_key(sensor.id, channel.id))
    if memory is None or present.minute is None:
        return Flag.MISSING, None
    if minute_of(as_ms(present.at)) - memory.said_minute > channel.stale_after_min:
        return Flag.MISSING, None
    test = QualityTest(memory.said_test)
    return Flag(memory.said_flag), None if test is QualityTest.NONE else test


def sensors_router(parts: Parts, sight: Sight) -> APIRouter:
    """Return the routes /sensors and /rejects."""
    router = APIRouter(tags=["sensors"])

    @router.get("/sensors")
    def sensors() -> list[SensorBody]:
        """Return every sensor of the site file."""
        present = sight.present()
        now, latest = present.at, present.latest
        regularity = parts.ingest.pulses.regularity()
        clocks = parts.ingest.pulses.clock_behind_ms()
        presence = parts.ingest.presence.current()
        rejects = parts.rejects.of_sensors()

        def channel_body(sensor: Sensor, channel: Channel) -> ChannelBody:
            position = position_of(sensor, channel, now)
            key = channel_key(sensor.id, channel.id)
            last = latest.get(key)
            heard = instant(last.at_ms) if last else None
            flag, test = verdict_on(present, sensor, channel)
            check = channel.calibration_at(now)
            pulse = regularity.get(key)
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
                flag=int(flag),
                test=None if test is None else test.word,
                calibrated_until=None if check is None else check.expires,
                out_of_calibration=check is not None and check.is_out(now),
                usual_interval_s=pulse.usual_ms / 1000 if pulse and pulse.usual_ms else None,
                gaps=[GapBody(start=instant(a), end=instant(b)) for a, b in pulse.gaps]
                if pulse
                else [],
            )

        return [
            SensorBody(
                id=sensor.id,
                title=sensor.title,
                topic=sensor.topic,
                payload=sensor.payload,
                presence=_presence_body(presence.get(sensor.id)),
                battery=_batteries(sensor, latest),
                clock_behind_s=clocks[sensor.id] / 1000 if sensor.id in clocks else None,
                rejects=dict(rejects.get(sensor.id, {})),
                channels=[channel_body(sensor, channel) for channel in sensor.channel],
            )
            for sensor in parts.site.sensor
        ]

    @router.get("/rejects")
    def rejects(
        request: Request, response: Response, limit: Limit = USUAL, cursor: Cursor = None
    ) -> RejectsBody:
        """Return what was refused on arrival, the newest first, page by page."""
        found = parts.rejects.page(limit + 1, before=cursor)
        page = one_page(found, limit, number=itemgetter(0), request=request, response=response)
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
                for _, one in page
            ],
        )

    return router


def _presence_body(word: Presence | None) -> PresenceBody | None:
    if word is None:
        return None
    return PresenceBody(up=word.up, since=instant(word.since_ms), heard_at=instant(word.heard_ms))


def _batteries(sensor: Sensor, latest: Mapping[str, StoredReading]) -> list[BatteryBody]:
    found = []
    for channel in sensor.channel:
        last = latest.get(channel_key(sensor.id, channel.id))
        if channel.quantity is Quantity.BATTERY and last is not None:
            at = instant(last.at_ms)
            found.append(
                BatteryBody(channel=channel.id, value=last.value, declared_unit=channel.unit, at=at)
            )
    return found
