"""The page of sensors answers: what can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from api.records.tables import instant
from api.v1.sensors import position_of, verdict_on
from collector.rejects import Kind, kind_of, readable
from rules.doubt import Flag
from rules.local_time import local_day
from rules.model.place import channel_key
from rules.model.quantities import MEANINGS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from api.parts import Parts
    from api.v1.sight import Present
    from api.web.telling import Telling
    from rules.model.place import Channel, Sensor
    from rules.model.reading import Reject

MOST_REFUSED = 1000
MOST_SHOWN = 12


@dataclass(frozen=True, slots=True)
class ChannelLine:
    """One channel's last word. `failed` says why it is not believed, `notes` what else to know."""

    name: str
    value: str
    ago: str
    silent: bool
    failed: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SensorLine:
    """A sensor, what it speaks for, and its last words."""

    id: str
    title: str
    speaks_for: str
    silent: bool
    doubted: bool
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


def sensor_page(parts: Parts, present: Present, telling: Telling) -> SensorPage:
    """Gather what the page says."""
    rejects = parts.rejects.newest(MOST_REFUSED)
    by_topic: dict[str, int] = {}
    for one in rejects:
        by_topic[one.topic] = by_topic.get(one.topic, 0) + 1
    lines = [
        _sensor(sensor, present, by_topic.get(sensor.topic, 0), telling)
        for sensor in parts.site.sensor
    ]
    lines.sort(key=lambda line: (not line.silent, not line.doubted, line.refused == 0))
    topics = {sensor.topic for sensor in parts.site.sensor}
    unknown = [(topic, count) for topic, count in by_topic.items() if topic not in topics]
    answer = telling.words.sensors_answer(sum(line.silent for line in lines), len(lines))
    doubted = sum(line.doubted for line in lines)
    if doubted:
        answer = f"{answer} {telling.words.sensors_doubted(doubted)}"
    return SensorPage(
        answer=answer,
        sensors=tuple(lines),
        refused=_refused(rejects, telling),
        counts=tuple(sorted(parts.rejects.counts().items(), key=lambda item: -item[1])),
        unknown=tuple(unknown),
    )


def _sensor(sensor: Sensor, present: Present, refused: int, telling: Telling) -> SensorLine:
    channels = tuple(_channel(sensor, channel, present, telling) for channel in sensor.channel)
    if len({channel.ago for channel in channels}) == 1:
        # One message told them all: its age is said once, with the last.
        channels = (*(replace(channel, ago="") for channel in channels[:-1]), channels[-1])
    return SensorLine(
        id=sensor.id,
        title=sensor.title,
        speaks_for=_speaks_for(sensor, telling),
        silent=all(channel.silent for channel in channels),
        doubted=any(channel.failed for channel in channels),
        channels=channels,
        refused=refused,
    )


def _channel(sensor: Sensor, channel: Channel, present: Present, telling: Telling) -> ChannelLine:
    words = telling.words
    name = words.quantity[channel.quantity]
    last = present.latest.get(channel_key(sensor.id, channel.id))
    check = _calibration(channel, telling)
    if last is None:
        return ChannelLine(name, "", words.never_heard, silent=True, failed="", notes=check)
    meaning = MEANINGS[channel.quantity]
    shown = meaning.shown if channel.unit == meaning.unit else channel.unit
    at = instant(last.at_ms)
    flag, test = verdict_on(present, sensor, channel)
    failed = ""
    suspect: tuple[str, ...] = ()
    if test is not None and flag is Flag.FAIL:
        failed = words.not_believed(words.doubts[test])
    elif test is not None:
        suspect = (words.suspect(words.doubts[test]),)
    return ChannelLine(
        name=name,
        value=f"{words.number(last.value, 2).rstrip('0').rstrip('.,')}\N{NO-BREAK SPACE}{shown}",
        ago=telling.ago(at),
        silent=telling.age_s(at) > channel.stale_after_min * 60,
        failed=failed,
        notes=(*suspect, *check),
    )


def _calibration(channel: Channel, telling: Telling) -> tuple[str, ...]:
    check = channel.calibration_at(telling.now)
    if check is None:
        return ()
    if check.expires is not None and check.is_out(telling.now):
        return (telling.words.out_of_calibration(_day(check.expires, telling)),)
    until = "" if check.expires is None else _day(check.expires, telling)
    return (telling.words.calibrated(_day(check.since, telling), until),)


def _day(at: datetime, telling: Telling) -> str:
    return telling.day(local_day(at, telling.site.site))


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
