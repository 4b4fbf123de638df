"""The page of sensors answers: what can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from api.records.tables import instant
from api.v1.collector import strangers_of
from api.v1.sensors import position_of, verdict_on
from collector.rejects import Kind, kind_of, readable
from rules.doubt import Flag
from rules.local_time import local_day
from rules.model.place import channel_key

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from api.parts import Parts
    from api.v1.sight import Present
    from api.web.telling import Telling
    from collector.guess import Candidate
    from collector.presence import Presence
    from collector.pulse import Regularity
    from rules.model.place import Channel, Sensor
    from rules.model.reading import Reject

MOST_REFUSED = 1000
MOST_SHOWN = 12
MOST_STRANGERS = 40
MOST_FAULTS = 10
CLOCK_TOLD_MS = 60_000
"""A clock this far off puts readings into wrong minutes, and is told."""


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
    """A sensor, what it speaks for, its last words, and what makes one doubt it."""

    id: str
    title: str
    speaks_for: str
    silent: bool
    doubted: bool
    channels: tuple[ChannelLine, ...]
    refused: int
    rhythm: str
    doubts: tuple[str, ...]


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
class StrangerLine:
    """A sender that no sensor of the site file is, and where it can be adopted."""

    name: str
    heard: str
    payload: str
    address: str
    readable: bool
    adopted: bool
    numbers: tuple[str, ...]
    sample: str


@dataclass(frozen=True, slots=True)
class SensorPage:
    """All that the page says."""

    answer: str
    kept_out: tuple[str, ...]
    collector: str
    collector_in_trouble: bool
    waiting: int
    sensors: tuple[SensorLine, ...]
    refused: tuple[RefusedLine, ...]
    counts: tuple[tuple[str, int], ...]
    strangers: tuple[StrangerLine, ...]


def sensor_page(parts: Parts, present: Present, telling: Telling) -> SensorPage:
    """Gather what the page says."""
    known = _Known(
        present=present,
        refused=parts.rejects.of_sensors(),
        regularity=parts.ingest.pulses.regularity(),
        clocks=parts.ingest.pulses.clock_behind_ms(),
        presence=parts.ingest.presence.current(),
    )
    lines = [_sensor(sensor, known, telling) for sensor in parts.site.sensor]
    lines.sort(
        key=lambda line: (not line.silent, not line.doubted, not line.doubts, line.refused == 0)
    )
    collector, trouble = _collector(parts, telling)
    strangers = strangers_of(parts)
    answer = telling.words.sensors_answer(sum(line.silent for line in lines), len(lines))
    doubted = sum(line.doubted for line in lines)
    if doubted:
        answer = f"{answer} {telling.words.sensors_doubted(doubted)}"
    return SensorPage(
        answer=answer,
        kept_out=tuple(str(fault) for fault in parts.book.trouble[:MOST_FAULTS]),
        collector=collector,
        collector_in_trouble=trouble,
        waiting=sum(not one.adopted for one in strangers),
        sensors=tuple(lines),
        refused=_refused(parts.rejects.newest(MOST_REFUSED), telling),
        counts=tuple(sorted(parts.rejects.counts().items(), key=lambda item: -item[1])),
        strangers=tuple(_stranger(one, telling) for one in strangers[:MOST_STRANGERS]),
    )


@dataclass(frozen=True, slots=True)
class _Known:
    present: Present
    refused: Mapping[str, Mapping[str, int]]
    regularity: Mapping[str, Regularity]
    clocks: Mapping[str, int]
    presence: Mapping[str, Presence]


def _collector(parts: Parts, telling: Telling) -> tuple[str, bool]:
    """Return how the collector is, in a sentence, and whether that is trouble."""
    words = telling.words
    health = parts.ingest.health()
    broker = parts.broker() if parts.broker is not None else None
    if health.failing_since_ms is not None:
        since = telling.time(instant(health.failing_since_ms))
        return words.cannot_keep(since, str(health.failure)), True
    if broker is not None and broker.trouble is not None:
        return words.cannot_reach(broker.trouble), True
    if health.lag_ms is None:
        return "", False
    return words.kept_within(words.number(max(health.lag_ms, 100) / 1000, 1)), False


def _stranger(one: Candidate, telling: Telling) -> StrangerLine:
    words = telling.words
    return StrangerLine(
        name=f"{one.topic} {one.device}".strip(),
        heard=words.heard_times(one.count, telling.ago(instant(one.last_ms))),
        payload=str(one.payload) if one.payload else words.not_recognised,
        address="/adopt?" + urlencode({"topic": one.topic, "device": one.device}),
        readable=one.payload is not None,
        adopted=one.adopted,
        numbers=tuple(
            f"{found.path}: {words.quantity[found.meant.quantity]}"
            for found in one.found
            if found.meant.quantity is not None
        ),
        sample=readable(one.sample),
    )


def _sensor(sensor: Sensor, known: _Known, telling: Telling) -> SensorLine:
    channels = tuple(
        _channel(sensor, channel, known.present, telling) for channel in sensor.channel
    )
    if len({channel.ago for channel in channels}) == 1:
        # One message told them all: its age is said once, with the last.
        channels = (*(replace(channel, ago="") for channel in channels[:-1]), channels[-1])
    rhythm, doubts = _health(sensor, known, telling)
    return SensorLine(
        id=sensor.id,
        title=sensor.title,
        speaks_for=_speaks_for(sensor, telling),
        silent=all(channel.silent for channel in channels),
        doubted=any(channel.failed for channel in channels),
        channels=channels,
        refused=sum(known.refused.get(sensor.id, {}).values()),
        rhythm=rhythm,
        doubts=doubts,
    )


def _health(sensor: Sensor, known: _Known, telling: Telling) -> tuple[str, tuple[str, ...]]:
    """Return how often a sensor speaks, and what makes one doubt it, worst first."""
    words = telling.words
    heard = [
        known.regularity[key]
        for key in (channel_key(sensor.id, channel.id) for channel in sensor.channel)
        if key in known.regularity
    ]
    usual = [one.usual_ms for one in heard if one.usual_ms is not None]
    doubts: list[str] = []
    word = known.presence.get(sensor.id)
    if word is not None and not word.up:
        doubts.append(words.said_gone(telling.time(instant(word.since_ms))))
    behind_ms = known.clocks.get(sensor.id, 0)
    if abs(behind_ms) >= CLOCK_TOLD_MS:
        doubts.append(words.clock_off(behind_ms // 1000))
    gaps = max((one.gaps for one in heard), key=len, default=())
    if gaps:
        start, end = (telling.time(instant(at_ms)) for at_ms in gaps[-1])
        doubts.append(words.gaps_said(len(gaps), start, end))
    return (words.every(min(usual) // 1000) if usual else ""), tuple(doubts)


def _channel(sensor: Sensor, channel: Channel, present: Present, telling: Telling) -> ChannelLine:
    words = telling.words
    name = words.quantity[channel.quantity]
    last = present.latest.get(channel_key(sensor.id, channel.id))
    check = _calibration(channel, telling)
    if last is None:
        return ChannelLine(name, "", words.never_heard, silent=True, failed="", notes=check)
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
        value=telling.raw(channel, last.value),
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
        if kind_of(one) in (Kind.UNKNOWN_TOPIC, Kind.UNKNOWN_DEVICE):
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
