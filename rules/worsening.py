"""How fast it gets worse where a limit is broken: the last change, and how long there is.

What was measured is told as measured: by how much the mean of the last ten minutes differs from
that of twenty minutes before. A line is drawn on for an hour at most, to the next graver limit, at
that pace or at that of the last ten minutes, whichever is faster: air that leaves a bag leaves it
faster and faster, and a time told too late lulls. How long a scion's water lasts at this minute's
pace comes from its drying account. House rules; no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import fmean
from typing import TYPE_CHECKING

from rules.cells import MICRO
from rules.model.dose import DoseKind, DoseLimit
from rules.model.quantities import Felt
from rules.model.words import Side
from rules.trend import COARSE, GAP, HOURS_ON, WINDOW, change_of, trend_of

if TYPE_CHECKING:
    from rules.model.plan import Limit
    from rules.outlook import BatchOutlook, Likely
    from rules.speaking import Span
    from rules.state import BatchState
    from rules.trend import Ring
    from rules.watchlist import BatchWatch

CHANGE_MIN = GAP
"""The change is told over so many minutes."""

_LONGEST_MIN = HOURS_ON * GAP
_HALF = WINDOW // 2
_LEAST = 3
_MIDDLE_MIN = 2
"""The mean of the last half window stands in its middle, so many minutes ago."""

_DRIES = frozenset(
    {
        (Felt.RELATIVE_HUMIDITY, Side.LOW),
        (Felt.VAPOUR_PRESSURE_DEFICIT, Side.HIGH),
        (Felt.LEAF_DEFICIT, Side.HIGH),
        (Felt.AIR_TEMPERATURE, Side.HIGH),
        (Felt.LEAF_TEMPERATURE, Side.HIGH),
        (Felt.PPFD, Side.HIGH),
        (Felt.AIR_SPEED, Side.HIGH),
        (Felt.RESERVE, Side.LOW),
    }
)
"""What makes a scion lose water faster, or tells that it has lost much."""


@dataclass(frozen=True, slots=True)
class Worsening:
    """How fast it gets worse, as far as that is known.

    `change` is by how much the value has changed in CHANGE_MIN minutes, in its unit. The line
    meets the next graver limit, `graver`, in the cell `graver_minute`. `hours` are those that the
    scion's water would last at this minute's pace, where what is wrong dries it.
    """

    change: float | None = None
    graver: float | None = None
    graver_minute: int | None = None
    hours: Likely | None = None


def worsening(
    batch: BatchWatch,
    asked: Limit | DoseLimit,
    state: BatchState,
    seen: BatchOutlook,
    *,
    minute: int,
) -> Worsening:
    """Return how fast it gets worse in the cell `minute`, in which a limit was broken.

    `state` is that of the batch after the cell, `seen` how the batch reads in it.
    """
    hours = seen.drying.hours if seen.drying is not None and dries(asked) else None
    span = batch.span_at(minute)
    if batch.watch_in(span) is None or isinstance(asked, DoseLimit):
        return Worsening(hours=hours)
    ring = _ring(asked.quantity, span, state, minute)
    change = change_of(trend_of(ring, len(ring)))
    if change is None:
        return Worsening(hours=hours)
    graver = _graver(asked, ring, change, seen)
    if graver is None:
        return Worsening(change / MICRO, hours=hours)
    return Worsening(change / MICRO, graver[0], minute + graver[1], hours)


def dries(asked: Limit | DoseLimit) -> bool:
    """Return whether a broken limit means that the scion loses water, so that hours count."""
    if not isinstance(asked, DoseLimit):
        return (asked.quantity, asked.side) in _DRIES
    beyond = Side.HIGH if asked.beyond is None else asked.beyond
    told = asked.side is Side.HIGH and asked.kind is not DoseKind.LIGHT_SUM
    return told and (asked.quantity, beyond) in _DRIES


def _ring(felt: Felt, span: Span, state: BatchState, minute: int) -> Ring:
    """Return the latest values that the speaker of now has told; none where none are kept."""
    speaker = span.speakers.get(felt)
    usable = 0 if speaker is None else minute - speaker.since_minute + 1
    return state.rings.get(felt, ())[-usable:] if usable > 0 else ()


def _graver(asked: Limit, ring: Ring, change: int, seen: BatchOutlook) -> tuple[float, int] | None:
    """Return the next bound on the same side that the line meets, and in how many minutes."""
    sign = 1 if asked.side is Side.HIGH else -1
    last = [one for one in ring[-_HALF:] if one is not None]
    prior = [one for one in ring[-WINDOW:-_HALF] if one is not None]
    paces = [change / COARSE / GAP]
    if min(len(last), len(prior)) >= _LEAST:
        paces.append((fmean(last) - fmean(prior)) / _HALF)
    pace = max(sign * one for one in paces)
    if pace <= 0.0 or not last:
        return None
    ahead = [
        (math.ceil((sign * (limit.bound * COARSE - fmean(last))) / pace) - _MIDDLE_MIN, limit.bound)
        for limit in (one.limit for one in seen.judged if one.speaks)
        if limit.quantity is asked.quantity
        and limit.side is asked.side
        and sign * (limit.bound - asked.bound) > 0
    ]
    coming = [(after, bound) for after, bound in ahead if 0 < after <= _LONGEST_MIN]
    if not coming:
        return None
    after, bound = min(coming)
    return bound, after
