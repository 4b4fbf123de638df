"""Which span a page of charts is asked for, and the spans beside it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from api.drawing.day import instant_of
from api.v1.lines import MOST_MIN
from rules.local_time import earliest_instant, to_local
from rules.model.reading import minute_of

if TYPE_CHECKING:
    from rules.model.place import Place

LEAST_MIN = 60
LENGTHS = {"hour": 60, "day": 1440, "week": 7 * 1440, "month": 30 * 1440, "season": 120 * 1440}
USUAL_MIN = LENGTHS["week"]


@dataclass(frozen=True, slots=True)
class AskedSpan:
    """The minutes from `first_minute` until before `end_minute`.

    `misread`: what was asked for is no span, and this is the usual one.
    """

    first_minute: int
    end_minute: int
    misread: bool = False

    @property
    def minutes(self) -> int:
        """How long it is."""
        return self.end_minute - self.first_minute

    def moved(self, shares: float) -> AskedSpan:
        """Return the span moved by a share of its own length, to the later if above 0."""
        by = round(self.minutes * shares)
        return AskedSpan(self.first_minute + by, self.end_minute + by)

    def wider(self) -> AskedSpan | None:
        """Return twice the span round the same middle; None beyond the longest."""
        return self._long(self.minutes * 2)

    def narrower(self) -> AskedSpan | None:
        """Return the middle half; None below an hour."""
        return self._long(self.minutes // 2)

    def _long(self, minutes: int) -> AskedSpan | None:
        if not LEAST_MIN <= minutes <= MOST_MIN:
            return None
        middle = (self.first_minute + self.end_minute) // 2
        return AskedSpan(middle - minutes // 2, middle - minutes // 2 + minutes)

    def address(self, path: str, place: Place) -> str:
        """Return the address of a page for this span, in the site's own time."""
        asked = {
            name: to_local(instant_of(minute), place).isoformat(timespec="minutes")
            for name, minute in (("from", self.first_minute), ("to", self.end_minute))
        }
        return f"{path}?{urlencode(asked)}"


def asked_span(start: str | None, end: str | None, now: datetime, place: Place) -> AskedSpan:
    """Return the span that two texts name; without both, the last seven days until `now`.

    A text may be an instant, or a date and time by the site's clock, as a form writes it.
    """
    last = minute_of(int(now.timestamp() * 1000))
    usual = AskedSpan(last - USUAL_MIN, last)
    if not start and not end:
        return usual
    first = _minute(start, place)
    after = last if not end else _minute(end, place)
    if first is None or after is None or not 0 < after - first <= MOST_MIN:
        return AskedSpan(usual.first_minute, usual.end_minute, misread=True)
    if after - first < LEAST_MIN:
        middle = (first + after) // 2
        return AskedSpan(middle - LEAST_MIN // 2, middle - LEAST_MIN // 2 + LEAST_MIN)
    return AskedSpan(first, after)


def _minute(said: str | None, place: Place) -> int | None:
    try:
        at = datetime.fromisoformat(said or "")
        if at.tzinfo is None:
            at = earliest_instant(at.date(), at.time(), place)
        in_reach = timedelta(days=1) < at - datetime(1970, 1, 1, tzinfo=UTC) < timedelta(days=80000)
    except (ValueError, OverflowError):
        return None
    return minute_of(int(at.timestamp() * 1000)) if in_reach else None
