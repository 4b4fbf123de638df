"""Readings on their way into cells: read once, in the order of keeping, held minute by minute."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.model.reading import MINUTE_MS, minute_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.stores.base import ReadingStore
    from rules.model.reading import StoredReading

WINDOW_MIN = 15
CHUNK = 5_000


@dataclass(frozen=True, slots=True)
class Taken:
    """One chunk was read, up to `sequence`; `late` came after their cells had been closed."""

    sequence: int
    late: tuple[StoredReading, ...]


class Inflow:
    """Hands out the readings of one minute after another, each reading exactly once.

    Readings are drawn by sequence, so that it is a fact which of them had been seen when a cell
    was closed. Those of the next minutes are held; those further ahead stay in the store and are
    fetched by time when their minutes come near. What is held is so bounded by a few minutes of
    readings, after an outage of any length.

    Parameters
    ----------
    channels
        Only readings of these channels are handed out.
    sequence
        The last reading already seen; those up to it are fetched by time.
    next_minute
        The first minute that will be asked for.
    """

    def __init__(
        self,
        store: ReadingStore,
        channels: Sequence[str],
        *,
        sequence: int,
        next_minute: int,
        window_min: int = WINDOW_MIN,
        chunk: int = CHUNK,
    ) -> None:
        self._store = store
        self._channels = tuple(sorted(channels))
        self._known = frozenset(channels)
        self._sequence = sequence
        self._next_minute = next_minute
        self._held_until = next_minute
        self._held: dict[int, list[StoredReading]] = {}
        # Whatever lies in the store and is not held is of this minute or an earlier one.
        kept = store.latest().values()
        self._furthest = max(
            (minute_of(reading.at_ms) for reading in kept), default=next_minute - 1
        )
        self._window_min = window_min
        self._chunk = chunk

    @property
    def sequence(self) -> int:
        """The last reading seen."""
        return self._sequence

    @property
    def held(self) -> int:
        """How many readings are held in memory."""
        return sum(len(readings) for readings in self._held.values())

    def take(self) -> Taken | None:
        """Read the next chunk from the store; None once everything kept so far has been seen."""
        chunk = self._store.since(self._sequence, self._chunk)
        if not chunk:
            return None
        if self._furthest < self._held_until:
            self._held_until = max(self._held_until, self._next_minute + self._window_min)
        late: list[StoredReading] = []
        for reading in chunk:
            if reading.channel not in self._known:
                continue
            minute = minute_of(reading.at_ms)
            if minute < self._next_minute:
                late.append(reading)
            elif minute < self._held_until:
                self._held.setdefault(minute, []).append(reading)
            else:
                self._furthest = max(self._furthest, minute)
        self._sequence = chunk[-1].sequence
        return Taken(self._sequence, tuple(late))

    def readings_of(self, minute: int) -> Sequence[StoredReading]:
        """Return every reading of `minute` seen so far. Minutes are asked for one after another.

        Raises ValueError for any other minute than the next.
        """
        if minute != self._next_minute:
            msg = f"minute {minute} was asked for, but {self._next_minute} is next"
            raise ValueError(msg)
        if minute >= self._held_until and minute <= self._furthest:
            self._fetch(minute)
        self._next_minute = minute + 1
        return self._held.pop(minute, [])

    def _fetch(self, first: int) -> None:
        end = first + self._window_min
        kept = self._store.span(self._channels, first * MINUTE_MS, end * MINUTE_MS)
        for reading in kept:
            if reading.sequence <= self._sequence:
                self._held.setdefault(minute_of(reading.at_ms), []).append(reading)
        self._held_until = end
