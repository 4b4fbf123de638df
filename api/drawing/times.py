"""Which times to write along a span of any length, by the clock on the site's wall."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import Enum
from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from rules.local_time import earliest_instant, to_local
from rules.model.reading import minute_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rules.model.place import Place

MOST_WRITTEN = 7
_MINUTES = (5, 10, 15, 30, 60, 120, 180, 360, 720)
_DAYS = (1, 2, 3, 7, 14)
_MONTHS = (1, 2, 3, 6, 12)
_DAY_MIN = 1440


class Written(Enum):
    """What is written at a place along a chart."""

    CLOCK = "clock"
    DAY = "day"
    MONTH = "month"


@dataclass(frozen=True, slots=True)
class TimeMark:
    """A round time: its cell, what to write of it, and the local time that it is."""

    minute: int
    written: Written
    local: datetime


def marks_along(first_minute: int, end_minute: int, place: Place) -> tuple[TimeMark, ...]:
    """Return round local times from the first minute until before the last, seven at most.

    A time that the clock shows twice is written where it is shown first; midnight of a day that
    has none, where the day begins.
    """
    for step in _MINUTES:
        if (end_minute - first_minute) / step <= MOST_WRITTEN:
            return tuple(_clock_marks(first_minute, end_minute, place, step))
    for step in _DAYS:
        if (end_minute - first_minute) / (step * _DAY_MIN) <= MOST_WRITTEN:
            return tuple(_day_marks(first_minute, end_minute, place, step))
    for step in _MONTHS:
        if (end_minute - first_minute) / (step * 28 * _DAY_MIN) <= MOST_WRITTEN:
            return tuple(_month_marks(first_minute, end_minute, place, step))
    return tuple(_month_marks(first_minute, end_minute, place, 12))


def _clock_marks(first: int, end: int, place: Place, step: int) -> Iterator[TimeMark]:
    seen = -1
    for day in _local_dates(first, end, place):
        for wall in range(0, _DAY_MIN, step):
            mark = _mark(day, time(wall // 60, wall % 60), place, Written.CLOCK)
            if first <= mark.minute < end and mark.minute > seen:
                seen = mark.minute
                yield mark


def _day_marks(first: int, end: int, place: Place, step: int) -> Iterator[TimeMark]:
    for day in _local_dates(first, end, place):
        if (day.toordinal() - 1) % step == 0:  # of whole weeks, Mondays
            mark = _mark(day, time(0), place, Written.DAY)
            if first <= mark.minute < end:
                yield mark


def _month_marks(first: int, end: int, place: Place, step: int) -> Iterator[TimeMark]:
    for day in _local_dates(first, end, place):
        if day.day == 1 and (day.month - 1) % step == 0:
            mark = _mark(day, time(0), place, Written.MONTH)
            if first <= mark.minute < end:
                yield mark


def _mark(day: date, wall: time, place: Place, written: Written) -> TimeMark:
    at = earliest_instant(day, wall, place)
    return TimeMark(minute_of(int(at.timestamp() * 1000)), written, to_local(at, place))


def _local_dates(first: int, end: int, place: Place) -> Iterator[date]:
    day = to_local(instant_of(first), place).date()
    last = to_local(instant_of(end), place).date()
    while day <= last:
        yield day
        day += timedelta(days=1)
