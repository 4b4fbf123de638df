"""Which reader reads which topic."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.payloads.line_protocol import LineProtocol
from collector.payloads.mapped_json import MappedJson
from collector.payloads.mapping import mapping_of
from collector.payloads.plain import PlainNumber
from collector.payloads.senml import SenmlPack
from rules.model.payload import Payload, topic_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from collector.payloads.mapping import Reader, SensorMapping
    from rules.model.place import Sensor


def readers_by_topic(sensors: Sequence[Sensor]) -> Mapping[str, tuple[Reader, ...]]:
    """Return the readers of every topic on which a sensor speaks.

    Sensors that share a topic in SenML or line protocol share a reader: a message is read once.
    """
    found: dict[str, list[Reader]] = {}
    shared: dict[tuple[Payload, str], list[SensorMapping]] = {}
    for sensor in sensors:
        mapping = mapping_of(sensor)
        match sensor.payload:
            case Payload.JSON:
                found.setdefault(sensor.topic, []).append(MappedJson(mapping))
            case Payload.PLAIN:
                for channel in mapping.channels:
                    topic = topic_of(sensor.topic, channel.path)
                    found.setdefault(topic, []).append(PlainNumber(mapping, channel))
            case Payload.SENML | Payload.LINE_PROTOCOL:
                shared.setdefault((sensor.payload, sensor.topic), []).append(mapping)
    for (payload, topic), mappings in shared.items():
        reader = SenmlPack(mappings) if payload is Payload.SENML else LineProtocol(mappings)
        found.setdefault(topic, []).append(reader)
    return {topic: tuple(readers) for topic, readers in found.items()}
