"""What every payload is read into: samples of a sensor, refusals, and what nobody has declared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol
from zoneinfo import ZoneInfo

from rules.model.payload import Payload, Timestamp
from rules.model.place import channel_key
from rules.model.quantities import MEANINGS, Quantity, Unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.rejects import Kind
    from rules.model.place import Channel, Sensor

# How makers write the units that a site file declares. The declared word itself always fits.
SPELLINGS: dict[str, frozenset[str]] = {
    "degC": frozenset({"°C", "C", "Cel", "celsius", "Celsius"}),
    "degF": frozenset({"°F", "F", "fahrenheit", "Fahrenheit"}),
    "K": frozenset({"kelvin", "Kelvin"}),
    "%RH": frozenset({"%", "%rH", "% RH", "pct", "percent"}),
    "fraction": frozenset({"1", "ratio"}),
    "umol/m2/s": frozenset({"µmol/m²/s", "μmol/m²/s", "umol/m²/s", "µmol m⁻² s⁻¹", "umol m-2 s-1"}),
    "lx": frozenset({"lux", "Lux"}),
    "klx": frozenset({"klux"}),
    "fc": frozenset({"ft-c", "footcandle"}),
    "W/m2": frozenset({"W/m²", "W m⁻²", "W m-2"}),
    "kW/m2": frozenset({"kW/m²"}),
    "m/s": frozenset({"m s⁻¹", "m s-1", "mps"}),
    "km/h": frozenset({"kph", "kmh"}),
    "mph": frozenset(),
    "%": frozenset({"%VWC", "% VWC", "pct", "percent"}),
    "V": frozenset({"volt", "volts"}),
    "mV": frozenset({"millivolt"}),
}
MOST_SAMPLES = 2_000
"""Samples read from one message at most; the rest is refused."""


@dataclass(frozen=True, slots=True)
class ChannelMapping:
    """A channel made ready for reading: its key, where it stands, its unit and its range.

    A number sent stands for number * times / over of `unit`; one of the two is 1, so that tenths
    are divided by ten, which loses nothing, and not multiplied by 0.1, which does.
    """

    key: str
    id: str
    path: str
    steps: tuple[str, ...]
    measurement: str | None
    unit: str
    unit_path: str | None
    unit_steps: tuple[str, ...]
    quantity: Quantity
    times: float
    over: float
    scale: float
    offset: float
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class SensorMapping:
    """A sensor made ready for reading."""

    id: str
    payload: Payload
    time: Timestamp
    time_path: str
    time_steps: tuple[str, ...]
    time_format: str
    time_zone: ZoneInfo | None
    samples_path: str
    samples_steps: tuple[str, ...]
    tags: frozenset[tuple[str, str]]
    channels: tuple[ChannelMapping, ...]


@dataclass(frozen=True, slots=True)
class Refusal:
    """One thing in a message that cannot be taken, and the way out.

    `sensor` is the id of the sensor it was meant for, if that is known.
    """

    field: str
    kind: Kind
    details: str
    fix: str
    sensor: str = ""


class Sample(NamedTuple):
    """Values of one sensor at one instant.

    `at_ms` is None when the sensor does not tell the time: then they count `since_arrival_ms`
    after the arrival of the message, a negative figure for what was measured before.
    """

    sensor: SensorMapping
    at_ms: int | None
    values: Sequence[tuple[ChannelMapping, int | float]]
    since_arrival_ms: int = 0


class Decoded(NamedTuple):
    """What a message says. `unclaimed` names devices in it that no sensor of the site is."""

    samples: Sequence[Sample]
    refusals: Sequence[Refusal]
    unclaimed: Sequence[str] = ()


class Reader(Protocol):
    """Reads the messages of one topic. There is one implementation for each payload."""

    @property
    def sensors(self) -> Sequence[SensorMapping]:
        """The sensors whose messages these are."""
        ...

    def read(self, payload: bytes) -> Decoded:
        """Return all that a message says. Any bytes are welcome; never raises.

        Whatever is neither in the samples nor unclaimed, though a channel asks for it, is in the
        refusals. Ranges are not looked at here.
        """
        ...


def mapping_of(sensor: Sensor) -> SensorMapping:
    """Return the sensor's mapping, worked out once so that no message waits for it."""
    return SensorMapping(
        id=sensor.id,
        payload=sensor.payload,
        time=sensor.time,
        time_path=sensor.time_path or "",
        time_steps=_steps(sensor.time_path),
        time_format=sensor.time_format or "",
        time_zone=None if sensor.time_zone is None else ZoneInfo(sensor.time_zone),
        samples_path=sensor.samples_path or "",
        samples_steps=_steps(sensor.samples_path),
        tags=frozenset(sensor.tags.items()),
        channels=tuple(_channel_mapping(sensor.id, channel) for channel in sensor.channel),
    )


def _channel_mapping(sensor_id: str, channel: Channel) -> ChannelMapping:
    meaning = MEANINGS[channel.quantity]
    unit: Unit = meaning.units[channel.unit]
    parts = round(1 / channel.scale)
    whole = parts > 1 and abs(channel.scale * parts - 1) < 1e-9
    return ChannelMapping(
        key=channel_key(sensor_id, channel.id),
        id=channel.id,
        path=channel.path,
        steps=_steps(channel.path),
        measurement=channel.measurement,
        unit=channel.unit,
        unit_path=channel.unit_path,
        unit_steps=_steps(channel.unit_path),
        quantity=channel.quantity,
        times=1.0 if whole else channel.scale,
        over=float(parts) if whole else 1.0,
        scale=unit.scale,
        offset=unit.offset,
        lowest=meaning.lowest,
        highest=meaning.highest,
    )


def _steps(path: str | None) -> tuple[str, ...]:
    return tuple(path.split(".")) if path else ()


def in_declared_unit(channel: ChannelMapping, sent: float) -> float:
    """Return a number as sent, in the unit that the channel declares.

    A whole number too large for any float becomes infinite, which the gate refuses.
    """
    if channel.times == 1.0 and channel.over == 1.0:
        return sent
    try:
        return sent * channel.times / channel.over
    except OverflowError:
        return float("inf") if sent > 0 else float("-inf")


def shown(value: object) -> str:
    """Return a value as it is shown to a person, never long."""
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    # A whole number of many digits may not be written out at all.
    if isinstance(value, int) and value.bit_length() > 128:
        return "a number beyond all measure"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "…"
