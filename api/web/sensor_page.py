"""The page of sensors answers: what can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from api.records.tables import instant
from api.v1.sensors import position_of
from collector.rejects import Kind, kind_of, readable
from rules.model.place import channel_key
from rules.model.quantities import MEANINGS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from api.parts import Parts
    from api.web.telling import Telling
    from rules.model.place import Channel, Sensor
    from rules.model.reading import Reject, StoredReading

MOST_REFUSED = 1000
MOST_SHOWN = 12


@dataclass(frozen=True, slots=True)
class ChannelLine:
    """One channel's last word."""

    name: str
    value: str
    ago: str
    silent: bool


@dataclass(frozen=True, slots=True)
class SensorLine:
    """A sensor, what it speaks for, and its last words."""

    id: str
    title: str
    speaks_for: str
    silent: bool
    channels: tuple[ChannelLine, ...]
    refused: int


@dataclass(frozen=True, slots=True)
class RefusedLine:
    """One kind of refusal of one topic: how often of late, and the newest one."""

    topic: str
    field: str
    problem: str
    fix: str
    last: str
    times: int
    payload: str


@dataclass(frozen=True, slots=True)
class SensorPage:
    """All that the page says."""

    answer: str
    sensors: tuple[SensorLine, ...]
    refused: tuple[RefusedLine, ...]
    counts: tuple[tuple[str, int], ...]
    unknown: tuple[tuple[str, int], ...]


def sensor_page(parts: Parts, telling: Telling) -> SensorPage:
    """Gather what the page says."""
    latest = parts.store.latest()
    rejects = parts.rejects.newest(MOST_REFUSED)
    by_topic: dict[str, int] = {}
    for one in rejects:
        by_topic[one.topic] = by_topic.get(one.topic, 0) + 1
    lines = [
        _sensor(sensor, latest, by_topic.get(sensor.topic, 0), telling)
        for sensor in parts.site.sensor
    ]
    lines.sort(key=lambda line: (not line.silent, line.refused == 0))
    topics = {sensor.topic for sensor in parts.site.sensor}
    unknown = [(topic, count) for topic, count in by_topic.items() if topic not in topics]
    return SensorPage(
        answer=telling.words.sensors_answer(sum(line.silent for line in lines), len(lines)),
        sensors=tuple(lines),
        refused=_refused(rejects, telling),
        counts=tuple(sorted(parts.rejects.counts().items(), key=lambda item: -item[1])),
        unknown=tuple(unknown),
    )


def _sensor(
    sensor: Sensor, latest: Mapping[str, StoredReading], refused: int, telling: Telling
) -> SensorLine:
    channels = tuple(
        _channel(channel, latest.get(channel_key(sensor.id, channel.id)), telling)
        for channel in sensor.channel
    )
    if len({channel.ago for channel in channels}) == 1:
        # One message told them all: its age is said once, with the last.
        channels = (*(replace(channel, ago="") for channel in channels[:-1]), channels[-1])
    return SensorLine(
        id=sensor.id,
        title=sensor.title,
        speaks_for=_speaks_for(sensor, telling),
        silent=all(channel.silent for channel in channels),
        channels=channels,
        refused=refused,
    )


def _channel(channel: Channel, last: StoredReading | None, telling: Telling) -> ChannelLine:
    words = telling.words
    name = words.quantity[channel.quantity]
    if last is None:
        return ChannelLine(name, "", words.never_heard, silent=True)
    meaning = MEANINGS[channel.quantity]
    shown = meaning.shown if channel.unit == meaning.unit else channel.unit
    at = instant(last.at_ms)
    return ChannelLine(
        name=name,
        value=f"{words.number(last.value, 2).rstrip('0').rstrip('.,')}\N{NO-BREAK SPACE}{shown}",
        ago=telling.ago(at),
        silent=telling.age_s(at) > channel.stale_after_min * 60,
    )


def _speaks_for(sensor: Sensor, telling: Telling) -> str:
    words = telling.words
    places: dict[str, None] = {}
    for channel in sensor.channel:
        position = position_of(sensor, channel, telling.now)
        if position is None:
            continue
        if position.cover_of is not None:
            places[position.cover_of] = None
        elif position.bench is not None:
            places[telling.bench(position.bench)] = None
        elif position.house is not None:
            places[telling.house(position.house)] = None
        else:
            places[words.open_sky] = None
    return words.listed(list(places))


def _refused(rejects: Sequence[Reject], telling: Telling) -> tuple[RefusedLine, ...]:
    """Return the newest refusal of each topic, field and kind, with how many like it."""
    newest: dict[tuple[str, str, str], Reject] = {}
    times: dict[tuple[str, str, str], int] = {}
    for one in rejects:
        if kind_of(one) == Kind.UNKNOWN_TOPIC:
            continue
        key = (one.topic, one.field, kind_of(one))
        newest.setdefault(key, one)
        times[key] = times.get(key, 0) + 1
    return tuple(
        RefusedLine(
            topic=one.topic,
            field=one.field,
            problem=one.problem,
            fix=one.fix,
            last=telling.time(instant(one.at_ms)),
            times=times[key],
            payload=readable(one.payload),
        )
        for key, one in list(newest.items())[:MOST_SHOWN]
    )
