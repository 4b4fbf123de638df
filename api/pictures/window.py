"""Which hours a picture shows: the noon-to-noon day of an alarm, or the hours around it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from api.drawing.day import NoonToNoon, day_of, instant_of
from rules.local_time import local_day, to_local
from rules.model.reading import MINUTE_MS, minute_of
from rules.sun import dark_spans

if TYPE_CHECKING:
    from datetime import datetime

    from rules.model.place import Place

BEFORE = timedelta(hours=3)
"""An alarm nearer to the noon at which its day begins shows the hours around itself instead."""

AROUND_MIN = 720
MARKED_EVERY_H = 6
_QUARTER_MIN = 15


def window_of(opened_at: datetime, now: datetime, place: Place) -> NoonToNoon:
    """Return the span to draw of an alarm that opened at an aware instant, as told `now`.

    From noon to noon, so that the night lies whole in the middle. Of an alarm that opened soon
    after noon most of that would be still to come: then twelve hours to either side. Of one that
    has stood for more than its day, the day of now.
    """
    day = day_of(opened_at, place)
    if now >= instant_of(day.end_minute) + BEFORE:
        day, opened_at = day_of(now, place), now
    if opened_at - instant_of(day.first_minute) >= BEFORE:
        return day
    middle = minute_of(int(opened_at.timestamp() * 1000)) // 60 * 60
    first = middle - AROUND_MIN
    return NoonToNoon(local_day(instant_of(first), place), first, 2 * AROUND_MIN)


def dark_of(window: NoonToNoon, place: Place) -> tuple[tuple[float, float], ...]:
    """Return the dark hours as shares of the window."""
    spans = dark_spans(place, window.first_minute, window.minutes)
    return tuple((window.place_of(start), window.place_of(end)) for start, end in spans)


def hours_of(window: NoonToNoon, place: Place, names: dict[int, str]) -> list[tuple[float, str]]:
    """Return each sixth hour of the site's own clock in the window, with its place."""
    marks: list[tuple[float, str]] = []
    begin = -(-window.first_minute // _QUARTER_MIN) * _QUARTER_MIN
    for minute in range(begin, window.end_minute + 1, _QUARTER_MIN):
        local = to_local(instant_of(minute), place)
        if local.minute == 0 and local.hour % MARKED_EVERY_H == 0:
            words = names.get(local.hour, f"{local.hour:02d}:00")
            marks.append((window.place_of(minute), words))
    return marks


def share_of(at: datetime, window: NoonToNoon) -> float:
    """Return the place of an aware instant along the window, kept inside it."""
    minutes = at.timestamp() * 1000 / MINUTE_MS
    return min(1.0, max(0.0, window.place_of(minutes)))
