"""JSON read by declared mapping: where in the message each channel's value, unit and time stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic_core import from_json

from collector.payloads.mapping import (
    MOST_SAMPLES,
    SPELLINGS,
    Decoded,
    Refusal,
    Sample,
    in_declared_unit,
    shown,
)
from collector.payloads.times import bad_time, instant_of
from collector.rejects import Kind
from rules.model.payload import Timestamp
from rules.model.quantities import MEANINGS

if TYPE_CHECKING:
    from collector.payloads.mapping import ChannelMapping, SensorMapping

_MISSING = object()


class MappedJson:
    """Reads the JSON messages of one sensor."""

    def __init__(self, mapping: SensorMapping) -> None:
        self._mapping = mapping

    @property
    def sensors(self) -> tuple[SensorMapping, ...]:
        """The one sensor."""
        return (self._mapping,)

    def read(self, payload: bytes) -> Decoded:
        """Return every value the message gives, and what in it cannot be taken.

        A field that is bad does not spoil the others; a time that is bad does spoil its sample. A
        missing path is refused only if the sample holds none of the sensor's channels.
        """
        mapping = self._mapping
        try:
            document = from_json(payload)
        except ValueError as err:
            fix = "Have the sensor send one JSON object a message, in UTF-8"
            return _refused(mapping, "payload", Kind.NOT_JSON, str(err), fix=fix)
        if type(document) is not dict and type(document) is not list:
            fix = 'Have the sensor send an object, as in {"air": 21.5}'
            details = f"the message is {_named(document)}"
            return _refused(mapping, "payload", Kind.NOT_OBJECT, details, fix=fix)
        if mapping.samples_steps:
            return _many(mapping, document)
        refusals: list[Refusal] = []
        sample = _sample(mapping, document, refusals)
        return Decoded(() if sample is None else (sample,), refusals)


def _many(mapping: SensorMapping, document: object) -> Decoded:
    """Read a list of samples, in which each has its own time."""
    where = mapping.samples_path
    # "." is the message itself.
    listed = document if where == "." else _at(document, mapping.samples_steps)
    if type(listed) is not list:
        kind = Kind.PATH_MISSING if listed is _MISSING else Kind.NOT_LIST
        details = (
            "the message has no such field" if listed is _MISSING else f"it is {shown(listed)}"
        )
        fix = f"Correct samples_path of sensor {mapping.id}: it must lead to a list"
        return _refused(mapping, where, kind, details, fix=fix)
    samples: list[Sample] = []
    refusals: list[Refusal] = []
    for one in listed[:MOST_SAMPLES]:
        sample = _sample(mapping, one, refusals)
        if sample is not None:
            samples.append(sample)
    if not listed:
        fix = "Have the sensor send a message only when it has measured"
        refusals.append(Refusal(where, Kind.NOT_LIST, "the list is empty", fix, mapping.id))
    if len(listed) > MOST_SAMPLES:
        details = f"{len(listed)} samples; at most {MOST_SAMPLES} are read"
        fix = "Have the sensor send fewer at a time"
        refusals.append(Refusal(where, Kind.TOO_LARGE, details, fix, mapping.id))
    return Decoded(samples, refusals)


def _sample(mapping: SensorMapping, document: object, refusals: list[Refusal]) -> Sample | None:
    at_ms = None
    if mapping.time is not Timestamp.ARRIVAL:
        said = _at(document, mapping.time_steps)
        time = (
            bad_time(mapping, "the message does not say its time", "Correct time_path")
            if said is _MISSING
            else instant_of(mapping, said)
        )
        if isinstance(time, Refusal):
            refusals.append(time)
            return None
        at_ms = time
    values = _read_channels(mapping, document, refusals)
    return Sample(mapping, at_ms, values) if values else None


def _refused(mapping: SensorMapping, where: str, kind: Kind, details: str, *, fix: str) -> Decoded:
    return Decoded((), (Refusal(where, kind, details, fix, mapping.id),))


def _read_channels(
    mapping: SensorMapping, document: object, refusals: list[Refusal]
) -> list[tuple[ChannelMapping, int | float]]:
    values: list[tuple[ChannelMapping, int | float]] = []
    missing: list[ChannelMapping] = []
    for channel in mapping.channels:
        value = document
        for step in channel.steps:  # as in _at, without the call: every value passes here
            value = value.get(step, _MISSING) if type(value) is dict else _at(value, (step,))
        if type(value) is float or type(value) is int:
            wrong = _wrong_unit(mapping, channel, document) if channel.unit_path else None
            if wrong is None:
                values.append((channel, in_declared_unit(channel, value)))
            else:
                refusals.append(wrong)
        elif value is _MISSING:
            missing.append(channel)
        else:
            refusals.append(not_a_number(mapping, channel, value))
    if len(missing) == len(mapping.channels):
        for channel in missing:
            fix = (
                f"See what the sensor sends and correct the path of channel {channel.id} "
                f"of sensor {mapping.id}"
            )
            details = "the message has no such field"
            refusals.append(Refusal(channel.path, Kind.PATH_MISSING, details, fix, mapping.id))
    return values


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


def _wrong_unit(
    mapping: SensorMapping, channel: ChannelMapping, document: object
) -> Refusal | None:
    said = _at(document, channel.unit_steps)
    where = channel.unit_path or ""
    if said is _MISSING:
        details = "the message does not say its unit"
        fix = f"Correct or take away unit_path of channel {channel.id}"
        return Refusal(where, Kind.WRONG_UNIT, details, fix, mapping.id)
    if said == channel.unit or (isinstance(said, str) and said in SPELLINGS[channel.unit]):
        return None
    details = f'the message says {shown(said)}, the site file "{channel.unit}"'
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
    return Refusal(where, Kind.WRONG_UNIT, details, fix, mapping.id)


def not_a_number(mapping: SensorMapping, channel: ChannelMapping, value: object) -> Refusal:
    """Return the refusal of a value that is no number, with the likely reason."""
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
    return Refusal(channel.path, Kind.NOT_NUMBER, f"the value is {shown(value)}", fix, mapping.id)


def _named(value: object) -> str:
    if value is None:
        return "null"
    return {bool: "true or false", str: "a text", int: "a bare number", float: "a bare number"}.get(
        type(value), "something else"
    )
