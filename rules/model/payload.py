"""How a sensor writes messages and tells the time, and which fields of a site file fit which."""

from __future__ import annotations

import re
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping


class Payload(StrEnum):
    """How a sensor writes its messages."""

    JSON = "json"
    SENML = "senml"
    PLAIN = "plain"
    LINE_PROTOCOL = "line_protocol"


class Timestamp(StrEnum):
    """How a sensor tells the time, or that it cannot."""

    ARRIVAL = "arrival"
    ISO_8601 = "iso8601"
    UNIX_S = "unix_s"
    UNIX_MS = "unix_ms"
    UNIX_US = "unix_us"
    UNIX_NS = "unix_ns"
    WRITTEN = "written"


IN_PAYLOAD: Mapping[Payload, frozenset[Timestamp]] = MappingProxyType(
    {
        Payload.JSON: frozenset(Timestamp),
        Payload.SENML: frozenset({Timestamp.ARRIVAL, Timestamp.UNIX_S}),
        Payload.PLAIN: frozenset({Timestamp.ARRIVAL}),
        Payload.LINE_PROTOCOL: frozenset(
            {
                Timestamp.ARRIVAL,
                Timestamp.UNIX_S,
                Timestamp.UNIX_MS,
                Timestamp.UNIX_US,
                Timestamp.UNIX_NS,
            }
        ),
    }
)
"""The ways to tell the time that each payload knows."""

FITTING: Mapping[str, frozenset[Payload]] = MappingProxyType(
    {
        "time_path": frozenset({Payload.JSON}),
        "samples_path": frozenset({Payload.JSON}),
        "unit_path": frozenset({Payload.JSON}),
        "tags": frozenset({Payload.LINE_PROTOCOL}),
        "measurement": frozenset({Payload.LINE_PROTOCOL}),
        "scale": frozenset(Payload) - {Payload.SENML},  # SenML says its own unit
    }
)
"""The payloads in which a field of the site file means something, where not in all."""

TIME_MARKS = frozenset("YymdjHIpMSfz%")
"""What may follow % in a time_format. Names of months and days are left out: they are words."""


def unfitting(payload: Payload, given: Mapping[str, bool]) -> Iterator[str]:
    """Yield the fields that are given and mean nothing with this payload."""
    for name, is_given in given.items():
        if is_given and payload not in FITTING[name]:
            yield name


def time_trouble(
    payload: Payload, time: Timestamp, time_format: str | None, *, zone: str | None
) -> str | None:
    """Return what does not fit in how a sensor tells the time, as 'field: problem; fix'."""
    told = IN_PAYLOAD[payload]
    if time not in told:
        listed = " or ".join(f'"{known}"' for known in Timestamp if known in told)
        return f'time: "{time}" is not a time of payload "{payload}"; write {listed}'
    if (time is Timestamp.WRITTEN) != (time_format is not None):
        return 'time_format: goes with time = "written", and only with it; correct one'
    if time_format is None:
        if zone is not None:
            return 'time_zone: goes with time = "written", and only with it; leave it out'
        return None
    unknown = sorted(set(re.findall(r"%(.?)", time_format)) - TIME_MARKS)
    if unknown:
        listed = " ".join(f"%{mark}" for mark in sorted(TIME_MARKS))
        return f"time_format: %{unknown[0]} is not known; use {listed}"
    marks = set(re.findall(r"%(.)", time_format))
    if not (marks & {"Y", "y"} and ({"m", "d"} <= marks or "j" in marks)):
        return 'time_format: tells no whole date; write it as in "%d.%m.%Y %H:%M:%S"'
    if ("z" in marks) == (zone is not None):
        return (
            "time_zone: is needed where time_format has no %z, and only there; "
            'write it as in time_zone = "Etc/GMT-10"'
        )
    return None


def plain_topic(topic: str) -> str:
    """Return a topic on which one device speaks; ValueError for filters and reserved ones."""
    if re.search(r"[+#\x00]", topic) or topic.startswith("$"):
        msg = "a sensor's topic has no +, # or $ in front; give each sensor its own topic"
        raise ValueError(msg)
    return topic


def topic_of(sensor_topic: str, path: str) -> str:
    """Return the topic of one plain number.

    >>> topic_of("shed/bag-07", "air"), topic_of("shed/door", ".")
    ('shed/bag-07/air', 'shed/door')
    """
    return sensor_topic if path == "." else f"{sensor_topic}/{path}"
