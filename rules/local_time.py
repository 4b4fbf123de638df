"""Local days and hours of the site. The only file of the rules that knows time zones."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rules.model.place import Place

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)
_DAY = timedelta(days=1)
NOON = time(12)


def to_local(at: datetime, place: Place) -> datetime:
    """Return the aware instant as the clock on the site's wall shows it."""
    return at.astimezone(ZoneInfo(place.time_zone))


def local_day(at: datetime, place: Place) -> date:
    """Return the date on the site's wall at the aware instant."""
    return to_local(at, place).date()


def earliest_instant(day: date, wall: time, place: Place) -> datetime:
    """Return, in UTC, the first instant that the site's clock can mean by a date and a time.

    A time that the clock shows twice means the first; one that it leaps over means the instant
    counted back from the far side of the leap.
    """
    return min(_both_readings(day, wall, place))


def latest_instant(day: date, wall: time, place: Place) -> datetime:
    """Return, in UTC, the last instant that the site's clock can mean by a date and a time."""
    return max(_both_readings(day, wall, place))


def day_span_ms(day: date, place: Place) -> tuple[int, int]:
    """Return start and end of a local day, midnight to midnight, as ms since the epoch, UTC.

    A day has 23, 24 or 25 hours where the clock changes.
    """
    return _midnight_ms(day, place), _midnight_ms(day + _DAY, place)


def local_days(place: Place, first_minute: int, minutes: int) -> Iterator[tuple[date, int, int]]:
    """Yield each local day that the minutes touch, its first minute and the one after its last.

    Minutes since the epoch, UTC; `minutes` of them from `first_minute` on.
    """
    if minutes == 0:
        return
    day = local_day(_EPOCH + timedelta(minutes=first_minute), place)
    while True:
        start_ms, end_ms = day_span_ms(day, place)
        first, end = start_ms // MINUTE_MS, end_ms // MINUTE_MS
        if first >= first_minute + minutes:
            return
        if end > first:
            yield day, first, end
        day += _DAY


def noon_to_noon_ms(at: datetime, place: Place) -> tuple[int, int]:
    """Return the local noon-to-noon span that holds the aware instant: start_ms, end_ms, UTC.

    The span has 23, 24 or 25 hours where the clock changes in its night.
    """
    local = to_local(at, place)
    first = local.date() if local.time() >= NOON else local.date() - _DAY
    start = earliest_instant(first, NOON, place)
    end = earliest_instant(first + _DAY, NOON, place)
    return _ms(start), _ms(end)


def _midnight_ms(day: date, place: Place) -> int:
    # Where the clock leaps over midnight, the earlier offset gives the instant of the leap itself.
    zone = ZoneInfo(place.time_zone)
    return _ms(datetime.combine(day, time(0), tzinfo=zone))


def _both_readings(day: date, wall: time, place: Place) -> tuple[datetime, datetime]:
    zone = ZoneInfo(place.time_zone)
    first = datetime.combine(day, wall.replace(fold=0), tzinfo=zone).astimezone(UTC)
    second = datetime.combine(day, wall.replace(fold=1), tzinfo=zone).astimezone(UTC)
    return first, second


def _ms(at: datetime) -> int:
    return (at - _EPOCH) // _MS
