"""How much alarms ask of people, and which limit cries wolf: figures, with no opinion on plants.

Rings and messages in, figures out, the same whether they come from what really happened or from a
replay. The published figures to hold them against stand in `rules.benchmarks`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rules.floods import CHATTER_MIN, CHATTER_RINGS, FLOOD_MIN
from rules.local_time import local_days
from rules.model.alarm import Priority
from rules.sun import dark_spans

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from rules.alarm_history import LimitName, Occurrence
    from rules.model.place import Place

DAY_MIN = 1440

FLOOD_BEGINS = 10
"""A flood begins with more than so many alarms in FLOOD_MIN, and ends with fewer than FLOOD_ENDS.

ANSI/ISA-18.2-2016, IEC 62682:2014 and EEMUA 191; both read in secondary summaries.
"""
FLOOD_ENDS = 5

BRIEF_MIN = 10
"""An alarm that is over within so many minutes, nobody having answered, asked nothing: house rule.

It takes about as long to read a message and walk to a bench.
"""

STALE_MIN = 24 * 60
"""An alarm that is true for longer is stale: ANSI/ISA-18.2-2016, IEC 62682:2014."""

LEAST_RINGS = 5
"""Of fewer rings no share and no median is told: house rule, no source."""

TOP = 10
TOP_LEAST = 10 * TOP
"""Where fewer alarms than that have rung, what the top ten rang for says nothing: house rule."""


@dataclass(frozen=True, slots=True)
class Reached:
    """One message that reached one person by one way, in a minute since the epoch."""

    person: str
    minute: int


@dataclass(frozen=True, slots=True)
class Rate:
    """How often something came, over all minutes of the span.

    `per_night` counts the nights, sunset to sunrise, that lie wholly in the span; None if none
    does. `over_ten_share` is the share of ten-minute periods with more than ten, `flood_share` that
    of time in a flood. `by_day` holds each local day's count, the first and last day may be cut.
    """

    count: int
    per_10_min: float
    per_hour: float
    per_day: float
    per_night: float | None
    most_in_10_min: int
    over_ten_share: float
    flood_share: float
    by_day: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class LimitLoad:
    """What one limit asked of people.

    `batches` is of how many batches it rang. `open_min` is the time it was true, added up.
    `brief_share` is the share that was over within BRIEF_MIN with nobody having answered,
    `unanswered_share` of those that are settled the share that nobody ever acknowledged,
    `chatter_share` the share in runs of CHATTER_RINGS within CHATTER_MIN. Shares and medians are
    None where there are too few to say.
    """

    limit: LimitName
    priority: Priority
    rings: int
    batches: int
    open_min: int
    median_open_min: float | None
    longest_open_min: int
    median_answer_min: float | None
    brief_share: float | None
    unanswered_share: float | None
    chatter_share: float | None
    brief: int


@dataclass(frozen=True, slots=True)
class AlarmLoad:
    """The load of a span of time, from `first_minute` until before `end_minute`.

    `rings` counts each as if one person had been told all of them; `messages` counts what each
    person really got. `standing_mean` and `standing_most` say how many alarms were true at once,
    `stale_most` how many had been true for longer than a day, on the worst day. `chattering` is the
    number of alarms that chattered. `priorities` are shares of the rings, and `top_share` that of
    the ten alarms that rang most; None with too few rings. `limits` are in the order in which they
    cry wolf: most brief, unanswered rings first.
    """

    first_minute: int
    end_minute: int
    days: float
    rings: Rate
    messages: Mapping[str, Rate]
    standing_mean: float
    standing_most: int
    stale_most: int
    chattering: int
    priorities: Mapping[Priority, float] | None
    top_share: float | None
    limits: tuple[LimitLoad, ...]


def alarm_load(
    place: Place,
    occurrences: Iterable[Occurrence],
    reached: Iterable[Reached],
    *,
    people: Sequence[str],
    first_minute: int,
    end_minute: int,
) -> AlarmLoad:
    """Return the load of a span; ValueError if it holds no minute. Held occurrences do not count.

    Rings that began before the span count towards what stood in it, not towards what rang.
    `people` have a rate each even if they were never told.
    """
    if end_minute <= first_minute:
        msg = "a load needs a span of at least one minute"
        raise ValueError(msg)
    span = _Span(place, first_minute, end_minute)
    rang = [one for one in occurrences if one.rang]
    every = sorted(rang, key=lambda one: (one.minute, one.batch, one.limit.condition))
    ours = [one for one in every if first_minute <= one.minute < end_minute]
    told: dict[str, list[int]] = {name: [] for name in people}
    for one in reached:
        if first_minute <= one.minute < end_minute:
            told.setdefault(one.person, []).append(one.minute)
    in_chatter = _in_chatter(ours)
    chattering = {
        (one.batch, one.limit) for one, is_so in zip(ours, in_chatter, strict=True) if is_so
    }
    mean, most, stale = _standing(every, span)
    enough = len(ours) >= LEAST_RINGS
    return AlarmLoad(
        first_minute=first_minute,
        end_minute=end_minute,
        days=span.minutes / DAY_MIN,
        rings=span.rate([one.minute for one in ours]),
        messages={name: span.rate(minutes) for name, minutes in told.items()},
        standing_mean=mean,
        standing_most=most,
        stale_most=stale,
        chattering=len(chattering),
        priorities={p: _share(sum(one.priority is p for one in ours), len(ours)) for p in Priority}
        if enough
        else None,
        top_share=_top_share(ours) if enough else None,
        limits=_limits(ours, in_chatter, end_minute),
    )


def whole_nights(place: Place, first_minute: int, end_minute: int) -> tuple[tuple[int, int], ...]:
    """Return the nights, sunset to sunrise, that lie wholly in a span, as (first, after the last).

    A night that is cut by an edge of the span would be counted as a whole one, so it is left out.
    """
    dark = dark_spans(place, first_minute, end_minute - first_minute)
    return tuple((a, b) for a, b in dark if first_minute < a and b < end_minute)


class _Span:
    """A span of time with its nights and local days, worked out once."""

    def __init__(self, place: Place, first: int, end: int) -> None:
        self.first = first
        self.end = end
        self.minutes = end - first
        self.nights = whole_nights(place, first, end)
        self.days = tuple((a, b) for _, a, b in local_days(place, first, self.minutes))

    def rate(self, at: Sequence[int]) -> Rate:
        """Return how often something came, given the minute of each."""
        minutes = np.sort(np.array(at, dtype=np.int64))
        mean = len(at) / self.minutes
        windows = _in_last_ten(minutes - self.first, self.minutes)
        per_period = np.bincount((minutes - self.first) // FLOOD_MIN) if len(at) else np.zeros(1)
        periods = -(-self.minutes // FLOOD_MIN)
        night = sum(_between(minutes, a, b) for a, b in self.nights)
        return Rate(
            count=len(at),
            per_10_min=mean * FLOOD_MIN,
            per_hour=mean * 60,
            per_day=mean * DAY_MIN,
            per_night=night / len(self.nights) if self.nights else None,
            most_in_10_min=int(windows.max(initial=0)),
            over_ten_share=_share(int((per_period > FLOOD_BEGINS).sum()), periods),
            flood_share=_share(_flooded(windows), self.minutes),
            by_day=tuple(_between(minutes, a, b) for a, b in self.days),
        )


def _in_last_ten(rows: NDArray[np.int64], minutes: int) -> NDArray[np.int64]:
    """Return for each minute how many came in the ten minutes that end with it."""
    total = np.concatenate(([0], np.cumsum(np.bincount(rows, minlength=minutes))))
    from_row = np.maximum(np.arange(minutes) + 1 - FLOOD_MIN, 0)
    counts: NDArray[np.int64] = total[1:] - total[from_row]
    return counts


def _flooded(windows: NDArray[np.int64]) -> int:
    """Return how many minutes lie in a flood, which ends later than it begins."""
    flooded, minutes = False, 0
    for count in windows.tolist():
        flooded = count >= FLOOD_ENDS if flooded else count > FLOOD_BEGINS
        minutes += flooded
    return minutes


def _between(minutes: NDArray[np.int64], first: int, end: int) -> int:
    low, high = np.searchsorted(minutes, [first, end]).tolist()
    return int(high - low)


def _standing(rungs: Sequence[Occurrence], span: _Span) -> tuple[float, int, int]:
    """Return how many were true at once, on average and at most, and the most that were stale."""
    turns = np.zeros(span.minutes + 1, dtype=np.int64)
    stale = np.zeros(span.minutes + 1, dtype=np.int64)
    for one in rungs:
        until = span.end if one.over is None else one.over
        for since, edges in ((one.minute, turns), (one.minute + STALE_MIN, stale)):
            low, high = max(since, span.first), min(until, span.end)
            if low < high:
                edges[low - span.first] += 1
                edges[high - span.first] -= 1
    stands = np.cumsum(turns[:-1])
    return float(stands.mean()), int(stands.max()), int(np.cumsum(stale[:-1]).max())


def _in_chatter(rungs: Sequence[Occurrence]) -> list[bool]:
    """Return for each ring whether it is one of a run that chatters."""
    by_alarm: dict[tuple[str, str], list[int]] = {}
    for place, one in enumerate(rungs):
        by_alarm.setdefault((one.batch, one.limit.condition), []).append(place)
    found = [False] * len(rungs)
    for places in by_alarm.values():
        for i in range(len(places) - CHATTER_RINGS + 1):
            run = places[i : i + CHATTER_RINGS]
            if rungs[run[-1]].minute - rungs[run[0]].minute < CHATTER_MIN:
                for place in run:
                    found[place] = True
    return found


def _limits(
    rungs: Sequence[Occurrence], in_chatter: Sequence[bool], end_minute: int
) -> tuple[LimitLoad, ...]:
    by_limit: dict[LimitName, list[tuple[Occurrence, bool]]] = {}
    for one, chatter in zip(rungs, in_chatter, strict=True):
        by_limit.setdefault(one.limit, []).append((one, chatter))
    loads = [_limit(limit, ours, end_minute) for limit, ours in by_limit.items()]
    return tuple(sorted(loads, key=lambda one: (-one.brief, -one.rings, one.limit.condition)))


def _limit(limit: LimitName, ours: Sequence[tuple[Occurrence, bool]], end_minute: int) -> LimitLoad:
    rungs = [one for one, _ in ours]
    lasted = [min(one.over or end_minute, end_minute) - one.minute for one in rungs]
    waits = [one.answered - one.minute for one in rungs if one.answered is not None]
    settled = [one for one in rungs if one.over is not None or one.answered is not None]
    brief = sum(_is_brief(one) for one in rungs)
    nobody = sum(one.answered is None for one in settled)
    enough = len(rungs) >= LEAST_RINGS
    return LimitLoad(
        limit=limit,
        priority=min((one.priority for one in rungs), key=list(Priority).index),
        rings=len(rungs),
        batches=len({one.batch for one in rungs}),
        open_min=sum(lasted),
        median_open_min=float(np.median(lasted)) if enough else None,
        longest_open_min=max(lasted),
        median_answer_min=float(np.median(waits)) if len(waits) >= LEAST_RINGS else None,
        brief_share=_share(brief, len(rungs)) if enough else None,
        unanswered_share=_share(nobody, len(settled)) if len(settled) >= LEAST_RINGS else None,
        chatter_share=_share(sum(chatter for _, chatter in ours), len(rungs)) if enough else None,
        brief=brief,
    )


def _is_brief(one: Occurrence) -> bool:
    """Return whether it was over soon, with nobody having answered before that."""
    if one.over is None or one.carried_on or one.over - one.minute > BRIEF_MIN:
        return False
    return one.answered is None or one.answered >= one.over


def _top_share(rungs: Sequence[Occurrence]) -> float | None:
    counts: dict[tuple[str, str], int] = {}
    for one in rungs:
        key = (one.batch, one.limit.condition)
        counts[key] = counts.get(key, 0) + 1
    if len(counts) < TOP_LEAST:
        return None
    return _share(sum(sorted(counts.values(), reverse=True)[:TOP]), len(rungs))


def _share(part: int, whole: int) -> float:
    return part / whole if whole else 0.0
