"""How long minutes take to be judged, counted by fixed bounds: what a histogram is made of."""

from __future__ import annotations

import threading
from bisect import bisect_left
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.watch.clock import Steady

BOUNDS_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
"""The upper bounds of the counts in seconds; what takes longer is counted beyond the last."""


@dataclass(frozen=True, slots=True)
class Paced:
    """How many minutes took no longer than each bound and longer than the one before, and in all.

    `counts` has one more than BOUNDS_S: what took longer than the last.
    """

    counts: tuple[int, ...]
    total_s: float


class Pace:
    """Counts. One thread times, any may ask; `steady` counts the seconds."""

    def __init__(self, steady: Steady) -> None:
        self._steady = steady
        self._lock = threading.Lock()
        self._paced = Paced((0,) * (len(BOUNDS_S) + 1), 0.0)

    @property
    def paced(self) -> Paced:
        """What was counted since the start."""
        return self._paced

    @contextmanager
    def timing(self, *, minutes: int) -> Iterator[None]:
        """Count how long each of some minutes takes that the block judges together.

        A block that raises has not judged anything.
        """
        began_s = self._steady.seconds()
        yield
        took_s = self._steady.seconds() - began_s
        place = bisect_left(BOUNDS_S, took_s / minutes)
        with self._lock:
            counts = list(self._paced.counts)
            counts[place] += minutes
            self._paced = Paced(tuple(counts), self._paced.total_s + took_s)
