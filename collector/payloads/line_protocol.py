"""InfluxDB line protocol: measurement, tags, fields and a time on each line."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from collector.payloads.mapped_json import not_a_number
from collector.payloads.mapping import (
    MOST_SAMPLES,
    Decoded,
    Refusal,
    Sample,
    in_declared_unit,
    shown,
)
from collector.payloads.times import bad_time, instant_of
from collector.rejects import Kind
from rules.model.payload import Timestamp

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from collector.payloads.mapping import ChannelMapping, SensorMapping

_FLOAT = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)
_INTEGER = re.compile(r"[+-]?\d{1,19}i", re.ASCII)
_UNSIGNED = re.compile(r"\d{1,20}u", re.ASCII)
_TIME = re.compile(r"-?\d{1,19}", re.ASCII)
_TRUE = frozenset({"t", "T", "true", "True", "TRUE"})
_FALSE = frozenset({"f", "F", "false", "False", "FALSE"})
_LARGEST_SIGNED = 2**63 - 1
_LARGEST_UNSIGNED = 2**64 - 1

# What a backslash hides in each part; before any other character it stands for itself.
_IN_MEASUREMENT = frozenset(", ")
_IN_KEY = frozenset(",= ")


class Line(NamedTuple):
    """One line: `time` is the whole number written at its end, in whatever precision, or None."""

    measurement: str
    tags: Mapping[str, str]
    fields: Mapping[str, int | float | bool | str]
    time: int | None


class NotALine(Exception):
    """The line breaks the syntax; says where and how."""


def lines_in(text: str) -> Iterator[str]:
    """Yield the lines of a text without comments and empty ones.

    A line ends with a line feed, except within a quoted string.
    """
    if '"' not in text:
        yield from _whole(text.split("\n"))
        return
    start = at = 0
    quoted = in_fields = False
    ends: list[str] = []
    while at < len(text):
        mark = text[at]
        if mark == "\\" and text[at + 1 : at + 2] not in {"", "\n"}:
            at += 1
        elif mark == " " and text[start:at].strip():
            in_fields = True  # only there do quotes hold a line together
        elif mark == '"' and in_fields and (quoted or text[at - 1] == "="):
            quoted = not quoted
        elif mark == "\n" and (not quoted or text[start] == "#"):
            ends.append(text[start:at])
            start, quoted, in_fields = at + 1, False, False
        at += 1
    ends.append(text[start:])
    yield from _whole(ends)


def _whole(lines: Iterable[str]) -> Iterator[str]:
    for line in lines:
        bare = line.strip("\r ")
        if bare and not bare.startswith("#"):
            yield bare


def parsed(line: str) -> Line:
    r"""Return the parts of a line; raises NotALine.

    >>> parsed(r'bed\\ 2,device=b7 temp=21.5,ok=t,n=3i 1772000000000000000').fields
    {'temp': 21.5, 'ok': True, 'n': 3}
    """
    measurement, at = _word(line, 0, ends=", ", escaped=_IN_MEASUREMENT)
    if not measurement:
        msg = "it begins with no measurement"
        raise NotALine(msg)
    tags: dict[str, str] = {}
    while line[at : at + 1] == ",":
        key, at = _key(line, at + 1, "tag")
        value, at = _word(line, at, ends=", ", escaped=_IN_KEY)
        if not value or key in tags:
            msg = f"tag {shown(key)} " + ("comes twice" if key in tags else "has no value")
            raise NotALine(msg)
        tags[key] = value
    fields: dict[str, int | float | bool | str] = {}
    at = _past_blanks(line, at)
    while True:
        key, at = _key(line, at, "field")
        if key in fields:
            msg = f"field {shown(key)} comes twice"
            raise NotALine(msg)
        fields[key], at = _value(line, at, key)
        if line[at : at + 1] != ",":
            break
        at += 1
    end = line[at:].strip(" ")
    if not end:
        return Line(measurement, tags, fields, None)
    if line[at] != " " or not _TIME.fullmatch(end) or abs(int(end)) > _LARGEST_SIGNED:
        msg = f"the time is {shown(end)}, not a whole number"
        raise NotALine(msg)
    return Line(measurement, tags, fields, int(end))


def _past_blanks(line: str, at: int) -> int:
    while line[at : at + 1] == " ":
        at += 1
    return at


def _key(line: str, at: int, kind: str) -> tuple[str, int]:
    """Return a key and the place after its equals sign."""
    key, end = _word(line, at, ends="=, ", escaped=_IN_KEY)
    if not key or line[end : end + 1] != "=":
        msg = f"{kind} {shown(key)} has no value" if key else f"a {kind} is missing"
        raise NotALine(msg)
    return key, end + 1


def _word(line: str, at: int, *, ends: str, escaped: frozenset[str]) -> tuple[str, int]:
    """Return the text up to an unescaped end, and where that stands."""
    said: list[str] = []
    while at < len(line) and line[at] not in ends:
        if line[at] == "\\" and line[at + 1 : at + 2] in escaped:
            at += 1
        said.append(line[at : at + 1])
        at += 1
    return "".join(said), at


def _value(line: str, at: int, key: str) -> tuple[int | float | bool | str, int]:
    if line[at : at + 1] == '"':
        return _quoted(line, at + 1, key)
    end = at
    while end < len(line) and line[end] not in ", ":
        end += 1
    said = line[at:end]
    if said in _TRUE or said in _FALSE:
        return said in _TRUE, end
    if _INTEGER.fullmatch(said):
        number = int(said[:-1])
        if -_LARGEST_SIGNED - 1 <= number <= _LARGEST_SIGNED:
            return number, end
    elif _UNSIGNED.fullmatch(said):
        number = int(said[:-1])
        if number <= _LARGEST_UNSIGNED:
            return number, end
    elif _FLOAT.fullmatch(said):
        return float(said), end
    msg = f"field {shown(key)} is {shown(said)}: no number, text or true or false"
    raise NotALine(msg)


def _quoted(line: str, at: int, key: str) -> tuple[str, int]:
    said: list[str] = []
    while at < len(line):
        if line[at] == '"':
            return "".join(said), at + 1
        if line[at] == "\\" and line[at + 1 : at + 2] in {'"', "\\"}:
            at += 1
        said.append(line[at : at + 1])
        at += 1
    msg = f"the text of field {shown(key)} does not end"
    raise NotALine(msg)


class LineProtocol:
    """Reads the lines on one topic for all the sensors that speak there."""

    def __init__(self, mappings: Sequence[SensorMapping]) -> None:
        self._mappings = tuple(mappings)

    @property
    def sensors(self) -> tuple[SensorMapping, ...]:
        """The sensors that speak on the topic."""
        return self._mappings

    def read(self, payload: bytes) -> Decoded:
        """Return what the lines say; a bad line does not spoil the others."""
        only = self._mappings[0].id if len(self._mappings) == 1 else ""
        try:
            text = payload.decode("utf-8")
        except UnicodeDecodeError as err:
            fix = "Have the sensor send line protocol in UTF-8"
            return Decoded((), (Refusal("payload", Kind.NOT_LINE, str(err), fix, only),))
        samples: list[Sample] = []
        refusals: list[Refusal] = []
        unclaimed: dict[str, None] = {}
        missing: dict[tuple[SensorMapping, ChannelMapping], None] = {}
        place = 0
        for place, line in enumerate(lines_in(text), start=1):
            if place > MOST_SAMPLES:
                details = f"more than {MOST_SAMPLES} lines"
                fix = "Have the sensor send fewer at a time"
                refusals.append(Refusal("payload", Kind.TOO_LARGE, details, fix, only))
                break
            try:
                one = parsed(line)
            except NotALine as wrong:
                fix = "Have the sensor send lines as in bag,device=b7 temp=21.5 1772000000000000000"
                where = f"line {place}"
                refusals.append(Refusal(where, Kind.NOT_LINE, str(wrong), fix, only))
                continue
            if not self._give(one, samples, refusals, missing):
                unclaimed[series_of(one)] = None
        heard = {sample.sensor.id for sample in samples}
        for mapping, channel in missing:
            if mapping.id not in heard:
                details = "no line of this sensor has such a field"
                fix = (
                    f"See what the sensor sends and correct the path of channel {channel.id} "
                    f"of sensor {mapping.id}"
                )
                refusals.append(Refusal(channel.path, Kind.PATH_MISSING, details, fix, mapping.id))
        if place == 0:
            fix = "Have the sensor send a line for every measurement"
            refusals.append(Refusal("payload", Kind.NOT_LINE, "there is no line", fix, only))
        return Decoded(samples, refusals, tuple(unclaimed))

    def _give(
        self,
        line: Line,
        samples: list[Sample],
        refusals: list[Refusal],
        missing: dict[tuple[SensorMapping, ChannelMapping], None],
    ) -> bool:
        """Give a line to the sensors whose it is; return whether there is any.

        A line with tags belongs to a sensor that names at least one of them: else the lines of
        two devices would be taken for those of one.
        """
        claimed = False
        for mapping in self._mappings:
            if not mapping.tags <= line.tags.items() or bool(mapping.tags) != bool(line.tags):
                continue
            claimed = True
            asking = [
                channel
                for channel in mapping.channels
                if channel.measurement in (None, line.measurement)
            ]
            asked = [channel for channel in asking if channel.path in line.fields]
            if asked:
                _take(mapping, line, samples, refusals, asked=asked)
            else:
                missing.update({(mapping, channel): None for channel in asking})
        return claimed


def _take(
    mapping: SensorMapping,
    line: Line,
    samples: list[Sample],
    refusals: list[Refusal],
    *,
    asked: Sequence[ChannelMapping],
) -> None:
    at_ms = None
    if mapping.time is not Timestamp.ARRIVAL:
        if line.time is None:
            fix = 'Have it send one, or write time = "arrival"'
            refusals.append(bad_time(mapping, "the line has no time", fix))
            return
        time = instant_of(mapping, line.time)
        if isinstance(time, Refusal):
            refusals.append(time)
            return
        at_ms = time
    values: list[tuple[ChannelMapping, int | float]] = []
    for channel in asked:
        value = line.fields[channel.path]
        if isinstance(value, bool | str):
            refusals.append(not_a_number(mapping, channel, value))
        else:
            values.append((channel, in_declared_unit(channel, value)))
    if values:
        samples.append(Sample(mapping, at_ms, values))


def series_of(line: Line) -> str:
    """Return what tells the sender of a line from others: its tags, else its measurement."""
    if not line.tags:
        return line.measurement
    return ",".join(f"{key}={value}" for key, value in sorted(line.tags.items()))
