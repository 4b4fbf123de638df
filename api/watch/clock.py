"""The only place that reads the time. Everything else is given a clock."""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """Tells the present instant, aware, in UTC."""

    def now(self) -> datetime:
        """Return the present instant in UTC."""
        ...


class WallClock:
    """The machine's own time."""

    def now(self) -> datetime:
        """Return the present instant in UTC."""
        return datetime.now(UTC)


class TurnedClock:
    """A clock turned by hand: it moves only when told. For tests and for playing a recording."""

    def __init__(self, at: datetime) -> None:
        self._lock = threading.Lock()
        self._at = at.astimezone(UTC)

    def now(self) -> datetime:
        """Return the instant the clock was last turned to."""
        with self._lock:
            return self._at

    def turn_to(self, at: datetime) -> None:
        """Move on to `at`; a clock is never turned back, so an earlier instant changes nothing."""
        with self._lock:
            self._at = max(self._at, at.astimezone(UTC))

    def turn_by(self, step: timedelta) -> None:
        """Move on by `step`."""
        self.turn_to(self.now() + step)


def milliseconds(clock: Clock) -> int:
    """Return the clock's instant as whole milliseconds since the epoch, UTC."""
    return int(clock.now().timestamp() * 1000)


class Steady(Protocol):
    """Counts seconds from any beginning; never jumps, whatever is done to the machine's clock."""

    def seconds(self) -> float:
        """Return the seconds that have passed."""
        ...


class SteadyClock:
    """The machine's own count of seconds. It stands still while the machine sleeps."""

    def seconds(self) -> float:
        """Return the seconds that have passed."""
        return time.monotonic()
