"""A record of any length brought down to few points, without losing what matters in it.

A point of the record is either kept or left out; none is moved, joined with another or made up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

MOST_POINTS = 2000


@dataclass(frozen=True, slots=True)
class Thinned:
    """Which points stay, in order, and before which of them something is missing.

    `joined`: there were more excursions and gaps than points, so that neighbours among them share
    the one point that lies furthest out, or one break of the line.
    """

    index: Wholes
    begins: Flags
    joined: bool


def thinned(
    at_ms: Wholes,
    low: Floats,
    high: Floats,
    *,
    begins: Flags,
    beyond: Sequence[Floats],
    most: int = MOST_POINTS,
) -> Thinned:
    """Choose at most `most` points, 20 or more, of a record in order of time; else ValueError.

    A point may be a value (`low` and `high` the same) or a cell with its extremes. `begins` is
    True where something is missing before a point. `beyond` holds for each limit how far each
    point lies beyond it, 0 or less inside or where it is silent.

    What stays: the lowest and the highest of all, both ends of every stretch without a gap, the
    worst point of each excursion beyond each limit; and of equal lengths of time, as many as there
    is room for, the lowest and the highest. Only where the first four are already too many do
    lengths of time decide alone: each then keeps its lowest, its highest and its worst.
    """
    if most < 20 * (1 + len(beyond)):
        msg = f"{most} points are too few for {len(beyond)} limits"
        raise ValueError(msg)
    count = at_ms.size
    if count <= most:
        return Thinned(np.arange(count, dtype=np.int64), begins.copy(), joined=False)
    edges = np.flatnonzero(begins | np.append(begins[1:], True))
    must = [edges, np.array([0, count - 1, int(np.argmin(low)), int(np.argmax(high))])]
    must += [_worst_of_each(how_far, begins) for how_far in beyond]
    first = np.unique(np.concatenate(must))
    joined = first.size > most * 3 // 4
    kept = [] if joined else [first]
    room = most // (2 + len(beyond)) if joined else (most - first.size) // 2
    of_time = _in_equal_times(at_ms, room)
    kept += [_best_of_each(of_time, -low), _best_of_each(of_time, high)]
    if joined:
        kept += [_best_of_each(of_time, how_far) for how_far in beyond]
    index = np.unique(np.concatenate(kept)).astype(np.int64)
    gaps_before = np.cumsum(begins)[index]
    broken = np.concatenate(([True], np.diff(gaps_before) > 0))
    return Thinned(index, broken, joined=bool(joined))


def _in_equal_times(at_ms: Wholes, lengths: int) -> Wholes:
    whole = int(at_ms[-1] - at_ms[0]) + 1
    # Shares of the whole in floats: instants times lengths could leave 64 bits.
    place = np.floor((at_ms - at_ms[0]) / np.float64(whole) * lengths)
    found: Wholes = np.minimum(place.astype(np.int64), lengths - 1)
    return found


def _best_of_each(group: Wholes, score: Floats) -> Wholes:
    """Return the place of the highest score of each group; groups stand together in order."""
    order = np.lexsort((score, group))
    ends = np.flatnonzero(np.append(np.diff(group[order]) > 0, True))
    return order[ends].astype(np.int64)


def _worst_of_each(how_far: Floats, begins: Flags) -> Wholes:
    """Return the worst place of each unbroken run beyond a limit."""
    out = how_far > 0
    inside: Wholes = np.flatnonzero(out).astype(np.int64)
    if inside.size == 0:
        return inside
    before = np.concatenate(([False], out[:-1]))
    starts = out & (begins | ~before)
    of_run: Wholes = np.cumsum(starts, dtype=np.int64)[inside]
    return inside[_best_of_each(of_run, how_far[inside])]


def gaps_in(at_ms: Wholes, begins: Flags, *, step_ms: int, start_ms: int, end_ms: int) -> Wholes:
    """Return where nothing is known between start and end, as rows of (from, to) in order.

    A point speaks for `step_ms` from its instant on.

    >>> gaps_in(np.array([60, 120, 300]), np.array([True, False, True]), step_ms=60,
    ...         start_ms=0, end_ms=400).tolist()
    [[0, 60], [180, 300], [360, 400]]
    """
    if at_ms.size == 0:
        whole = [[start_ms, end_ms]] if end_ms > start_ms else []
        return np.array(whole, dtype=np.int64).reshape(-1, 2)
    breaks = np.flatnonzero(begins[1:]) + 1
    starts = np.concatenate(([start_ms], at_ms[breaks - 1] + step_ms, [at_ms[-1] + step_ms]))
    ends = np.concatenate(([at_ms[0]], at_ms[breaks], [end_ms]))
    return np.stack((starts, ends), axis=1)[ends > starts]


def nearest_joined(gaps: Wholes, most: int) -> Wholes:
    """Return gaps with the ones closest to each other joined until at most `most` are left.

    Every gap lies in one of those returned.

    >>> nearest_joined(np.array([[0, 1], [2, 3], [9, 10]]), 2).tolist()
    [[0, 3], [9, 10]]
    """
    if len(gaps) <= most:
        return gaps
    between = gaps[1:, 0] - gaps[:-1, 1]
    kept = np.sort(np.argsort(-between, kind="stable")[: most - 1]) + 1
    cuts = np.concatenate(([0], kept))
    ends = np.concatenate((kept - 1, [len(gaps) - 1]))
    return np.stack((gaps[cuts, 0], gaps[ends, 1]), axis=1)
