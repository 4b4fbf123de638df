"""Topics in a site file: each says which device speaks, so no two may be mistaken."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.model.payload import Payload, topic_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from api.written.draft import Draft
    from api.written.toml_text import Where
    from rules.model.fault import Fault
    from rules.model.place import Sensor

NAMED_INSIDE = frozenset({Payload.SENML, Payload.LINE_PROTOCOL})
"""The payloads that name the device within the message, so that several can share a topic."""


def topics_used_twice(draft: Draft) -> Iterator[Fault]:
    """Yield a fault for every sensor whose messages would be taken for another's."""
    first: dict[str, int] = {}
    spoken: dict[object, int] = {}
    text = draft.text
    for place, sensor in draft.sensors.items():
        for topic in _topics(sensor):
            holder = first.setdefault(topic, place)
            if holder == place or _may_share(draft.sensors[holder], sensor):
                continue
            where: Where = ("sensor", place, "topic")
            line = text.line(("sensor", holder))
            problem = f'"{topic}" is already the topic of the sensor at line {line}'
            yield text.fault(where, problem, fix="Give each one its own.")
        if sensor.payload in NAMED_INSIDE:
            yield from _taken_twice(draft, place, spoken)
    yield from _lamps(draft, first)


def _topics(sensor: Sensor) -> tuple[str, ...]:
    if sensor.payload is Payload.PLAIN:
        return tuple(dict.fromkeys(topic_of(sensor.topic, one.path) for one in sensor.channel))
    return (sensor.topic,)


def _lamps(draft: Draft, sensors: Mapping[str, int]) -> Iterator[Fault]:
    """Yield a fault for every lamp on whose topic something else speaks or listens."""
    taken: dict[str, Where] = {topic: ("sensor", place) for topic, place in sensors.items()}
    for place, sensor in draft.sensors.items():
        if sensor.availability is not None:
            taken.setdefault(sensor.availability.topic, ("sensor", place, "availability"))
    for place, lamp in draft.lamps.items():
        holder = taken.setdefault(lamp.topic, ("lamp", place))
        if holder != ("lamp", place):
            line = draft.text.line(holder)
            problem = f'"{lamp.topic}" is already the topic of the {holder[0]} at line {line}'
            fix = "Give each one its own."
            yield draft.text.fault(("lamp", place, "topic"), problem, fix=fix)


def _may_share(one: Sensor, other: Sensor) -> bool:
    return one.payload is other.payload and one.payload in NAMED_INSIDE


def _taken_twice(draft: Draft, place: int, spoken: dict[object, int]) -> Iterator[Fault]:
    """Yield a fault where two sensors on a topic would read the same values."""
    text, sensor = draft.text, draft.sensors[place]
    if sensor.payload is Payload.LINE_PROTOCOL:
        key = (sensor.topic, frozenset(sensor.tags.items()))
        holder = spoken.setdefault(key, place)
        if holder != place:
            line = text.line(("sensor", holder))
            problem = f"are those of the sensor at line {line}, on the same topic"
            fix = "Name a tag that tells the two apart."
            yield text.fault(("sensor", place, "tags"), problem, fix=fix)
        return
    for at, channel in enumerate(sensor.channel):
        holder = spoken.setdefault((sensor.topic, channel.path), place)
        if holder != place:
            line = text.line(("sensor", holder))
            problem = f'"{channel.path}" is already read by the sensor at line {line}'
            fix = "Write the full name that this device sends."
            yield text.fault(("sensor", place, "channel", at, "path"), problem, fix=fix)
