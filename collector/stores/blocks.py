"""The readings of one channel on one UTC day, packed and unpacked bit for bit, and its cells.

Three columns a block: instants, values, sequences, each encoded by pcodec, a lossless encoding of
number series. Ten-minute cells are kept beside it: least, greatest, count and total, the total in
whole millionths of the unit wherever every value is one, so that cells add up exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from pcodec import ChunkConfig, standalone  # pyright: ignore[reportAttributeAccessIssue]  # no stubs

from collector.stores.base import StoreFailure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

DAY_MS = 86_400_000
SLOT_MIN = 10
SLOT_MS = SLOT_MIN * 60_000
MILLION = 1_000_000
# Below it, the millionths of a slot's readings, even one each millisecond, add up in 64 bits.
_MOST_WHOLE = 1e7
_LEVEL = 8


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one channel in order of their instants, one array a column."""

    at_ms: NDArray[np.int64]
    value: NDArray[np.float64]
    sequence: NDArray[np.int64]

    @property
    def size(self) -> int:
        """How many readings there are."""
        return int(self.at_ms.size)

    def where(self, chosen: NDArray[np.bool_]) -> Columns:
        """Return the chosen ones."""
        return Columns(self.at_ms[chosen], self.value[chosen], self.sequence[chosen])

    def between(self, start_ms: int, end_ms: int) -> Columns:
        """Return those with start_ms <= at_ms < end_ms."""
        first, end = np.searchsorted(self.at_ms, [start_ms, end_ms])
        part = slice(int(first), int(end))
        return Columns(self.at_ms[part], self.value[part], self.sequence[part])


@dataclass(frozen=True, slots=True)
class Slots:
    """Cells of one channel, by the first instant of each. `total` holds millionths if integer."""

    start_ms: NDArray[np.int64]
    count: NDArray[np.int64]
    lowest: NDArray[np.float64]
    highest: NDArray[np.float64]
    total: NDArray[np.int64] | NDArray[np.float64]

    @property
    def totals(self) -> NDArray[np.float64]:
        """The totals in the unit of the readings."""
        if self.total.dtype == np.int64:
            return self.total / MILLION
        return self.total.astype(np.float64)


def columns_of(rows: Sequence[tuple[int, float, int]]) -> Columns:
    """Return rows of at_ms, value, sequence as columns, sorted by instant."""
    at_ms = np.array([row[0] for row in rows], dtype=np.int64)
    order = np.argsort(at_ms, kind="stable")
    return Columns(
        at_ms[order],
        np.array([row[1] for row in rows], dtype=np.float64)[order],
        np.array([row[2] for row in rows], dtype=np.int64)[order],
    )


def joined(parts: Sequence[Columns]) -> Columns:
    """Return several columns as one, sorted by instant."""
    if len(parts) == 1:
        return parts[0]
    at_ms = np.concatenate([np.empty(0, np.int64), *(part.at_ms for part in parts)])
    value = np.concatenate([np.empty(0, np.float64), *(part.value for part in parts)])
    sequence = np.concatenate([np.empty(0, np.int64), *(part.sequence for part in parts)])
    if bool(np.all(at_ms[1:] > at_ms[:-1])):
        return Columns(at_ms, value, sequence)
    order = np.argsort(at_ms, kind="stable")
    return Columns(at_ms[order], value[order], sequence[order])


def packed(numbers: NDArray[np.int64] | NDArray[np.float64]) -> bytes:
    """Return numbers encoded without loss; kept for ever, so the format must stay readable."""
    encoded: bytes = standalone.simple_compress(numbers, ChunkConfig(compression_level=_LEVEL))
    return encoded


def unpacked_whole(encoded: bytes) -> NDArray[np.int64]:
    """Return packed whole numbers."""
    return _unpacked(encoded).astype(np.int64, copy=False)


def unpacked_real(encoded: bytes) -> NDArray[np.float64]:
    """Return packed floating numbers."""
    return _unpacked(encoded).astype(np.float64, copy=False)


def unpacked_total(encoded: bytes) -> NDArray[np.int64] | NDArray[np.float64]:
    """Return packed totals: whole millionths, or floating numbers of the unit itself."""
    return _unpacked(encoded)


def _unpacked(encoded: bytes) -> NDArray[np.int64] | NDArray[np.float64]:
    try:
        numbers: NDArray[np.int64] | NDArray[np.float64] | None = standalone.simple_decompress(
            encoded
        )
    except (RuntimeError, TypeError, ValueError) as trouble:
        msg = f"a packed block can't be read ({trouble}). Restore the last copy of the file"
        raise StoreFailure(msg) from trouble
    if numbers is None:
        msg = "a packed block is empty. Restore the last copy of the file"
        raise StoreFailure(msg)
    return numbers


def slots_of(columns: Columns) -> Slots:
    """Return the ten-minute cells that hold a reading."""
    start_ms, first, count = np.unique(
        columns.at_ms - columns.at_ms % SLOT_MS, return_index=True, return_counts=True
    )
    empty = columns.size == 0
    lowest = columns.value if empty else np.minimum.reduceat(columns.value, first)
    highest = columns.value if empty else np.maximum.reduceat(columns.value, first)
    return Slots(
        start_ms, count.astype(np.int64), lowest, highest, _totals(columns.value, first, count)
    )


def _totals(
    value: NDArray[np.float64], first: NDArray[np.intp], count: NDArray[np.intp]
) -> NDArray[np.int64] | NDArray[np.float64]:
    if bool(np.all(np.abs(value) < _MOST_WHOLE)):
        whole = np.rint(value * MILLION)
        if bool(np.all(whole / MILLION == value)):
            if value.size == 0:
                return np.empty(0, np.int64)
            return np.add.reduceat(whole.astype(np.int64), first)
    ends = first + count
    sums = [_sum(value[i:end]) for i, end in zip(first, ends, strict=True)]
    return np.array(sums, dtype=np.float64)


def _sum(value: NDArray[np.float64]) -> float:
    """Return the rounded exact sum, the same in every order; infinite where no float holds it."""
    try:
        return math.fsum(value.tolist())
    except OverflowError:
        with np.errstate(over="ignore"):
            return float(np.sum(value))


def merged(parts: Sequence[Slots], *, cell_ms: int) -> Slots:
    """Return the cells of several parts, which share no reading, as cells of `cell_ms`."""
    starts = np.concatenate([np.empty(0, np.int64), *(part.start_ms for part in parts)])
    starts = starts - starts % cell_ms
    count = np.concatenate([np.empty(0, np.int64), *(part.count for part in parts)])
    lowest = np.concatenate([np.empty(0), *(part.lowest for part in parts)])
    highest = np.concatenate([np.empty(0), *(part.highest for part in parts)])
    order = np.argsort(starts, kind="stable")
    start_ms, first = np.unique(starts[order], return_index=True)
    if start_ms.size == 0:
        return Slots(start_ms, count, lowest, highest, np.empty(0, np.int64))
    whole = [part.total for part in parts if part.total.dtype == np.int64]
    total: NDArray[np.int64] | NDArray[np.float64]
    if len(whole) == len(parts):
        total = np.add.reduceat(np.concatenate(whole).astype(np.int64)[order], first)
    else:
        total = np.add.reduceat(np.concatenate([part.totals for part in parts])[order], first)
    return Slots(
        start_ms,
        np.add.reduceat(count[order], first),
        np.minimum.reduceat(lowest[order], first),
        np.maximum.reduceat(highest[order], first),
        total,
    )
