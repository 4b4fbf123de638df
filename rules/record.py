"""What a sweep saw of each batch, minute by minute, for charts, replay and review."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.cells import MICRO
from rules.reserve import Band
from rules.standing import UNWATCHED

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rules.cover_watch import Told
    from rules.model.plan import Limit
    from rules.model.quantities import Felt

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

NO_LIMIT = -1


@dataclass(frozen=True, slots=True)
class BatchRecord:
    """One batch over a block, an entry per minute in every array.

    `felt` is in each quantity's unit, NaN where missing. `margin` is the smallest over the limits
    that speak and have a value, NaN where none does; `limit` is the place in `limits` of the one
    it belongs to, -1 for none. `standing` is the place in `rules.standing.BY_SEVERITY`, -1 while
    unwatched. `doses` holds every sum by its id, in the unit of its kind, NaN while not added.
    `reserve_pct` and `hours_to_critical` are bands, None where the scion's water is not reckoned.
    """

    felt: Mapping[Felt, Floats]
    limits: tuple[Limit, ...]
    margin: Floats
    limit: NDArray[np.int16]
    standing: NDArray[np.int8]
    doses: Mapping[str, Floats]
    reserve_pct: Band | None
    hours_to_critical: Band | None


@dataclass(frozen=True, slots=True)
class Record:
    """What a sweep saw, for charts: every batch by its code, from `first_minute` on."""

    first_minute: int
    minutes: int
    batches: Mapping[str, BatchRecord]


class Columns:
    """The arrays of one batch while they are being filled; felt values in millionths."""

    def __init__(self, minutes: int) -> None:
        self.values: dict[Felt, Wholes] = {}
        self.present: dict[Felt, Flags] = {}
        self.margin: Floats = np.full(minutes, np.inf)
        self.limit = np.full(minutes, NO_LIMIT, dtype=np.int16)
        self.limits: list[Limit] = []
        self.standing = np.full(minutes, UNWATCHED, dtype=np.int8)
        self.doses: dict[str, Floats] = {}
        self._minutes = minutes
        self._bands: NDArray[np.float32] | None = None

    def open_felt(self, felt: Felt) -> None:
        """Make room for a quantity; missing everywhere until it is written."""
        if felt not in self.values:
            self.values[felt] = np.zeros(self._minutes, dtype=np.int64)
            self.present[felt] = np.zeros(self._minutes, dtype=np.bool_)

    def write(self, felt: Felt, rows: slice, told: Told) -> None:
        """Write what the batch feels over rows."""
        self.open_felt(felt)
        self.values[felt][rows], self.present[felt][rows] = told

    def read(self, felt: Felt, rows: slice) -> Told:
        """Return what the batch feels over rows."""
        return self.values[felt][rows], self.present[felt][rows]

    def take_least(self, rows: slice, margins: Floats, judged: Sequence[Limit]) -> None:
        """Write the smallest margin of some limits, limits by rows, and whose it is.

        Of equal ones it is the first limit's; where all are infinite nothing is written.
        """
        places = np.array([self._place_of(limit) for limit in judged], dtype=np.int16)
        least = margins.argmin(axis=0)
        lowest = margins.min(axis=0)
        smaller = lowest < self.margin[rows]
        self.margin[rows] = np.where(smaller, lowest, self.margin[rows])
        self.limit[rows] = np.where(smaller, places[least], self.limit[rows])

    def _place_of(self, limit: Limit) -> int:
        """Return the place of a limit in `limits`; one that is met for the first time is added."""
        for place, one in enumerate(self.limits):
            # To compare all that two limits say is slow, and nearly always they are one object.
            if one is limit or (one.id == limit.id and one == limit):
                return place
        self.limits.append(limit)
        return len(self.limits) - 1

    def write_bands(self, rows: slice, reserve: Band, hours: Band) -> None:
        """Write the bands of the reserve and of the hours it would last."""
        if self._bands is None:
            self._bands = np.full((6, self._minutes), np.nan, dtype=np.float32)
        of_both = (reserve.low, reserve.central, reserve.high, hours.low, hours.central, hours.high)
        for place, row in enumerate(of_both):
            self._bands[place, rows] = row

    def write_sum(self, name: str, rows: slice, total: Floats) -> None:
        """Write one dose's sum after each cell."""
        if name not in self.doses:
            self.doses[name] = np.full(self._minutes, np.nan)
        self.doses[name][rows] = total

    def record(self) -> BatchRecord:
        """Return what was filled in, in the units people read."""
        return BatchRecord(
            felt={
                felt: np.where(self.present[felt], values / np.float64(MICRO), np.nan)
                for felt, values in self.values.items()
            },
            limits=tuple(self.limits),
            margin=np.where(np.isfinite(self.margin), self.margin, np.nan),
            limit=self.limit,
            standing=self.standing,
            doses=self.doses,
            reserve_pct=None if self._bands is None else _band(self._bands[:3]),
            hours_to_critical=None if self._bands is None else _band(self._bands[3:]),
        )


def _band(rows: NDArray[np.float32]) -> Band:
    low, central, high = rows.astype(np.float64)
    return Band(low, central, high)
