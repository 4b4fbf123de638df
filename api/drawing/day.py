"""A day from noon to noon at the site: its edges, its hours, its name."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING

from rules.local_time import NOON, earliest_instant, to_local
from rules.model.reading import MINUTE_MS, minute_of

if TYPE_CHECKING:
    from rules.model.place import Place


@dataclass(frozen=True, slots=True)
class NoonToNoon:
    """The day whose night lies whole in the middle: from local noon of `starts_on` to the next.

    `first_minute` and `minutes` are cells; a day on which clocks change has 23 or 25 hours.
    """

    starts_on: date
    first_minute: int
    minutes: int

    @property
    def end_minute(self) -> int:
        """The first cell after the day."""
        return self.first_minute + self.minutes

    def place_of(self, minute: float) -> float:
        """Return the place of a cell along the day, 0.0 to 1.0 inside it."""
        return (minute - self.first_minute) / self.minutes


def day_from(starts_on: date, place: Place) -> NoonToNoon:
    """Return the noon-to-noon day that starts on a local date."""
    first = _minute(earliest_instant(starts_on, NOON, place))
    last = _minute(earliest_instant(starts_on + timedelta(days=1), NOON, place))
    return NoonToNoon(starts_on, first, last - first)


def day_of(at: datetime, place: Place) -> NoonToNoon:
    """Return the noon-to-noon day in which an aware instant lies."""
    local = to_local(at, place)
    starts_on = local.date() if local.time() >= NOON else local.date() - timedelta(days=1)
    return day_from(starts_on, place)


def hours_along(day: NoonToNoon, place: Place, *, every_h: int) -> tuple[tuple[int, int], ...]:
    """Return (cell, local hour) for each round local hour of the day, its two noons included."""
    marks = []
    for hours in range(12, 37, every_h):
        on = day.starts_on + timedelta(days=hours // 24)
        marks.append((_minute(earliest_instant(on, time(hours % 24), place)), hours % 24))
    return tuple(marks)


def instant_of(minute: int) -> datetime:
    """Return the first instant of a cell, aware, in UTC."""
    return datetime.fromtimestamp(minute * MINUTE_MS / 1000, UTC)


def _minute(at: datetime) -> int:
    return minute_of(int(at.timestamp() * 1000))
