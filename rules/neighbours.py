"""Channels of one place held against each other, minute by minute."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.runs import NEVER, NO_BOUND

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.trust_kit import Group, QualityKit

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Apart:
    """Where channels of one place differ too far, which of them stand alone, and since when."""

    apart: Flags
    alone: Flags
    entered: Wholes


def contradictions(
    kit: QualityKit, minute: Wholes, held_minute: Wholes, held_value: Wholes
) -> Apart:
    """Return which of the compared channels contradict their neighbours, minute by minute.

    Rows are those of `kit.compared`. Of two, both; of three or more, those far from the middle
    one, and they stand alone while they are fewer than half. `entered` is since when a channel has
    stood in the place of the group.
    """
    row_of = {channel: row for row, channel in enumerate(kit.compared.tolist())}
    found = Apart(
        np.zeros(held_minute.shape, dtype=np.bool_),
        np.zeros(held_minute.shape, dtype=np.bool_),
        np.full(held_minute.shape, NEVER, dtype=np.int64),
    )
    recent = minute - held_minute <= kit.figures.apart_reach_min
    for group in kit.groups:
        _compare(group, minute, row_of, held=(held_minute, held_value), recent=recent, found=found)
    return found


def _compare(
    group: Group,
    minute: Wholes,
    row_of: Mapping[int, int],
    *,
    held: tuple[Wholes, Wholes],
    recent: Flags,
    found: Apart,
) -> None:
    first, last = int(minute[0]), int(minute[-1])
    here = [stay for stay in group.stays if stay[1] <= last and stay[2] > first]
    if len(here) < 2:
        return
    rows = np.array([row_of[channel] for channel, _, _ in here], dtype=np.int64)
    entered = np.array([start for _, start, _ in here], dtype=np.int64)[:, None]
    left = np.array([end for _, _, end in here], dtype=np.int64)[:, None]
    stands = (minute >= entered) & (minute < left)
    told = stands & recent[rows] & (held[0][rows] >= entered)
    count: Wholes = told.sum(axis=0)
    values = np.where(told, held[1][rows], NO_BOUND)
    in_order = np.sort(values, axis=0)
    columns = np.arange(minute.size)
    lower = in_order[np.maximum(count - 1, 0) // 2, columns]
    upper = in_order[np.minimum(count // 2, len(here) - 1), columns]
    middle = lower + (upper - lower) // 2
    off = np.where(count == 2, upper - lower > group.apart, np.abs(values - middle) > group.apart)
    apart = told & (count >= 2) & off
    alone = apart & (2 * apart.sum(axis=0) < count)  # of two that differ, both are apart
    for at, row in enumerate(rows.tolist()):
        found.apart[row] |= apart[at]
        found.alone[row] |= alone[at]
        found.entered[row] = np.where(stands[at], entered[at], found.entered[row])
