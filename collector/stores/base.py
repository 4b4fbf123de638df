"""What every store of readings promises. `tests/promises` holds each implementation to it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rules.model.reading import Reading, StoredReading


class StoreFailure(Exception):
    """The store could not keep its promise: nothing of the call was kept. Says what to do."""


class ReadingStore(Protocol):
    """Keeps raw readings, one for each (channel, instant). Any thread may call any method.

    Every method raises StoreFailure when the store cannot be reached, is full, or was closed.
    """

    def keep(self, readings: Sequence[Reading]) -> None:
        """Return only when all of `readings` survive a power cut, else raise and keep none.

        Keeping a reading again changes nothing: the first value of a (channel, instant) wins.
        Values must be finite; instants fit 64 bits.
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

    def latest(self) -> Mapping[str, StoredReading]:
        """Return for every channel ever kept its reading with the largest at_ms."""
        ...

    def last_sequence(self) -> int:
        """Return the sequence of the reading kept last; 0 when nothing was ever kept."""
        ...

    def count(self) -> int:
        """Return how many readings are kept."""
        ...

    def close(self) -> None:
        """Let go of the store; closing twice changes nothing."""
        ...
