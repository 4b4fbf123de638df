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

    from rules.limits import Bound, BoundTable

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
    """The same for each of many cells, of several quantities: quantities by cells."""

    recent: Wholes
    recent_count: Wholes
    earlier: Wholes
    earlier_count: Wholes

    def of(self, rows: NDArray[np.intp]) -> Trends:
        """Return the rows of these places, one after another; a place may come again."""
        return Trends(
            recent=self.recent[rows],
            recent_count=self.recent_count[rows],
            earlier=self.earlier[rows],
            earlier_count=self.earlier_count[rows],
        )


def onto_ring(ring: Ring, value: int | None) -> Ring:
    """Add a cell's value, in millionths, to the newest end of a ring of at most 30 cells."""
    kept = ring[1:] if len(ring) == RING else ring
    return (*kept, None if value is None else value // COARSE)


def onto_rings(rings: Sequence[Ring], values: Wholes, present: Flags) -> list[Ring]:
    """Add many cells to several rings, a row each; equals `onto_ring` one after another."""
    newest: list[list[int]] = (values[:, -RING:] // COARSE).tolist()
    seen: list[list[bool]] = present[:, -RING:].tolist()
    return [
        (*ring, *(v if there else None for v, there in zip(of_one, seen_of, strict=True)))[-RING:]
        for ring, of_one, seen_of in zip(rings, newest, seen, strict=True)
    ]


def trend_of(ring: Ring, usable: int) -> Trend:
    """Return the two windows of a ring of which only the newest `usable` cells may be used."""
    cells = ring[-usable:] if usable > 0 else ()
    recent = [value for value in cells[-WINDOW:] if value is not None]
    end = len(cells) - GAP
    earlier = [value for value in cells[max(0, end - WINDOW) : max(0, end)] if value is not None]
    return Trend(sum(recent), len(recent), sum(earlier), len(earlier))


def trends_of(rings: Sequence[Ring], since: Wholes, values: Wholes, present: Flags) -> Trends:
    """Return the windows at each of many cells that follow a ring; equals `trend_of` cell by cell.

    Several quantities at once, a row of `values` and `present` and a ring each. `since` tells the
    first cell that may be used at each cell, counted from the first of these, below 0 in the ring;
    quantities by cells, or by one for all.
    """
    before = [(None,) * (RING - len(ring)) + ring for ring in rings]
    front = np.array([[value or 0 for value in ring] for ring in before], dtype=np.int64)
    seen = np.array([[value is not None for value in ring] for ring in before], dtype=np.bool_)
    total = _running(np.concatenate((front, np.where(present, values // COARSE, 0)), axis=1))
    count = _running(np.concatenate((seen, present), axis=1))
    end = RING + 1 + np.arange(values.shape[1], dtype=np.int64)
    first: Wholes = np.minimum(np.maximum(RING + since, 0), end)
    row = np.arange(len(before))[:, None]

    def window(newest: int, oldest: int) -> tuple[Wholes, Wholes]:
        until, begin = np.maximum(first, end - newest), np.maximum(first, end - oldest)
        return total[row, until] - total[row, begin], count[row, until] - count[row, begin]

    return Trends(*window(0, WINDOW), *window(GAP, RING))


def heads_out(bound: Bound, trend: Trend) -> bool:
    """Return whether the line passes the bound by more than the deadband within the hour."""
    if min(trend.recent_count, trend.earlier_count) < LEAST:
        return False
    rise = trend.recent * trend.earlier_count - trend.earlier * trend.recent_count
    counts = trend.recent_count * trend.earlier_count
    ahead = COARSE * (trend.recent * trend.earlier_count + HOURS_ON * rise)
    excess = bound.sign * (ahead - bound.at * counts)
    return bound.sign * rise > 0 and excess > bound.deadband * counts


def head_out(table: BoundTable, trends: Trends) -> Flags:
    """Return the same for several bounds and many cells; a row of `trends` for each bound."""
    enough = np.minimum(trends.recent_count, trends.earlier_count) >= LEAST
    rise = trends.recent * trends.earlier_count - trends.earlier * trends.recent_count
    counts = trends.recent_count * trends.earlier_count
    ahead = COARSE * (trends.recent * trends.earlier_count + HOURS_ON * rise)
    excess = table.sign * (ahead - table.at * counts)
    flags: Flags = enough & (table.sign * rise > 0) & (excess > table.deadband * counts)
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


def _running(values: NDArray[np.int64] | Flags) -> Wholes:
    """Return each row's running sums with a 0 in front; whole numbers: differences are exact."""
    running = np.zeros((len(values), values.shape[1] + 1), dtype=np.int64)
    np.cumsum(values, axis=1, out=running[:, 1:])
    return running
