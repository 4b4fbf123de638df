"""The gate: from a message to readings, or to a reject that says what to do about it."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import TYPE_CHECKING, NamedTuple

from collector.payloads.mapping import Refusal
from collector.payloads.readers import readers_by_topic
from collector.rejects import PAYLOAD_HEAD, Kind, problem
from rules.model.payload import Timestamp
from rules.model.quantities import MEANINGS, in_our_unit
from rules.model.reading import Reading, Reject

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.payloads.mapping import ChannelMapping, Sample, SensorMapping
    from rules.model.place import Availability, Sensor

MOST_PAYLOAD_BYTES = 256 * 1024
MOST_AHEAD_MS = 120_000
MOST_BEHIND_MS = 31 * 24 * 3600 * 1000
MOST_DEVICES_A_MESSAGE = 50


class Message(NamedTuple):
    """What arrived, and when by our own clock (milliseconds since the epoch, UTC).

    `retained` is true for an old message that the broker had put by for new subscribers. `only`,
    if given, is the one sensor for which the sender may speak. A tuple, as one is made for every
    message: a frozen dataclass takes three times as long to make.
    """

    topic: str
    payload: bytes
    arrived_ms: int
    retained: bool = False
    only: str | None = None


class Unclaimed(NamedTuple):
    """A message, or a device within one ("" for the whole message), that no sensor has."""

    topic: str
    device: str
    payload: bytes
    arrived_ms: int


class PresenceWord(NamedTuple):
    """A sensor, or the broker for it, said that it is there or not."""

    sensor: str
    up: bool
    at_ms: int


@dataclass(slots=True)
class Heard:
    """All that a batch of messages says; messages are added to it one by one.

    `clocks` holds for each message with a time of its own the arrival less that time, as
    (sensor, milliseconds): also for those that were refused for it.
    """

    readings: list[Reading] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    unclaimed: list[Unclaimed] = field(default_factory=list)
    presence: list[PresenceWord] = field(default_factory=list)
    clocks: list[tuple[str, int]] = field(default_factory=list)


class Gate:
    """Knows the site's sensors, and lets in what one of them can have said just now."""

    def __init__(self, sensors: Sequence[Sensor]) -> None:
        self._readers = readers_by_topic(sensors)
        self._availability: dict[str, list[tuple[str, Availability]]] = {}
        for sensor in sensors:
            if sensor.availability is not None:
                told = self._availability.setdefault(sensor.availability.topic, [])
                told.append((sensor.id, sensor.availability))
        self._last_arrival_ms: dict[str, int] = {}
        self._arrivals = threading.Lock()

    def with_sensors(self, sensors: Sequence[Sensor]) -> Gate:
        """Return a gate for other sensors that goes on counting arrivals where this one is."""
        new = Gate(sensors)
        new._last_arrival_ms, new._arrivals = self._last_arrival_ms, self._arrivals
        return new

    @property
    def topics(self) -> frozenset[str]:
        """The topics on which sensors of the site speak."""
        return frozenset(self._readers) | frozenset(self._availability)

    def sensors_on(self, topic: str) -> frozenset[str]:
        """Return the ids of the sensors whose topic this is."""
        speaking = {s.id for reader in self._readers.get(topic, ()) for s in reader.sensors}
        return frozenset(speaking | {name for name, _ in self._availability.get(topic, ())})

    def judge(self, message: Message, heard: Heard) -> None:
        """Add what the message says, and what of it cannot be taken, to `heard`.

        Never raises, whatever the message holds.
        """
        topic = message.topic
        readers = self._readers.get(topic, ())
        told = self._availability.get(topic, ())
        if not readers and not told:
            fix = (
                "Add a [[sensor]] with this topic to the site file, "
                "or keep such messages away from this collector"
            )
            details = "no sensor of the site sends here"
            heard.rejects.append(_reject(message, "topic", Kind.UNKNOWN_TOPIC, details, fix=fix))
            heard.unclaimed.append(Unclaimed(topic, "", message.payload, message.arrived_ms))
            return
        if len(message.payload) > MOST_PAYLOAD_BYTES:
            details = f"{len(message.payload)} bytes; at most {MOST_PAYLOAD_BYTES} are read"
            fix = "Have the sensor send its values alone, one message at a time"
            heard.rejects.append(_reject(message, "payload", Kind.TOO_LARGE, details, fix=fix))
            return
        presence = self._presence(message, heard) if told else False
        if presence:
            return
        for reader in readers:
            decoded = reader.read(message.payload)
            if decoded.refusals:
                heard.rejects += [_refused(message, refusal) for refusal in decoded.refusals]
            if decoded.unclaimed:
                _add_unclaimed(message, decoded.unclaimed, heard)
            for sample in decoded.samples:
                self._judge_sample(sample, message, heard)

    def _presence(self, message: Message, heard: Heard) -> bool:
        """Note what a message says of sensors being there; return whether it says that alone."""
        said = message.payload.decode("utf-8", errors="replace").strip()
        known = False
        for sensor, words in self._availability[message.topic]:
            if said in (words.up, words.down) and message.only in (None, sensor):
                up = said == words.up
                heard.presence.append(PresenceWord(sensor, up, message.arrived_ms))
                known = True
        if not known and message.topic not in self._readers:
            words = self._availability[message.topic][0][1]
            details = f'neither "{words.up}" nor "{words.down}"'
            fix = "Write under availability what the device sends as up and down"
            heard.rejects.append(
                _reject(message, "availability", Kind.NOT_PRESENCE, details, fix=fix)
            )
            return True
        return known

    def _judge_sample(self, sample: Sample, message: Message, heard: Heard) -> None:
        mapping, at_ms, values, since_arrival_ms = sample
        if message.only is not None and message.only != mapping.id:
            details = f"the sender may speak for sensor {message.only} only"
            fix = f"Give the device a token for sensor {mapping.id}, or one for all sensors"
            reject = _reject(
                message, "token", Kind.NOT_ALLOWED, details, fix=fix, sensor=mapping.id
            )
            heard.rejects.append(reject)
            return
        if at_ms is None:
            if message.retained:
                heard.rejects.append(_old_copy(mapping, message))
                return
            if not -MOST_BEHIND_MS <= since_arrival_ms <= MOST_AHEAD_MS:
                at_ms = message.arrived_ms + since_arrival_ms
                heard.rejects.append(_clock_off(mapping, message, at_ms))
                return
            at_ms = self._arrival(mapping.id, message.arrived_ms, since_arrival_ms)
        else:
            ahead_ms = at_ms - message.arrived_ms
            if not message.retained:
                heard.clocks.append((mapping.id, -ahead_ms))
            if not -MOST_BEHIND_MS <= ahead_ms <= MOST_AHEAD_MS:
                heard.rejects.append(_clock_off(mapping, message, at_ms))
                return
        readings = heard.readings
        for channel, value in values:
            try:
                in_range = (
                    channel.lowest <= value * channel.scale + channel.offset <= (channel.highest)
                )
            except OverflowError:  # a whole number too large for any float
                in_range = False
            if in_range:
                readings.append(Reading(channel.key, at_ms, float(value)))
            else:
                heard.rejects.append(_out_of_range(mapping, channel, message, value))

    def _arrival(self, sensor: str, arrived_ms: int, since_arrival_ms: int) -> int:
        """Return the arrival, moved on by a millisecond where two messages came within one.

        Else the second would be taken for the first delivered again, and be lost. What was
        measured before or after the arrival counts from it as it is.
        """
        if since_arrival_ms:
            return arrived_ms + since_arrival_ms
        with self._arrivals:
            at_ms = max(arrived_ms, self._last_arrival_ms.get(sensor, 0) + 1)
            # A clock set back by hours must not hold the sensor in the future for as long.
            if at_ms - arrived_ms > MOST_AHEAD_MS:
                at_ms = arrived_ms
            self._last_arrival_ms[sensor] = at_ms
            return at_ms


def _add_unclaimed(message: Message, devices: Sequence[str], heard: Heard) -> None:
    listed = ", ".join(devices[:3]) + ("" if len(devices) <= 3 else ", …")
    details = f"no sensor of the site is {listed}"
    fix = "Add a [[sensor]] for it to the site file; `graftvigil adopt` writes it"
    heard.rejects.append(_reject(message, "device", Kind.UNKNOWN_DEVICE, details, fix=fix))
    for device in devices[:MOST_DEVICES_A_MESSAGE]:
        heard.unclaimed.append(
            Unclaimed(message.topic, device, message.payload, message.arrived_ms)
        )


def _reject(
    message: Message, where: str, kind: Kind, details: str, *, fix: str, sensor: str = ""
) -> Reject:
    head = bytes(message.payload[:PAYLOAD_HEAD])
    said = problem(kind, details)
    return Reject(message.arrived_ms, message.topic, head, where, said, fix, sensor)


def _refused(message: Message, refusal: Refusal) -> Reject:
    return _reject(
        message,
        refusal.field,
        refusal.kind,
        refusal.details,
        fix=refusal.fix,
        sensor=refusal.sensor,
    )


def _old_copy(mapping: SensorMapping, message: Message) -> Reject:
    details = "the broker had put this by; nobody knows how old it is"
    fix = f'Turn "retain" off in sensor {mapping.id}, or have it send its own time'
    return _reject(message, "retain", Kind.OLD_COPY, details, fix=fix, sensor=mapping.id)


def _clock_off(mapping: SensorMapping, message: Message, at_ms: int) -> Reject:
    ahead_ms = at_ms - message.arrived_ms
    kind = Kind.CLOCK_AHEAD if ahead_ms > 0 else Kind.CLOCK_BEHIND
    details = f"the sensor's time is {_duration(abs(ahead_ms))} {kind.value.split()[1]} of ours"
    meant = next(
        (
            known
            for known, factor in _FINER.items()
            if mapping.time in _FINER
            and known is not mapping.time
            and _near(at_ms * _FINER[mapping.time] // factor, message.arrived_ms)
        ),
        None,
    )
    if meant is not None:
        fix = f'It looks like {_SAID[meant]}: write time = "{meant}" for sensor {mapping.id}'
    else:
        fix = (
            f"Set the clock of sensor {mapping.id} and see that it holds; if it has none, "
            'write time = "arrival"'
        )
    where = mapping.time_path or "time"
    return _reject(message, where, kind, details, fix=fix, sensor=mapping.id)


_FINER = {
    Timestamp.UNIX_S: 1,
    Timestamp.UNIX_MS: 1_000,
    Timestamp.UNIX_US: 1_000_000,
    Timestamp.UNIX_NS: 1_000_000_000,
}
_SAID = {
    Timestamp.UNIX_S: "seconds",
    Timestamp.UNIX_MS: "milliseconds",
    Timestamp.UNIX_US: "microseconds",
    Timestamp.UNIX_NS: "nanoseconds",
}


def _near(at_ms: int, arrived_ms: int) -> bool:
    return -MOST_BEHIND_MS <= at_ms - arrived_ms <= MOST_AHEAD_MS


def _duration(span_ms: int) -> str:
    for size, name in ((86_400_000, "days"), (3_600_000, "h"), (60_000, "min")):
        if span_ms >= 2 * size:
            return f"{span_ms // size} {name}"
    return f"{span_ms // 1000} s"


def _out_of_range(
    mapping: SensorMapping, channel: ChannelMapping, message: Message, value: float
) -> Reject:
    refusal = range_refusal(channel, value)
    return _refused(message, replace(refusal, sensor=mapping.id))


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
