"""Geometry of the charts: time and value to places, and fewer points without losing an extreme.

Pure functions on arrays. Places along time are shares of the window from 0.0 to 1.0; places in
height are shares of the plot from the top. Nothing here knows of SVG.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

MOST_POINTS = 2000
_STEPS = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Domain:
    """The span of values that a plot shows, and the round values at which it is ruled."""

    lowest: float
    highest: float
    ruled: tuple[float, ...]

    def height_of(self, value: float) -> float:
        """Return the place of `value` from the top, 0.0 to 1.0; values outside stop at the edge.

        >>> Domain(0.0, 10.0, ()).height_of(7.5)
        0.25
        """
        share = (self.highest - value) / (self.highest - self.lowest)
        return min(1.0, max(0.0, share))


def domain_of(values: NDArray[np.float64], bounds: Sequence[float], least_span: float) -> Domain:
    """Return a domain that holds every finite value and every bound, with a little air around.

    `least_span` keeps a flat record from being blown up until noise looks like weather.

    >>> domain_of(np.array([20.0, 24.0]), [32.0], 5.0).ruled
    (20.0, 25.0, 30.0)
    """
    seen = values[np.isfinite(values)]
    held = [*(float(v) for v in bounds)]
    if seen.size:
        held += [float(seen.min()), float(seen.max())]
    if not held:
        held = [0.0]
    low, high = min(held), max(held)
    short = least_span - (high - low)
    if short > 0:
        low, high = low - short / 2, high + short / 2
    air = (high - low) * 0.08
    low, high = low - air, high + air
    step = _round_step((high - low) / 6)
    first = int(np.ceil(low / step))
    last = int(np.floor(high / step))
    ruled = tuple(round(n * step, 6) for n in range(first, last + 1))
    return Domain(low, high, ruled)


def _round_step(rough: float) -> float:
    power = 10.0 ** float(np.floor(np.log10(rough)))
    step: float = next(s * power for s in _STEPS if s * power >= rough * 0.999)
    return step


def extremes(values: NDArray[np.float64], columns: int) -> list[list[tuple[float, float]]]:
    """Thin a record to at most two points a column: the lowest and the highest, in their order.

    Returns runs of (place along the whole record from 0.0 to 1.0, value); a missing value (NaN)
    ends a run, so a gap stays a gap. At most MOST_POINTS points come back in all. No extreme of a
    column is ever lost, so neither is the extreme of the record.

    >>> extremes(np.array([1.0, 5.0, 2.0, np.nan, 3.0]), 5)
    [[(0.1, 1.0), (0.3, 5.0), (0.5, 2.0)], [(0.9, 3.0)]]
    """
    count = values.size
    columns = max(1, min(columns, MOST_POINTS // 2, count))
    edges = (np.arange(columns + 1) * count) // columns
    if count == 0:
        return []
    column = np.repeat(np.arange(columns), np.diff(edges))
    kept = np.union1d(
        _first_of(values == np.fmin.reduceat(values, edges[:-1])[column], edges),
        _first_of(values == np.fmax.reduceat(values, edges[:-1])[column], edges),
    )
    missing_before = np.cumsum(np.isnan(values))[kept]
    places = ((kept + 0.5) / count).tolist()
    points = list(zip(places, values[kept].tolist(), strict=True))
    cuts = [0, *(np.flatnonzero(np.diff(missing_before)) + 1).tolist(), len(points)]
    return [points[start:end] for start, end in pairwise(cuts) if start < end]


def _first_of(holds: NDArray[np.bool_], edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the first place in each column at which something holds, where there is one."""
    count = holds.size
    first = np.minimum.reduceat(np.where(holds, np.arange(count), count), edges[:-1])
    return first[first < count]


def spread_by_column(
    low: NDArray[np.float64], high: NDArray[np.float64], columns: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the lowest low and the highest high of each column; NaN where nothing was told.

    >>> spread_by_column(np.array([1.0, 0.0, np.nan]), np.array([2.0, 4.0, np.nan]), 3)[1].tolist()
    [2.0, 4.0, nan]
    """
    columns = max(1, min(columns, low.size))
    edges = (np.arange(columns + 1) * low.size) // columns
    lowest = np.fmin.reduceat(low, edges[:-1])
    highest = np.fmax.reduceat(high, edges[:-1])
    return lowest, highest


def worst_by_column(
    margin: NDArray[np.float64], columns: int
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return the smallest margin in each column and the index at which it stood.

    A column is NaN (blind) when any of its minutes is blind, unless a seen minute of it was beyond
    a limit: what is known to be wrong is drawn, what is not known is never drawn as fine. The
    index is -1 where nothing was seen.
    """
    count = margin.size
    if count == 0:
        return np.full(columns, np.nan), np.full(columns, -1, dtype=np.int64)
    edges = (np.arange(columns + 1) * count) // columns
    starts, widths = edges[:-1], np.diff(edges)
    lowest = np.fmin.reduceat(margin, starts)
    part_blind = np.logical_or.reduceat(np.isnan(margin), starts)
    lowest[widths == 0] = np.nan  # reduceat gives an empty column the minute that follows it
    worst = np.where(part_blind & ~(lowest < 0), np.nan, lowest)
    is_lowest = margin == np.repeat(lowest, widths)
    index = np.minimum.reduceat(np.where(is_lowest, np.arange(count), count), starts)
    index[(index == count) | (widths == 0)] = -1
    return worst, index.astype(np.int64)


def runs_of(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return the stretches in which `mask` holds, as (start, end) with the end left out.

    >>> runs_of(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    padded = np.concatenate(([False], mask, [False])).astype(np.int8)
    turns = np.flatnonzero(np.diff(padded))
    return [(int(a), int(b)) for a, b in zip(turns[::2], turns[1::2], strict=True)]
