"""How regularly each channel speaks, and how far each sensor's clock is off: small and running."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

STEPS_KEPT = 31
GAPS_KEPT = 20
CLOCKS_KEPT = 31
LONGER_THAN_USUAL = 2.5
"""A silence longer than so many usual intervals is a gap: two messages in a row were missed."""

_FEWEST_STEPS = 5
_WORKED_OUT_EVERY = 8
_MOST_CHANNELS = 20_000
_CLOCK_BOUND_MS = 10**15


@dataclass(frozen=True, slots=True)
class Regularity:
    """How a channel speaks. Instants in milliseconds since the epoch, UTC; lengths in milliseconds.

    `usual_ms` is the median of its newest intervals, None while there are too few. `gaps` are the
    newest silences longer than that allows, oldest first, as (last before, first after).
    """

    last_ms: int
    usual_ms: int | None
    gaps: tuple[tuple[int, int], ...]


class _Pulse:
    __slots__ = ("gaps", "last_ms", "since_worked_out", "steps", "usual_ms")

    def __init__(self, at_ms: int) -> None:
        self.last_ms = at_ms
        self.steps: deque[int] = deque(maxlen=STEPS_KEPT)
        self.usual_ms: float | None = None
        self.gaps: list[tuple[int, int]] = []
        self.since_worked_out = 0

    def note(self, at_ms: int) -> None:
        step = at_ms - self.last_ms
        if step <= 0:
            if step < 0 and self.gaps:
                self._fill(at_ms)
            return
        if self._is_gap(step):
            self.gaps.append((self.last_ms, at_ms))
            del self.gaps[:-GAPS_KEPT]
        self.last_ms = at_ms
        self.steps.append(step)
        self.since_worked_out += 1
        if self.since_worked_out >= _WORKED_OUT_EVERY or len(self.steps) == _FEWEST_STEPS:
            self.usual_ms = median(self.steps) if len(self.steps) >= _FEWEST_STEPS else None
            self.since_worked_out = 0

    def _is_gap(self, step: int) -> bool:
        return self.usual_ms is not None and step > LONGER_THAN_USUAL * self.usual_ms

    def _fill(self, at_ms: int) -> None:
        """Let a reading that came late divide the gap it falls into."""
        for place, (start, end) in enumerate(self.gaps):
            if start < at_ms < end:
                parts = [p for p in ((start, at_ms), (at_ms, end)) if self._is_gap(p[1] - p[0])]
                self.gaps[place : place + 1] = parts
                del self.gaps[:-GAPS_KEPT]
                return


class Pulses:
    """The regularity of every channel and the clock of every sensor. Any thread may call."""

    def __init__(self) -> None:
        self._pulses: dict[str, _Pulse] = {}
        self._clocks: dict[str, deque[int]] = {}
        self._lock = threading.Lock()

    def note(self, readings: Iterable[tuple[str, int]]) -> None:
        """Note that channels spoke, as (channel, at_ms), in the order of arrival."""
        pulses = self._pulses
        with self._lock:
            for channel, at_ms in readings:
                pulse = pulses.get(channel)
                if pulse is not None:
                    pulse.note(at_ms)
                elif len(pulses) < _MOST_CHANNELS:
                    pulses[channel] = _Pulse(at_ms)

    def note_clocks(self, clocks: Sequence[tuple[str, int]]) -> None:
        """Note arrival less device time in milliseconds, as (sensor, behind_ms)."""
        with self._lock:
            for sensor, behind_ms in clocks:
                known = self._clocks.get(sensor)
                if known is None:
                    if len(self._clocks) >= _MOST_CHANNELS:
                        continue
                    known = self._clocks[sensor] = deque(maxlen=CLOCKS_KEPT)
                known.append(max(-_CLOCK_BOUND_MS, min(behind_ms, _CLOCK_BOUND_MS)))

    def regularity(self) -> Mapping[str, Regularity]:
        """Return how each channel speaks that was heard since the start."""
        with self._lock:
            return {
                channel: Regularity(
                    last_ms=pulse.last_ms,
                    usual_ms=None if pulse.usual_ms is None else round(pulse.usual_ms),
                    gaps=tuple(pulse.gaps),
                )
                for channel, pulse in self._pulses.items()
            }

    def clock_behind_ms(self) -> Mapping[str, int]:
        """Return by how much each sensor's clock is behind ours at most; below 0: ahead.

        It is the least of the newest differences: a message can be late, and never early, so what
        was stored and sent afterwards does not make a good clock look wrong.
        """
        with self._lock:
            return {sensor: min(known) for sensor, known in self._clocks.items() if known}
