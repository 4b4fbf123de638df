"""What an unknown sender probably sends: its payload, its time, and what each number means."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isfinite
from typing import TYPE_CHECKING

from pydantic_core import from_json

from collector.gate import MOST_AHEAD_MS, MOST_BEHIND_MS
from collector.meanings import Meant, meaning_of
from collector.payloads.line_protocol import NotALine, lines_in, parsed, series_of
from collector.payloads.plain import number_in
from collector.payloads.senml import ABSOLUTE_FROM_S, NotSenML, device_in, resolved
from collector.payloads.times import iso_ms
from rules.model.payload import Payload, Timestamp

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from collector.payloads.line_protocol import Line
    from collector.waiting import Waiting

MOST_FOUND = 40
_DEEPEST = 6
_UNIX = (
    (Timestamp.UNIX_S, 1000.0),
    (Timestamp.UNIX_MS, 1.0),
    (Timestamp.UNIX_US, 0.001),
    (Timestamp.UNIX_NS, 0.000_001),
)


@dataclass(frozen=True, slots=True)
class Found:
    """A number in a message: the path to it as the site file writes it, and what it may mean."""

    path: str
    value: float
    meant: Meant
    measurement: str | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """A device that could be adopted: what its messages are, as far as can be guessed.

    `topic` is what its `topic` would be; `of` the entries of the waiting list it is made of.
    `payload` is None where nothing of ours can read it.
    """

    topic: str
    device: str
    payload: Payload | None
    time: Timestamp
    time_path: str | None
    tags: tuple[tuple[str, str], ...]
    found: tuple[Found, ...]
    of: tuple[Waiting, ...]

    @property
    def sample(self) -> bytes:
        """The head of the newest message."""
        return max(self.of, key=lambda one: one.last_ms).sample

    @property
    def first_ms(self) -> int:
        """When it was first heard."""
        return min(one.first_ms for one in self.of)

    @property
    def last_ms(self) -> int:
        """When it was last heard."""
        return max(one.last_ms for one in self.of)

    @property
    def count(self) -> int:
        """How many messages were heard."""
        return sum(one.count for one in self.of)

    @property
    def adopted(self) -> bool:
        """Whether it has been written into the site file."""
        return any(one.adopted_ms is not None for one in self.of)


def candidates(waiting: Sequence[Waiting]) -> list[Candidate]:
    """Return what could be adopted, in the order given. Plain numbers side by side are one."""
    made: dict[tuple[str, str, bool], Candidate] = {}
    for one in waiting:
        candidate = candidate_of(one)
        plain = candidate.payload is Payload.PLAIN
        key = (candidate.topic, candidate.device, plain)
        known = made.get(key)
        if known is None or not plain:
            made[key] = candidate
        else:
            found = sorted((*known.found, *candidate.found), key=lambda each: each.path)
            made[key] = replace(
                known, found=tuple(found[:MOST_FOUND]), of=(*known.of, *candidate.of)
            )
    return list(made.values())


def candidate_of(one: Waiting) -> Candidate:
    """Return what one entry of the waiting list may be."""
    for reading in (_plain, _senml, _json, _lines):
        candidate = reading(one)
        if candidate is not None:
            return candidate
    return _made(one, None)


def _made(
    one: Waiting,
    payload: Payload | None,
    *,
    found: Sequence[Found] = (),
    topic: str | None = None,
    time: Timestamp = Timestamp.ARRIVAL,
    time_path: str | None = None,
    tags: tuple[tuple[str, str], ...] = (),
) -> Candidate:
    return Candidate(
        topic=one.topic if topic is None else topic,
        device=one.device,
        payload=payload,
        time=time,
        time_path=time_path,
        tags=tags,
        found=tuple(found[:MOST_FOUND]),
        of=(one,),
    )


def _plain(one: Waiting) -> Candidate | None:
    number = number_in(one.sample) if one.size == len(one.sample) else None
    if number is None or not isfinite(number):
        return None
    topic, slash, last = one.topic.rpartition("/")
    path = last if slash and topic and last else "."
    whose = topic if path != "." else one.topic
    name = last or one.topic
    found = Found(path, number, meaning_of(name, number, context=topic))
    return _made(one, Payload.PLAIN, found=(found,), topic=whose)


def _senml(one: Waiting) -> Candidate | None:
    try:
        records = resolved(one.sample)
    except NotSenML:
        return None
    devices = {device_in(record.name) for record in records}
    mine = [r for r in records if one.device in ("", device_in(r.name))]
    found: dict[str, Found] = {}
    for record in mine:
        value = record.value
        if type(value) is int or type(value) is float:
            name = record.name.removeprefix(device_in(record.name)) or record.name
            meant = meaning_of(name, value, context=record.name, unit=record.unit)
            found.setdefault(record.name, Found(record.name, value, meant))
    absolute = [r.time_s for r in mine if r.time_s >= ABSOLUTE_FROM_S]
    near = bool(absolute) and all(_near(round(at * 1000), one.last_ms) for at in absolute)
    relative = len(absolute) == 0
    made = _made(
        one,
        Payload.SENML,
        found=tuple(found.values()),
        time=Timestamp.UNIX_S if near or relative else Timestamp.ARRIVAL,
    )
    return made if one.device or len(devices) != 1 else replace(made, device=devices.pop())


def _json(one: Waiting) -> Candidate | None:
    try:
        document = from_json(one.sample)
    except ValueError:
        return None
    if type(document) is not dict and type(document) is not list:
        return None
    time, time_path = Timestamp.ARRIVAL, None
    found: list[Found] = []
    for path, value, unit in _leaves(document, (), 0):
        told = _time_of(value, one.last_ms)
        if told is not None:
            if time_path is None:
                time, time_path = told, path
        elif (type(value) is int or type(value) is float) and abs(value) < 1e15:
            name = path.rpartition(".")[2]
            if name.isdecimal() or name.lower() in ("value", "v", "val"):
                name = path
            meant = meaning_of(name, value, context=f"{one.topic} {path}", unit=unit)
            found.append(Found(path, float(value), meant))
            if len(found) == MOST_FOUND:
                break
    return _made(one, Payload.JSON, found=found, time=time, time_path=time_path)


def _leaves(
    node: object, path: tuple[str, ...], depth: int
) -> Iterator[tuple[str, object, str | None]]:
    """Yield each value with its path, and the unit that stands beside it, if one does."""
    if depth > _DEEPEST:
        return
    inside: Sequence[tuple[str, object]] = ()
    unit: str | None = None
    if type(node) is dict:
        # A path is cut at its dots, so a name with one can't be reached.
        inside = [(name, value) for name, value in node.items() if name and "." not in name]
        said = node.get("unit", node.get("units", node.get("u")))
        unit = said if type(said) is str else None
    elif type(node) is list:
        inside = [(str(place), value) for place, value in enumerate(node[:MOST_FOUND])]
    for name, value in inside:
        if type(value) is dict or type(value) is list:
            yield from _leaves(value, (*path, name), depth + 1)
        elif value is not None and type(value) is not bool:
            yield ".".join((*path, name)), value, unit


def _time_of(value: object, arrived_ms: int) -> Timestamp | None:
    """Return how a value tells a time near the arrival; None if it does not."""
    if type(value) is str:
        at_ms = iso_ms(value)
        return Timestamp.ISO_8601 if at_ms is not None and _near(at_ms, arrived_ms) else None
    if (type(value) is int or type(value) is float) and abs(value) < 1e21 and value > 1e8:
        for time, factor in _UNIX:
            if _near(round(value * factor), arrived_ms):
                return time
    return None


def _near(at_ms: int, arrived_ms: int) -> bool:
    return -MOST_BEHIND_MS <= at_ms - arrived_ms <= MOST_AHEAD_MS


def _lines(one: Waiting) -> Candidate | None:
    try:
        text = one.sample.decode("utf-8")
    except UnicodeDecodeError:
        return None
    lines: list[Line] = []
    for line in lines_in(text):
        try:
            lines.append(parsed(line))
        except NotALine:
            if one.size == len(one.sample):
                return None
    mine = [line for line in lines if one.device in ("", series_of(line))]
    if not mine:
        return None
    # Without a device named, the first line speaks: another one may be of another device.
    mine = [line for line in mine if series_of(line) == series_of(mine[0])]
    several = len({line.measurement for line in mine}) > 1
    found: dict[tuple[str, str], Found] = {}
    for said in mine:
        for path, value in said.fields.items():
            if isinstance(value, bool | str) or not isfinite(value):
                continue
            context = f"{one.topic} {said.measurement}"
            name = f"{said.measurement} {path}" if path.lower() in ("value", "v") else path
            meant = meaning_of(name, value, context=context)
            measurement = said.measurement if several else None
            key = (said.measurement, path)
            found.setdefault(key, Found(path, float(value), meant, measurement))
    told = _time_of(mine[0].time, one.last_ms)
    return _made(
        one,
        Payload.LINE_PROTOCOL,
        found=tuple(found.values()),
        time=told or Timestamp.ARRIVAL,
        tags=tuple(sorted(mine[0].tags.items())),
    )
