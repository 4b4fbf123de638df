"""A reading, a refused message, and the one-minute grid on which readings are judged."""

from __future__ import annotations

from dataclasses import dataclass

MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one channel at one instant, raw, in the unit the sensor declares.

    `channel` is "sensor/channel" as in the site file; `at_ms` is milliseconds since the epoch, UTC.
    A channel has at most one reading an instant: the pair is the key.
    """

    channel: str
    at_ms: int
    value: float


@dataclass(frozen=True, slots=True)
class StoredReading:
    """A reading and its place in the order of keeping (1 is the first ever kept)."""

    sequence: int
    channel: str
    at_ms: int
    value: float


@dataclass(frozen=True, slots=True)
class Reject:
    """A message, or a value in one, that was refused on arrival: what, why, and what to do.

    `sensor` is the id of the sensor it was meant for, empty where nobody knows.
    """

    at_ms: int
    topic: str
    payload: bytes
    field: str
    problem: str
    fix: str
    sensor: str = ""


def minute_of(at_ms: int) -> int:
    """Return the cell an instant falls in: whole minutes since the epoch, UTC.

    >>> minute_of(119_999), minute_of(120_000)
    (1, 2)
    """
    return at_ms // MINUTE_MS
