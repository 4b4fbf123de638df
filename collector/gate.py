"""The gate: from a message to readings, or to a reject that says what to do about it."""

from __future__ import annotations

import threading
from math import isfinite
from typing import TYPE_CHECKING, NamedTuple

from collector.payloads.mapped_json import Refusal, mapping_of, values_in_mapped_json
from collector.rejects import PAYLOAD_HEAD, Kind, problem
from rules.model.place import Timestamp
from rules.model.quantities import MEANINGS, in_our_unit
from rules.model.reading import Reading, Reject

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.payloads.mapped_json import ChannelMapping, SensorMapping
    from rules.model.place import Sensor

MOST_PAYLOAD_BYTES = 256 * 1024
MOST_AHEAD_MS = 120_000
MOST_BEHIND_MS = 31 * 24 * 3600 * 1000


class Message(NamedTuple):
    """What arrived, and when by our own clock (milliseconds since the epoch, UTC).

    `retained` is true for an old message that the broker had put by for new subscribers. A tuple,
    as one is made for every message: a frozen dataclass takes three times as long to make.
    """

    topic: str
    payload: bytes
    arrived_ms: int
    retained: bool = False


class Gate:
    """Knows the site's sensors, and lets in what one of them can have said just now."""

    def __init__(self, sensors: Sequence[Sensor]) -> None:
        self._by_topic: dict[str, tuple[SensorMapping, ...]] = {}
        for sensor in sensors:
            others = self._by_topic.get(sensor.topic, ())
            self._by_topic[sensor.topic] = (*others, mapping_of(sensor))
        self._last_arrival_ms: dict[str, int] = {}
        self._arrivals = threading.Lock()

    @property
    def topics(self) -> frozenset[str]:
        """The topics on which sensors of the site speak."""
        return frozenset(self._by_topic)

    def judge(self, message: Message, readings: list[Reading], rejects: list[Reject]) -> None:
        """Add what the message says to `readings`, and what cannot be taken to `rejects`.

        Never raises, whatever the message holds.
        """
        mappings = self._by_topic.get(message.topic)
        if mappings is None:
            fix = (
                "Add a [[sensor]] with this topic to the site file, "
                "or keep such messages away from this collector"
            )
            details = "no sensor of the site sends here"
            rejects.append(_reject(message, "topic", problem(Kind.UNKNOWN_TOPIC, details), fix))
            return
        if len(message.payload) > MOST_PAYLOAD_BYTES:
            details = f"{len(message.payload)} bytes; at most {MOST_PAYLOAD_BYTES} are read"
            fix = "Have the sensor send its values alone, one message at a time"
            rejects.append(_reject(message, "payload", problem(Kind.TOO_LARGE, details), fix))
            return
        for mapping in mappings:
            self._judge_for(mapping, message, readings, rejects)

    def _judge_for(
        self,
        mapping: SensorMapping,
        message: Message,
        readings: list[Reading],
        rejects: list[Reject],
    ) -> None:
        decoded = values_in_mapped_json(mapping, message.payload)
        if decoded.refusals:
            rejects += [_refused(message, refusal) for refusal in decoded.refusals]
        if not decoded.values:
            return
        at_ms = decoded.at_ms
        if at_ms is None:
            if message.retained:
                rejects.append(_old_copy(mapping, message))
                return
            at_ms = self._arrival(mapping.id, message.arrived_ms)
        elif not -MOST_BEHIND_MS <= at_ms - message.arrived_ms <= MOST_AHEAD_MS:
            rejects.append(_clock_off(mapping, message, at_ms))
            return
        for channel, value in decoded.values:
            try:
                in_range = (
                    channel.lowest <= value * channel.scale + channel.offset <= (channel.highest)
                )
            except OverflowError:  # a whole number too large for any float
                in_range = False
            if in_range:
                readings.append(Reading(channel.key, at_ms, float(value)))
            else:
                rejects.append(_out_of_range(channel, message, value))

    def _arrival(self, sensor: str, arrived_ms: int) -> int:
        """Return the arrival, moved on by a millisecond where two messages came within one.

        Else the second would be taken for the first delivered again, and be lost.
        """
        with self._arrivals:
            at_ms = max(arrived_ms, self._last_arrival_ms.get(sensor, 0) + 1)
            # A clock set back by hours must not hold the sensor in the future for as long.
            if at_ms - arrived_ms > MOST_AHEAD_MS:
                at_ms = arrived_ms
            self._last_arrival_ms[sensor] = at_ms
            return at_ms


def _reject(message: Message, field: str, said: str, fix: str) -> Reject:
    head = bytes(message.payload[:PAYLOAD_HEAD])
    return Reject(message.arrived_ms, message.topic, head, field, said, fix)


def _refused(message: Message, refusal: Refusal) -> Reject:
    said = problem(refusal.kind, refusal.details)
    return _reject(message, refusal.field, said, refusal.fix)


def _old_copy(mapping: SensorMapping, message: Message) -> Reject:
    details = "the broker had put this by; nobody knows how old it is"
    fix = f'Turn "retain" off in sensor {mapping.id}, or have it send its own time'
    return _reject(message, "retain", problem(Kind.OLD_COPY, details), fix)


def _clock_off(mapping: SensorMapping, message: Message, at_ms: int) -> Reject:
    ahead_ms = at_ms - message.arrived_ms
    kind = Kind.CLOCK_AHEAD if ahead_ms > 0 else Kind.CLOCK_BEHIND
    details = f"the sensor's time is {_duration(abs(ahead_ms))} {kind.value.split()[1]} of ours"
    if mapping.time is Timestamp.UNIX_S and _near(at_ms // 1000, message.arrived_ms):
        fix = f'It looks like milliseconds: write time = "unix_ms" for sensor {mapping.id}'
    elif mapping.time is Timestamp.UNIX_MS and _near(at_ms * 1000, message.arrived_ms):
        fix = f'It looks like seconds: write time = "unix_s" for sensor {mapping.id}'
    else:
        fix = (
            f"Set the clock of sensor {mapping.id} and see that it holds; if it has none, "
            'write time = "arrival"'
        )
    return _reject(message, mapping.time_path, problem(kind, details), fix)


def _near(at_ms: int, arrived_ms: int) -> bool:
    return -MOST_BEHIND_MS <= at_ms - arrived_ms <= MOST_AHEAD_MS


def _duration(span_ms: int) -> str:
    for size, name in ((86_400_000, "days"), (3_600_000, "h"), (60_000, "min")):
        if span_ms >= 2 * size:
            return f"{span_ms // size} {name}"
    return f"{span_ms // 1000} s"


def _out_of_range(channel: ChannelMapping, message: Message, value: float) -> Reject:
    return _refused(message, range_refusal(channel, value))


def in_range(channel: ChannelMapping, value: float) -> bool:
    """Return whether a sensor of the channel's kind can say a raw value in its declared unit."""
    return channel.lowest <= value * channel.scale + channel.offset <= channel.highest


def range_refusal(channel: ChannelMapping, value: float) -> Refusal:
    """Return why a raw value that is not in range is refused."""
    meaning = MEANINGS[channel.quantity]
    try:
        raw = float(value)
    except OverflowError:
        raw = float("inf")
    if not isfinite(raw):
        details = f"the value is {raw}"
        fix = "The sensor failed to measure, and says so: see to its probe and wiring"
        return Refusal(channel.path, Kind.NOT_FINITE, details, fix)
    details = (
        f"{raw:g} {channel.unit}; no sensor of {channel.quantity} can say less than "
        f"{meaning.lowest:g} or more than {meaning.highest:g} {meaning.unit}"
    )
    fitting = [
        unit
        for unit in meaning.units
        if meaning.lowest <= in_our_unit(channel.quantity, unit, raw) <= meaning.highest
    ]
    fix = "See to the probe and its wiring"
    if fitting:
        fix = (
            f"Does the sensor send {' or '.join(fitting)}? Then write "
            f'unit = "{fitting[0]}" for channel {channel.id}; else see to the probe and its wiring'
        )
    return Refusal(channel.path, Kind.OUT_OF_RANGE, details, fix)
