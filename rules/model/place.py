"""The site: houses, benches, sensors with their channels, and what each speaks for since when."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Annotated, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AwareDatetime, Field, field_validator, model_validator

from rules.model.calibration import Calibration, absurdity_of, in_force
from rules.model.payload import (
    Payload,
    Timestamp,
    plain_topic,
    time_trouble,
    unfitting,
)
from rules.model.quantities import (
    DAYLIGHT,
    KIND_OF_LIGHT,
    LIGHT_QUANTITIES,
    MEANINGS,
    LightSource,
    Quantity,
    SensorKind,
)
from rules.model.written import Written as Written

Slug = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$")]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]


class House(Written):
    """A shade house. Its shade fraction is the share of outside light that the cloth stops."""

    id: Slug
    title: str
    shade_fraction: Fraction
    length_m: float = Field(gt=0)
    width_m: float = Field(gt=0)


class Obstruction(Written):
    """One point of the line above which sky is seen from a bench: a ridge, a hedge, a wall.

    Azimuth is counted clockwise from true north. The line runs straight from point to point.
    """

    azimuth_deg: float = Field(ge=0, lt=360)
    elevation_deg: float = Field(ge=0, le=90)


class Bench(Written):
    """A bench and its place on the plan of its house: metres from the house's south-west corner.

    `obstruction` is what stands between the bench and the sun, all round the compass; none of it
    means a flat horizon.
    """

    id: Slug
    house: Slug
    title: str
    x_m: float = Field(ge=0)
    y_m: float = Field(ge=0)
    length_m: float = Field(gt=0)
    width_m: float = Field(gt=0)
    obstruction: tuple[Obstruction, ...] = ()

    @model_validator(mode="after")
    def _one_height_each_way(self) -> Self:
        seen: set[float] = set()
        for point in self.obstruction:
            if point.azimuth_deg in seen:
                msg = (
                    f"obstruction: has two points at azimuth {point.azimuth_deg:g}; "
                    "keep one, and set the other a degree aside for an upright edge"
                )
                raise ValueError(msg)
            seen.add(point.azimuth_deg)
        return self


class Channel(Written):
    """One measured quantity of a sensor, and where in its message the value stands.

    `path` is, by the sensor's payload: a dotted path into the JSON message, as in "air.temp" or
    "values.0"; the full SenML name; for plain numbers the end of the topic, below the sensor's
    own ("." for that topic itself); the field key of a line of line protocol.
    `measurement`, if given, is the only measurement of line protocol in which `path` counts.
    `unit_path`, if given, is where the message says its own unit; a value sent in another unit
    than the declared one is refused.
    `scale` is how much of the unit one step of the sent number is, as 0.1 for tenths of a degree.
    `stale_after_min` is how long the last value still speaks for now.
    `source` says what lights a light sensor; PPFD sensors need none.
    `sensor_kind`, if given, is how a light sensor weighs the light, and must fit the quantity.
    `calibration` says how what it reads is put right, and since when.
    `low_below`, in `unit`, is the voltage at which a battery is told to be low; None: nobody is.
    """

    id: Slug
    quantity: Quantity
    unit: str
    path: str = Field(min_length=1)
    measurement: str | None = Field(default=None, min_length=1)
    unit_path: str | None = None
    scale: float = Field(default=1.0, gt=0, le=1e6)
    stale_after_min: int = Field(default=15, ge=1, le=240)
    source: LightSource | None = None
    sensor_kind: SensorKind | None = None
    calibration: tuple[Calibration, ...] = ()
    low_below: float | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _unit_fits(self) -> Self:
        known = MEANINGS[self.quantity].units
        if self.unit not in known:
            listed = ", ".join(f'"{name}"' for name in known)
            msg = f'unit: "{self.unit}" is not a unit of {self.quantity}; write one of {listed}'
            raise ValueError(msg)
        needs_source = self.quantity in LIGHT_QUANTITIES and self.quantity is not Quantity.PPFD
        if needs_source and self.source is None:
            msg = (
                f"source: {self.quantity} needs a light source; "
                'say what lights it, as in source = "sun"'
            )
            raise ValueError(msg)
        if self.quantity is Quantity.IRRADIANCE and self.source not in DAYLIGHT:
            msg = (
                f"source: no factor leads from W m⁻² of {self.source} light to what a leaf uses; "
                "measure ppfd or illuminance under lamps"
            )
            raise ValueError(msg)
        if self.low_below is not None and self.quantity is not Quantity.BATTERY:
            msg = "low_below: only a battery is told to be low; leave it out, or use a limit"
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _kind_fits(self) -> Self:
        fitting = KIND_OF_LIGHT.get(self.quantity)
        if self.sensor_kind is not None and self.sensor_kind is not fitting:
            way_out = (
                f'write sensor_kind = "{fitting}", or correct the quantity'
                if fitting
                else "only light sensors have a kind, so leave it out"
            )
            msg = (
                f"sensor_kind: a {self.sensor_kind} sensor does not measure {self.quantity}; "
                f"{way_out}"
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _sane_calibrations(self) -> Self:
        since = [one.since for one in self.calibration]
        if len(set(since)) != len(since):
            msg = "calibration: two begin at the same instant; keep the one that counts"
            raise ValueError(msg)
        for one in self.calibration:
            absurd = absurdity_of(one, self.quantity, self.unit)
            if absurd is not None:
                msg = f"calibration: {absurd}"
                raise ValueError(msg)
        return self

    def calibration_at(self, at: datetime) -> Calibration | None:
        """Return the calibration in force at the aware instant; None before the first."""
        return in_force(self.calibration, at)


class Availability(Written):
    """Where a sensor, or the broker for it, says whether it is there (an MQTT last will)."""

    topic: str = Field(min_length=1, max_length=512)
    up: str = Field(default="online", min_length=1, max_length=200)
    down: str = Field(default="offline", min_length=1, max_length=200)

    @field_validator("topic")
    @classmethod
    def _plain_topic(cls, topic: str) -> str:
        return plain_topic(topic)

    @model_validator(mode="after")
    def _two_words(self) -> Self:
        if self.up == self.down:
            msg = "down: is the same as up; write the two payloads that the device sends"
            raise ValueError(msg)
        return self


class Position(Written):
    """What a sensor, or some of its channels, speaks for from one instant until the next.

    Exactly one of `cover_of` (a batch code), `bench`, `house`, `open_sky`.
    """

    since: AwareDatetime
    until: AwareDatetime | None = None
    cover_of: Slug | None = None
    bench: Slug | None = None
    house: Slug | None = None
    open_sky: bool = False
    channels: tuple[Slug, ...] = ()

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        named = [self.cover_of, self.bench, self.house, self.open_sky or None]
        if sum(place is not None for place in named) != 1:
            msg = (
                "name exactly one of cover_of, bench, house, open_sky = true; "
                "keep the one that is so"
            )
            raise ValueError(msg)
        if self.until is not None and self.until <= self.since:
            msg = "until: must be later than since; correct one of the two"
            raise ValueError(msg)
        return self

    def holds(self, channel: str, at: datetime) -> bool:
        """Return whether this position speaks for channel id `channel` at the aware instant."""
        if self.channels and channel not in self.channels:
            return False
        return self.since <= at and (self.until is None or at < self.until)


class Sensor(Written):
    """A device that sends messages on one MQTT topic, and where it has stood.

    `serial` is what its maker wrote on it. `payload` is how it writes its messages. `samples_path`,
    if given, leads to a list of samples in a JSON message, each with its own values and time.
    `tags` pick the lines of line protocol that are this sensor's. `like` names the sensor whose
    fields hold wherever this one is silent: readers of site files have filled them in before a
    Sensor is made.
    """

    id: Slug
    title: str
    serial: str | None = Field(default=None, min_length=1, max_length=80)
    like: Slug | None = None
    topic: str = Field(min_length=1, max_length=512)
    payload: Payload = Payload.JSON
    time: Timestamp = Timestamp.ARRIVAL
    time_path: str | None = None
    time_format: str | None = None
    time_zone: str | None = None
    samples_path: str | None = Field(default=None, min_length=1)
    tags: dict[str, str] = Field(default_factory=dict)
    availability: Availability | None = None
    channel: tuple[Channel, ...] = Field(min_length=1)
    position: tuple[Position, ...] = ()

    @field_validator("topic")
    @classmethod
    def _plain_topic(cls, topic: str) -> str:
        return plain_topic(topic)

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str | None) -> str | None:
        return None if name is None else known_zone(name)

    @model_validator(mode="after")
    def _clock(self) -> Self:
        if (self.payload is Payload.JSON) and (
            (self.time is Timestamp.ARRIVAL) != (self.time_path is None)
        ):
            listed = ", ".join(
                f'"{known}"' for known in Timestamp if known is not Timestamp.ARRIVAL
            )
            msg = f"time_path: goes with time = {listed}, and only these; correct one"
            raise ValueError(msg)
        if self.samples_path is not None and self.time is Timestamp.ARRIVAL:
            msg = "samples_path: needs a time in every sample; write time and time_path"
            raise ValueError(msg)
        trouble = time_trouble(self.payload, self.time, self.time_format, zone=self.time_zone)
        if trouble is not None:
            raise ValueError(trouble)
        return self

    @model_validator(mode="after")
    def _fields_of_the_payload(self) -> Self:
        given = {
            "time_path": self.time_path is not None,
            "samples_path": self.samples_path is not None,
            "tags": bool(self.tags),
        }
        for name in unfitting(self.payload, given):
            msg = f'{name}: means nothing with payload = "{self.payload}"; leave it out'
            raise ValueError(msg)
        for channel in self.channel:
            given = {
                "unit_path": channel.unit_path is not None,
                "measurement": channel.measurement is not None,
                "scale": channel.scale != 1.0,
            }
            for name in unfitting(self.payload, given):
                msg = (
                    f'channel: {name} of "{channel.id}" means nothing with payload = '
                    f'"{self.payload}"; leave it out'
                )
                raise ValueError(msg)
            if self.payload is Payload.PLAIN and re.search(r"[+#\x00]", channel.path):
                msg = f'channel: path of "{channel.id}" is the end of a topic; it has no + or #'
                raise ValueError(msg)
        return self


def known_zone(name: str) -> str:
    """Return a name that is in the time-zone list; ValueError with what to write otherwise."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        msg = f'"{name}" is not in the time-zone list; write it as in "Etc/GMT-10"'
        raise ValueError(msg) from None
    return name


def channel_key(sensor: str, channel: str) -> str:
    """Return the name under which a channel's readings are kept.

    >>> channel_key("bag-07", "air")
    'bag-07/air'
    """
    return f"{sensor}/{channel}"


class Place(Written):
    """Where the site lies. Sun and local days are worked out from it."""

    title: str
    latitude_deg: float = Field(ge=-90, le=90)
    longitude_deg: float = Field(ge=-180, le=180)
    elevation_m: float = Field(ge=-430, le=6000)
    time_zone: str

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        return known_zone(name)


def as_utc(at: datetime) -> datetime:
    """Return the same instant in UTC; `at` must be aware."""
    return at.astimezone(UTC)
