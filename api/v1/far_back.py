"""The worst that a batch has felt on a limit's side since it was grafted.

What lies before today's noon is read from the store's cells, which outlive the readings, once a day
for each limit; today is told minute by minute, as it was judged.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from api.v1.lines import MOST_MIN, line_of_cells
from rules.model.plan import Side, When
from rules.model.quantities import RECKONED
from rules.model.reading import MINUTE_MS
from rules.sun import sun_is_up
from rules.watchlist import grafted_minute

if TYPE_CHECKING:
    from api.parts import Parts
    from api.v1.sight import SpanRecord
    from rules.model.batch import Batch
    from rules.model.plan import FilmState, Limit
    from rules.model.quantities import Felt
    from rules.watchlist import BatchWatch

MOST_KEPT = 4000

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Worst:
    """The value furthest on a limit's side, in the limit's unit, and the minute it began in."""

    value: float
    minute: int


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is kept under: a batch, what of it, until when, and by which state of the book."""

    code: str
    of: tuple[Felt, Side, When, FilmState | None]
    until: int
    revision: str


class FarBack:
    """Looks back to grafting; safe to use from many threads."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = threading.Lock()
        self._kept: OrderedDict[_Asked, Worst | None] = OrderedDict()

    def can_tell(self, watched: BatchWatch, limit: Limit) -> bool:
        """Return whether a limit's quantity is kept so long: only what a sensor has told is."""
        felt = limit.quantity
        return felt not in RECKONED and any(felt in span.speakers for span in watched.spans)

    def worst(
        self, batch: Batch, watched: BatchWatch, limit: Limit, today: SpanRecord
    ) -> Worst | None:
        """Return the worst since grafting, of the hours in which the limit speaks; None: unseen.

        `today` is the record of the day from the last noon on. ValueError for what `can_tell`
        denies.
        """
        if not self.can_tell(watched, limit):
            msg = f"{limit.quantity} is not kept since grafting"
            raise ValueError(msg)
        begins = grafted_minute(batch, self._parts.site.site)
        begins = max(begins, today.first_minute - MOST_MIN)
        found = [self._before(batch.code, watched, limit, begins, today.first_minute)]
        held = today.batches.get(batch.code)
        if held is not None:
            at = today.first_minute + np.arange(today.minutes, dtype=np.int64)
            values = held.felt[limit.quantity]
            seen = np.isfinite(values) & (at >= begins)
            found.append(self._of(watched, limit, at[seen], values[seen], step_min=1))
        return _worse(limit, [one for one in found if one is not None])

    def _before(
        self, code: str, watched: BatchWatch, limit: Limit, begins: int, until: int
    ) -> Worst | None:
        if begins >= until:
            return None
        # Several limits of a stage may ask for the same: it is worked out once.
        key = _Asked(
            code,
            (limit.quantity, limit.side, limit.when, limit.film),
            until,
            self._parts.book.now.revision,
        )
        with self._lock:
            if key in self._kept:
                return self._kept[key]
        line = line_of_cells(
            self._parts, watched, limit.quantity, first_minute=begins, end_minute=until
        )
        values = line.low if limit.side is Side.LOW else line.high
        found = self._of(watched, limit, line.at_ms // MINUTE_MS, values, step_min=line.step_min)
        with self._lock:
            self._kept[key] = found
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return found

    def _of(
        self, watched: BatchWatch, limit: Limit, at: Wholes, values: Floats, *, step_min: int
    ) -> Worst | None:
        """Return the worst of stretches that lie wholly in the hours in which the limit speaks."""
        ends = at + step_min - 1
        counts = self._speaks(watched, limit, at) & self._speaks(watched, limit, ends)
        if not bool(counts.any()):
            return None
        at, values = at[counts], values[counts]
        place = int(np.argmin(values) if limit.side is Side.LOW else np.argmax(values))
        return Worst(float(values[place]), int(at[place]))

    def _speaks(self, watched: BatchWatch, limit: Limit, minutes: Wholes) -> Flags:
        counts = np.ones(minutes.size, dtype=np.bool_)
        if minutes.size == 0:
            return counts
        if limit.when is not When.ALWAYS:
            lit = sun_is_up(self._parts.site.site, minutes)
            counts &= lit if limit.when is When.DAY else ~lit
        if limit.film is not None:
            counts &= watched.kit_in(watched.span_at(int(minutes[-1]))).film_open(minutes)
        return counts


def _worse(limit: Limit, found: list[Worst]) -> Worst | None:
    if not found:
        return None
    choose = min if limit.side is Side.LOW else max
    return choose(found, key=lambda one: one.value)
