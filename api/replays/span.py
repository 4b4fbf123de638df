"""Which minutes a replay judges, and of which of them it tells."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from rules.local_time import day_span_ms
from rules.model.reading import MINUTE_MS, minute_of

if TYPE_CHECKING:
    from datetime import date

    from api.replaying import Watched
    from rules.model.site import Site

WARM_UP_MIN = 360


class NothingToJudge(ValueError):
    """There is nothing to judge in what was asked for; the message says what there is."""


class DaysUnnamed(NothingToJudge):
    """Nobody has watched the readings, so their days must be named."""


@dataclass(frozen=True, slots=True)
class Days:
    """Local days of the site, both included; None where unnamed."""

    first: date | None = None
    last: date | None = None


@dataclass(frozen=True, slots=True)
class Span:
    """What is judged, from `first` on, and what is told of it, from `told_from` on, to `end`."""

    first: int
    told_from: int
    end: int


def minutes_of(days: Days, site: Site) -> tuple[int | None, int | None]:
    """Return the first minute of the first day and the end of the last; None where unnamed."""
    first = None if days.first is None else day_span_ms(days.first, site.site)[0] // MINUTE_MS
    end = None if days.last is None else day_span_ms(days.last, site.site)[1] // MINUTE_MS
    return first, end


def span_of(
    between: tuple[int | None, int | None],
    *,
    watched: Watched | None,
    loaded_ms: tuple[int, int] | None,
) -> Span:
    """Return the minutes to judge: what was watched or loaded, cut to the minutes asked for.

    Judging begins where the watch began, so that sums and delays are those it had.

    Parameters
    ----------
    loaded_ms
        The first and the last instant in files, ms since the epoch; None where none are replayed.

    Raises NothingToJudge.
    """
    from_minute, to_minute = between
    if loaded_ms is not None:
        first, last = minute_of(loaded_ms[0]), minute_of(loaded_ms[1]) + 1
    elif watched is not None:
        first, last = watched.first_minute, watched.end_minute
    elif from_minute is None or to_minute is None:
        msg = "nobody has watched these readings; name their days"
        raise DaysUnnamed(msg)
    else:
        first, last = from_minute - WARM_UP_MIN, to_minute
    told_from = first if from_minute is None else max(first, from_minute)
    until = last if to_minute is None else min(last, to_minute)
    if told_from >= until:
        there = " to ".join(
            datetime.fromtimestamp(minute * 60, UTC).isoformat() for minute in (first, last)
        )
        msg = f"there is nothing in those days; there is a record of {there}"
        raise NothingToJudge(msg)
    return Span(first, told_from, until)
