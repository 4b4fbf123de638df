"""Is a value inside its limits on its way out? In whole units, alike cell by cell and all at once.

The mean of the last ten cells is set against the mean of the ten that ended twenty minutes before
it, and the line through both is drawn an hour on. House rule; no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rules.limits import Bound

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]
Ring = tuple[int | None, ...]

WINDOW = 10
GAP = 20
RING = WINDOW + GAP
LEAST = 5
HOURS_ON = 3
"""How many gaps the line is drawn on: 3 × 20 minutes."""

COARSE = 1000
"""A ring keeps thousandths of our unit, not millionths, so that the saved state stays small."""


@dataclass(frozen=True, slots=True)
class Trend:
    """Sums and counts of the recent window and of the earlier one, in thousandths."""

    recent: int
    recent_count: int
    earlier: int
    earlier_count: int


@dataclass(frozen=True, slots=True)
class Trends:
    """The same for each of many cells."""

    recent: Wholes
    recent_count: Wholes
    earlier: Wholes
    earlier_count: Wholes


def onto_ring(ring: Ring, value: int | None) -> Ring:
    """Add a cell's value, in millionths, to the newest end of a ring of at most 30 cells."""
    kept = ring[1:] if len(ring) == RING else ring
    return (*kept, None if value is None else value // COARSE)


def onto_ring_all(ring: Ring, values: Wholes, present: Flags) -> Ring:
    """Add many cells; equals `onto_ring` one after another."""
    newest = values[-RING:] // COARSE
    seen = present[-RING:]
    added = [int(v) if there else None for v, there in zip(newest, seen, strict=True)]
    return (*ring, *added)[-RING:]


def trend_of(ring: Ring, usable: int) -> Trend:
    """Return the two windows of a ring of which only the newest `usable` cells may be used."""
    cells = ring[-usable:] if usable > 0 else ()
    recent = [value for value in cells[-WINDOW:] if value is not None]
    end = len(cells) - GAP
    earlier = [value for value in cells[max(0, end - WINDOW) : max(0, end)] if value is not None]
    return Trend(sum(recent), len(recent), sum(earlier), len(earlier))


def trends_of(ring: Ring, usable: int, values: Wholes, present: Flags) -> Trends:
    """Return the windows at each of many cells that follow a ring.

    Of the ring only the newest `usable` cells may be used; equals `trend_of` cell by cell.
    """
    before = ring[-min(usable, RING) :] if usable > 0 else ()
    padded: Sequence[int | None] = (*((None,) * (RING - len(before))), *before)
    front = np.array([value or 0 for value in padded], dtype=np.int64)
    front_seen = np.array([value is not None for value in padded], dtype=np.bool_)
    coarse = np.where(present, values // COARSE, 0)
    total = _running(np.concatenate((front, coarse)))
    count = _running(np.concatenate((front_seen, present)).astype(np.int64))
    end = RING + 1 + np.arange(len(values))
    return Trends(
        recent=total[end] - total[end - WINDOW],
        recent_count=count[end] - count[end - WINDOW],
        earlier=total[end - GAP] - total[end - RING],
        earlier_count=count[end - GAP] - count[end - RING],
    )


def heads_out(bound: Bound, trend: Trend) -> bool:
    """Return whether the line passes the bound by more than the deadband within the hour."""
    if min(trend.recent_count, trend.earlier_count) < LEAST:
        return False
    rise = trend.recent * trend.earlier_count - trend.earlier * trend.recent_count
    counts = trend.recent_count * trend.earlier_count
    ahead = COARSE * (trend.recent * trend.earlier_count + HOURS_ON * rise)
    excess = bound.sign * (ahead - bound.at * counts)
    return bound.sign * rise > 0 and excess > bound.deadband * counts


def head_out(bounds: Sequence[Bound], trends: Trends) -> Flags:
    """Return the same for several bounds, one at least, and many cells, as bounds by cells."""
    sign, at, deadband = (
        np.array(figures, dtype=np.int64)[:, None]
        for figures in zip(*((one.sign, one.at, one.deadband) for one in bounds), strict=True)
    )
    enough = np.minimum(trends.recent_count, trends.earlier_count) >= LEAST
    rise = trends.recent * trends.earlier_count - trends.earlier * trends.recent_count
    counts = trends.recent_count * trends.earlier_count
    ahead = COARSE * (trends.recent * trends.earlier_count + HOURS_ON * rise)
    excess = sign * (ahead - at * counts)
    flags: Flags = enough & (sign * rise > 0) & (excess > deadband * counts)
    return flags


def change_of(trend: Trend) -> int | None:
    """Return by how much the later mean lies above the earlier one, in millionths.

    None where too few cells of either were seen.
    """
    if min(trend.recent_count, trend.earlier_count) < LEAST:
        return None
    rise = trend.recent * trend.earlier_count - trend.earlier * trend.recent_count
    return round(COARSE * rise / (trend.recent_count * trend.earlier_count))


def minutes_until(bound: Bound, trend: Trend) -> int:
    """Return in how many minutes the line meets the bound; only for a trend that heads out."""
    rise = trend.recent * trend.earlier_count - trend.earlier * trend.recent_count
    room = bound.sign * (bound.at * trend.recent_count - COARSE * trend.recent)
    if room <= 0:
        return 0
    pace = bound.sign * COARSE * rise
    return -(-(room * GAP * trend.earlier_count) // pace)


def _running(values: Wholes) -> Wholes:
    """Return running sums with a 0 in front; whole numbers, so differences are exact."""
    running: Wholes = np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(values)))
    return running
