"""When the night sheet is due: in the evening and again at dawn, once for each local date.

A clock time that the site's clock leaps over is due in the first instant after the leap; one that
it shows twice is due when it shows first. So no change of the clock skips a sheet or doubles it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from rules.local_time import earliest_instant, latest_instant, local_day, to_local
from rules.sun import sunrise_and_sunset

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rules.model.place import Place

_DAY = timedelta(days=1)
_SECOND = timedelta(seconds=1)
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")


class SheetKind(StrEnum):
    """Which of the two sheets of a day."""

    MORNING = "morning"
    EVENING = "evening"


class SunEdge(StrEnum):
    """A time that goes with the sun."""

    DAWN = "dawn"
    DUSK = "dusk"


SheetTime = time | SunEdge
"""A time of the site's clock, or sunrise or sunset."""

NO_SUN = {SunEdge.DAWN: time(6), SunEdge.DUSK: time(18)}
"""What stands in on a day on which the sun does not rise or set."""

USEFUL: Mapping[SheetKind, timedelta] = {
    SheetKind.EVENING: timedelta(hours=8),
    SheetKind.MORNING: timedelta(hours=6),
}
"""How long after its time a sheet that was missed is still worth sending; house rule. It is never
sent once the next one is due."""


@dataclass(frozen=True, slots=True)
class Due:
    """One sheet: of which local day, due from `at` on, and of use until `until`; both in UTC."""

    kind: SheetKind
    day: date
    at: datetime
    until: datetime

    @property
    def key(self) -> str:
        """What the sheet is known by: nobody is owed two of one key.

        >>> at = datetime(2026, 11, 29, 17, tzinfo=UTC)
        >>> Due(SheetKind.EVENING, date(2026, 11, 29), at, at).key
        'sheet:evening:2026-11-29'
        """
        return f"sheet:{self.kind.value}:{self.day.isoformat()}"


def sheet_time(text: str) -> SheetTime:
    """Return a time as written, "18:00", "dawn" or "dusk"; ValueError for anything else.

    >>> sheet_time("18:05"), sheet_time("dawn").value
    (datetime.time(18, 5), 'dawn')
    """
    if text in set(SunEdge):
        return SunEdge(text)
    found = _CLOCK.fullmatch(text)
    if found is None:
        msg = f'"{text}" is not a time; write it as "18:00", or "dawn" or "dusk"'
        raise ValueError(msg)
    return time(int(found[1]), int(found[2]))


def instant_due(day: date, wanted: SheetTime, place: Place) -> datetime:
    """Return, in UTC, when a time of a local day is."""
    if isinstance(wanted, SunEdge):
        rises, sets = sunrise_and_sunset(place, day)
        minute = rises if wanted is SunEdge.DAWN else sets
        if minute is not None:
            return datetime.fromtimestamp(minute * 60, UTC)
        wanted = NO_SUN[wanted]
    first, last = earliest_instant(day, wanted, place), latest_instant(day, wanted, place)
    shown = to_local(first, place)
    if (shown.date(), shown.time()) == (day, wanted):
        return first
    return _after_leap(first, last, place)


def sheets_from(
    day: date, times: Mapping[SheetKind, SheetTime], place: Place
) -> Iterator[tuple[datetime, SheetKind, date]]:
    """Yield the sheets of a local day as (when due, which, day), in the order of their times."""
    found = [(instant_due(day, wanted, place), kind, day) for kind, wanted in times.items()]
    yield from sorted(found)


def latest_due(now: datetime, times: Mapping[SheetKind, SheetTime], place: Place) -> Due | None:
    """Return the sheet that is due at an aware instant and still of use; None: there is none.

    `times` has a time for each sheet that is wanted. Whoever was away for days finds the newest
    alone, and only while it is of use.
    """
    today = local_day(now, place)
    found = [one for back in range(-2, 3) for one in sheets_from(today + back * _DAY, times, place)]
    found.sort()
    past = [place_ for place_, one in enumerate(found) if one[0] <= now]
    if not past:
        return None
    at, kind, day = found[past[-1]]
    until = at + USEFUL[kind]
    if past[-1] + 1 < len(found):
        until = min(until, found[past[-1] + 1][0])
    return Due(kind, day, at, until) if now < until else None


def next_due(
    now: datetime, times: Mapping[SheetKind, SheetTime], place: Place
) -> tuple[datetime, SheetKind, date] | None:
    """Return the next sheet after an aware instant: when, which, of which day; None: none ever."""
    today = local_day(now, place)
    found = [one for on in range(-1, 4) for one in sheets_from(today + on * _DAY, times, place)]
    return min((one for one in found if one[0] > now), default=None)


def _after_leap(before: datetime, after: datetime, place: Place) -> datetime:
    """Return the instant of the leap of the clock between two instants, to the second."""
    old = to_local(before, place).utcoffset()
    while after - before > _SECOND:
        middle = before + (after - before) / 2
        middle = middle.replace(microsecond=0)
        if middle <= before:
            break
        if to_local(middle, place).utcoffset() == old:
            before = middle
        else:
            after = middle
    return after
