"""How each batch stood along a replay, pressed into a bounded number of columns to be drawn.

Nothing is lost in pressing that a person must see: a column takes the worst standing in it, the
smallest margin and the least reserve, and shows no margin where any minute of it was not seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.ribbon import RibbonRecord, seen_margin
from rules.standing import UNWATCHED

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from rules.record import BatchRecord
    from rules.replay import Passage

MOST_COLUMNS = 2016
"""Ten minutes each over a fortnight; more than a ribbon can show."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """One batch in columns. `reserve_pct` is the least likely one, NaN where none is reckoned.

    `unseen_min` counts the minutes that had no value to hold against a limit, in whatever standing:
    a batch stays in danger while nobody sees it.
    """

    ribbon: RibbonRecord
    reserve_pct: NDArray[np.float64]
    water_seen: bool
    unseen_min: int


class Pressed:
    """Columns of every batch from a first minute until before an end, filled passage by passage."""

    def __init__(self, first_minute: int, end_minute: int) -> None:
        self.first_minute, self.end_minute = first_minute, end_minute
        self.step_min = max(1, -(-(end_minute - first_minute) // MOST_COLUMNS))
        self._columns = -(-(end_minute - first_minute) // self.step_min)
        self._margin: dict[str, NDArray[np.float64]] = {}
        self._standing: dict[str, NDArray[np.int8]] = {}
        self._unseen: dict[str, NDArray[np.bool_]] = {}
        self._reserve: dict[str, NDArray[np.float64]] = {}
        self._unseen_min: dict[str, int] = {}

    def take(self, passage: Passage) -> None:
        """Press a passage in; minutes outside are left out."""
        skip = min(max(0, self.first_minute - passage.first_minute), passage.minutes)
        until = min(passage.minutes, self.end_minute - passage.first_minute)
        if skip >= until:
            return
        first = passage.first_minute + skip - self.first_minute
        column = np.arange(first, first + until - skip) // self.step_min
        for code, record in passage.record.batches.items():
            self._press(code, record, slice(skip, until), column)

    def drawn(self) -> Mapping[str, Drawn]:
        """Return every batch that was seen in a passage."""
        return {code: self._drawn(code) for code in self._standing}

    def _press(
        self, code: str, record: BatchRecord, rows: slice, column: NDArray[np.int64]
    ) -> None:
        if code not in self._standing:
            self._margin[code] = np.full(self._columns, np.nan)
            self._standing[code] = np.full(self._columns, UNWATCHED, dtype=np.int8)
            self._unseen[code] = np.zeros(self._columns, dtype=np.bool_)
            self._reserve[code] = np.full(self._columns, np.nan)
            self._unseen_min[code] = 0
        margin = seen_margin(record)[rows]
        standing = record.standing[rows]
        np.maximum.at(self._standing[code], column, standing)
        np.fmin.at(self._margin[code], column, margin)
        unseen = np.isnan(margin) & (standing != UNWATCHED)
        np.logical_or.at(self._unseen[code], column, unseen)
        self._unseen_min[code] += int(np.count_nonzero(unseen))
        if record.reserve_pct is not None:
            np.fmin.at(self._reserve[code], column, record.reserve_pct.central[rows])

    def _drawn(self, code: str) -> Drawn:
        margin = self._margin[code]
        hidden = self._unseen[code] & ~(margin < 0)
        return Drawn(
            ribbon=RibbonRecord(
                margin=np.where(hidden, np.nan, margin),
                standing=self._standing[code],
                judged_until=1.0,
            ),
            reserve_pct=self._reserve[code],
            unseen_min=self._unseen_min[code],
            water_seen=not bool(np.isnan(self._reserve[code]).all()),
        )
