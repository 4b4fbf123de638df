"""What every store of readings promises. `tests/promises` holds each implementation to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from rules.model.reading import Reading, StoredReading

CELL_MIN = 10
DAY_MIN = 1440


class StoreFailure(Exception):
    """The store could not keep its promise: nothing of the call was kept. Says what to do."""


@dataclass(frozen=True, slots=True)
class CoarseCell:
    """What the readings of one channel were in a stretch of time, in the readings' own unit."""

    channel: str
    start_ms: int
    count: int
    lowest: float
    highest: float
    mean: float


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one channel in order of their instants, as arrays of the same length."""

    at_ms: NDArray[np.int64]
    value: NDArray[np.float64]


def checked_cell_min(cell_min: int) -> int:
    """Return the length of a coarse cell in minutes; ValueError if days can't be cut so.

    >>> checked_cell_min(60)
    60
    """
    if cell_min < CELL_MIN or cell_min % CELL_MIN or DAY_MIN % cell_min:
        msg = (
            f"{cell_min} minutes is no length of a coarse cell: take a multiple of {CELL_MIN} "
            f"that divides a day"
        )
        raise ValueError(msg)
    return cell_min


class ReadingStore(Protocol):
    """Keeps raw readings, one for each (channel, instant). Any thread may call any method.

    A store may be told to give up raw readings older than some days. It gives up whole UTC days of
    a channel, keeps their coarse cells for ever, and never gives up a channel's newest reading.

    Every method raises StoreFailure when the store cannot be reached, is full, or was closed.
    """

    def keep(self, readings: Sequence[Reading]) -> None:
        """Return only when all of `readings` survive a power cut, else raise and keep none.

        Keeping a reading again changes nothing: the first value of a (channel, instant) wins.
        Values must be finite; instants fit 64 bits. A reading of a day that has been given up is
        not kept, since it cannot be told from one that had been there.
        """
        ...

    def since(self, sequence: int, most: int) -> Sequence[StoredReading]:
        """Return at most `most` readings kept after `sequence`, in the order of keeping.

        A reading never appears later with a smaller sequence than one already returned.
        """
        ...

    def span(self, channels: Sequence[str], start_ms: int, end_ms: int) -> Sequence[StoredReading]:
        """Return readings of `channels` with start_ms <= at_ms < end_ms, by (channel, at_ms)."""
        ...

    def series(self, channels: Sequence[str], start_ms: int, end_ms: int) -> Mapping[str, Series]:
        """Return the same readings as `span`, as arrays of each channel: quick for many.

        All are of one moment. A channel without readings has arrays without entries.
        """
        ...

    def coarse(
        self, channels: Sequence[str], start_ms: int, end_ms: int, *, cell_min: int
    ) -> Sequence[CoarseCell]:
        """Return the cells with start_ms <= cell start < end_ms, by (channel, start).

        Cells lie on the UTC grid of `cell_min` minutes, a multiple of 10 that divides a day. Each
        tells of all readings ever kept in it, given up or not; where there were none, no cell is.
        """
        ...

    def latest(self) -> Mapping[str, StoredReading]:
        """Return for every channel ever kept its reading with the largest at_ms."""
        ...

    def last_sequence(self) -> int:
        """Return the sequence of the reading kept last; 0 when nothing was ever kept."""
        ...

    def count(self) -> int:
        """Return how many readings are kept; those given up no longer count."""
        ...

    def close(self) -> None:
        """Let go of the store; closing twice changes nothing."""
        ...
