"""JSON read by declared mapping: where in the message each channel's value, unit and time stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from pydantic_core import from_json

from collector.rejects import Kind
from rules.model.place import Timestamp, channel_key
from rules.model.quantities import MEANINGS, Quantity, Unit

if TYPE_CHECKING:
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
_MISSING = object()
_MOST_SECONDS = 1e12  # beyond any date that can be written; keeps the sums below finite


@dataclass(frozen=True, slots=True)
class ChannelMapping:
    """A channel made ready for reading: its key, where it stands, its unit and its range."""

    key: str
    id: str
    path: str
    steps: tuple[str, ...]
    unit: str
    unit_path: str | None
    unit_steps: tuple[str, ...]
    quantity: Quantity
    scale: float
    offset: float
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class SensorMapping:
    """A sensor made ready for reading."""

    id: str
    time: Timestamp
    time_path: str
    time_steps: tuple[str, ...]
    channels: tuple[ChannelMapping, ...]


@dataclass(frozen=True, slots=True)
class Refusal:
    """One thing in a message that cannot be taken, and the way out."""

    field: str
    kind: Kind
    details: str
    fix: str


class Decoded(NamedTuple):
    """What a message says. `at_ms` is None when the sensor does not tell the time."""

    at_ms: int | None
    values: Sequence[tuple[ChannelMapping, int | float]]
    refusals: Sequence[Refusal]


def mapping_of(sensor: Sensor) -> SensorMapping:
    """Return the sensor's mapping, worked out once so that no message waits for it."""
    return SensorMapping(
        id=sensor.id,
        time=sensor.time,
        time_path=sensor.time_path or "",
        time_steps=_steps(sensor.time_path),
        channels=tuple(_channel_mapping(sensor.id, channel) for channel in sensor.channel),
    )


def _channel_mapping(sensor_id: str, channel: Channel) -> ChannelMapping:
    meaning = MEANINGS[channel.quantity]
    unit: Unit = meaning.units[channel.unit]
    return ChannelMapping(
        key=channel_key(sensor_id, channel.id),
        id=channel.id,
        path=channel.path,
        steps=_steps(channel.path),
        unit=channel.unit,
        unit_path=channel.unit_path,
        unit_steps=_steps(channel.unit_path),
        quantity=channel.quantity,
        scale=unit.scale,
        offset=unit.offset,
        lowest=meaning.lowest,
        highest=meaning.highest,
    )


def _steps(path: str | None) -> tuple[str, ...]:
    return tuple(path.split(".")) if path else ()


def values_in_mapped_json(mapping: SensorMapping, payload: bytes) -> Decoded:
    """Return every value the message gives for the sensor, and what in it cannot be taken.

    Any bytes are welcome. A field that is bad does not spoil the others; a time that is bad does.
    A missing path is refused only if the message holds none of the sensor's channels. Ranges are
    not looked at here.
    """
    try:
        document = from_json(payload)
    except ValueError as err:
        fix = "Have the sensor send one JSON object a message, in UTF-8"
        return Decoded(None, (), (Refusal("payload", Kind.NOT_JSON, str(err), fix),))
    if type(document) is not dict and type(document) is not list:
        fix = 'Have the sensor send an object, as in {"air": 21.5}'
        details = f"the message is {_named(document)}"
        return Decoded(None, (), (Refusal("payload", Kind.NOT_OBJECT, details, fix),))
    at_ms = None
    if mapping.time is not Timestamp.ARRIVAL:
        time = _instant(mapping, document)
        if isinstance(time, Refusal):
            return Decoded(None, (), (time,))
        at_ms = time
    values, refusals = _read_channels(mapping, document)
    return Decoded(at_ms, values, refusals)


def _read_channels(
    mapping: SensorMapping, document: object
) -> tuple[list[tuple[ChannelMapping, int | float]], list[Refusal]]:
    values: list[tuple[ChannelMapping, int | float]] = []
    refusals: list[Refusal] = []
    missing: list[ChannelMapping] = []
    for channel in mapping.channels:
        value = document
        for step in channel.steps:  # as in _at, without the call: every value passes here
            value = value.get(step, _MISSING) if type(value) is dict else _at(value, (step,))
        if type(value) is float or type(value) is int:
            wrong = _wrong_unit(channel, document) if channel.unit_path else None
            if wrong is None:
                values.append((channel, value))
            else:
                refusals.append(wrong)
        elif value is _MISSING:
            missing.append(channel)
        else:
            refusals.append(_not_a_number(channel, value))
    if len(missing) == len(mapping.channels):
        for channel in missing:
            fix = (
                f"See what the sensor sends and correct the path of channel {channel.id} "
                f"of sensor {mapping.id}"
            )
            details = "the message has no such field"
            refusals.append(Refusal(channel.path, Kind.PATH_MISSING, details, fix))
    return values, refusals


def _at(document: object, steps: tuple[str, ...]) -> object:
    node = document
    for step in steps:
        if type(node) is dict:
            node = node.get(step, _MISSING)
        elif type(node) is list:
            index = int(step) if step.isdecimal() and len(step) < 6 else len(node)
            node = node[index] if index < len(node) else _MISSING
        else:
            return _MISSING
    return node


def _wrong_unit(channel: ChannelMapping, document: object) -> Refusal | None:
    said = _at(document, channel.unit_steps)
    where = channel.unit_path or ""
    if said is _MISSING:
        details = "the message does not say its unit"
        fix = f"Correct or take away unit_path of channel {channel.id}"
        return Refusal(where, Kind.WRONG_UNIT, details, fix)
    if said == channel.unit or (isinstance(said, str) and said in SPELLINGS[channel.unit]):
        return None
    details = f'the message says {_shown(said)}, the site file "{channel.unit}"'
    named = next(
        (
            unit
            for unit in MEANINGS[channel.quantity].units
            if isinstance(said, str) and (said == unit or said in SPELLINGS[unit])
        ),
        None,
    )
    fix = (
        f'Write unit = "{named}" for channel {channel.id}'
        if named
        else f"Set the sensor to send {channel.unit}"
    )
    return Refusal(where, Kind.WRONG_UNIT, details, fix)


def _not_a_number(channel: ChannelMapping, value: object) -> Refusal:
    if isinstance(value, str):
        fix = "Have the sensor send the number without quotation marks"
        if "," in value:
            fix += " and with a point, not a comma"
    elif value is None:
        fix = "The sensor has nothing to say here: see to its probe"
    elif isinstance(value, bool):
        fix = f"Correct the path of channel {channel.id}: this field is a switch, not a value"
    else:
        fix = f"Correct the path of channel {channel.id}: it must lead to one number"
    return Refusal(channel.path, Kind.NOT_NUMBER, f"the value is {_shown(value)}", fix)


def _instant(mapping: SensorMapping, document: object) -> int | Refusal:
    said = _at(document, mapping.time_steps)
    if said is _MISSING:
        return _bad_time(mapping, "the message does not say its time", "Correct time_path")
    if mapping.time is Timestamp.ISO_8601:
        return _iso_instant(mapping, said)
    if type(said) is not int and type(said) is not float:
        fix = f'Have it send a number, or change time = "{mapping.time}"'
        return _bad_time(mapping, f"the time is {_shown(said)}", fix)
    if not -_MOST_SECONDS * 1000 < said < _MOST_SECONDS * 1000:  # holds for no NaN either
        return _bad_time(mapping, f"the time is {_shown(said)}", "See to the sensor's clock")
    return round(said * 1000) if mapping.time is Timestamp.UNIX_S else round(said)


def _iso_instant(mapping: SensorMapping, said: object) -> int | Refusal:
    shown = f"the time is {_shown(said)}"
    try:
        at = datetime.fromisoformat(said) if isinstance(said, str) else None
    except ValueError:
        at = None
    if at is None:
        return _bad_time(mapping, shown, 'Have it sent as in "2026-03-01T06:30:00Z"')
    if at.tzinfo is None:
        fix = 'Have the sensor add its zone, as in "2026-03-01T06:30:00Z" or "…+02:00"'
        return _bad_time(mapping, shown + ", without a zone", fix)
    return round(at.timestamp() * 1000)


def _bad_time(mapping: SensorMapping, details: str, fix: str) -> Refusal:
    where = f" for sensor {mapping.id}"
    return Refusal(mapping.time_path, Kind.BAD_TIME, details, fix + where)


def _named(value: object) -> str:
    if value is None:
        return "null"
    return {bool: "true or false", str: "a text", int: "a bare number", float: "a bare number"}.get(
        type(value), "something else"
    )


def _shown(value: object) -> str:
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
