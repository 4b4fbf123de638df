"""Looks back on a batch: judges its whole record again with hindsight, and those of its siblings.

Every reading that is kept counts, and all that was entered by now: what the air did, not what the
watch could know. The same evaluator judges it, block after block, and no alarm is raised.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from api.records.session import reading
from api.records.tables import as_ms
from api.records.watch import load_position
from api.replaying import blocks_of
from rules.evaluator import start, sweep
from rules.evidence import Siblings
from rules.exposures import exposures_of
from rules.hearsay import doubts_of
from rules.life import LifeTape
from rules.model.batch import ENDED
from rules.model.reading import minute_of
from rules.review import review_of
from rules.speaking import first_cell
from rules.take import Outcome, first_sign, take_of
from rules.watchlist import grafted_minute

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from api.book import InForce
    from api.parts import Parts
    from collector.stores.base import ReadingStore
    from rules.life import Life
    from rules.model.batch import Batch
    from rules.model.place import Place
    from rules.review import Review
    from rules.watchlist import BatchWatch

WARM_UP_MIN = 360
NEAR_DAYS = 30
"""Siblings were grafted within so many days of the batch: house rule."""
MOST_SIBLINGS = 20
MOST_DAYS = 180
AFTER_MIN = 1440
"""What is drawn goes on for a day after the first sign, so that the sign can be seen."""
MOST_KEPT = 20
ANEW_MIN = 60
"""Of a batch that still stands, the review is worked out again after an hour."""


@dataclass(frozen=True, slots=True)
class Window:
    """The minutes of a batch that are looked at: from grafting until before `end_minute`."""

    watch: BatchWatch
    first_minute: int
    end_minute: int


@dataclass(frozen=True, slots=True)
class Reviewed:
    """A review with what it was made of: the batch, its whole life as drawn, its siblings."""

    review: Review
    batch: Batch
    watch: BatchWatch
    life: Life
    siblings: tuple[Batch, ...]


class Reviews:
    """Reviews of batches, each worked out once; safe to use from many threads."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, str, int], Reviewed] = OrderedDict()

    def of(self, code: str) -> Reviewed:
        """Return the review of a batch; LookupError for one that is not there."""
        now = self._parts.book.now
        with reading(self._parts.records) as db:
            position = load_position(db)
        clock_minute = minute_of(as_ms(self._parts.clock.now()))
        to_minute = clock_minute if position is None else position.next_minute
        key = (code, now.revision, to_minute // ANEW_MIN)
        # One at a time: two people who look at one batch wait for one sum, not for two.
        with self._lock:
            if key not in self._kept:
                self._kept[key] = reviewed(now, self._parts.store, code, to_minute=to_minute)
                while len(self._kept) > MOST_KEPT:
                    self._kept.popitem(last=False)
            return self._kept[key]


def reviewed(
    now: InForce,
    store: ReadingStore,
    code: str,
    *,
    to_minute: int,
    lives: Mapping[str, Life] | None = None,
) -> Reviewed:
    """Look back on a batch, as far as before a minute; LookupError for one that is not there.

    `lives` are whole ones, where they are at hand already; None: they are worked out.
    """
    site = now.site
    batch = next((one for one in site.batch if one.code == code), None)
    if batch is None:
        msg = f"there is no batch {code}"
        raise LookupError(msg)
    watched = {one.code: one for one in now.watchlist.batches}
    sign = first_sign(batch)
    first = grafted_minute(batch, site.site)
    shown_end = _end_of(batch, first, to_minute)
    end = shown_end if sign is None else min(shown_end, max(first, first_cell(sign)))
    siblings = siblings_of(now, batch)
    windows = {code: Window(watched[code], first, shown_end)}
    for one in siblings:
        begin = grafted_minute(one, site.site)
        until = min(begin + (end - first), _end_of(one, begin, to_minute))
        windows[one.code] = Window(watched[one.code], begin, until)
    lives = lives_in(now, store, list(windows.values())) if lives is None else lives
    life = lives[code]
    beside_it = {one.code: lives[one.code].until(windows[one.code].end_minute) for one in siblings}
    known = [one for one in siblings if bool(beside_it[one.code].seen.any())]
    beside = Siblings(
        tuple(one.code for one in known),
        tuple(exposures_of(beside_it[one.code]) for one in known),
    )
    looked_at = life.until(end)
    review = review_of(
        batch,
        take_of(batch, site),
        looked_at,
        sign=sign,
        siblings=beside,
        doubts=doubts_of(site, batch, watched[code], looked_at),
    )
    return Reviewed(review, batch, watched[code], life, tuple(known))


def whole_window(now: InForce, batch: Batch, *, to_minute: int) -> Window:
    """Return the minutes of a batch from grafting until its end, or until before a minute."""
    first = grafted_minute(batch, now.site.site)
    watch = next(one for one in now.watchlist.batches if one.code == batch.code)
    return Window(watch, first, _end_of(batch, first, to_minute))


def window_of(now: InForce, batch: Batch, *, to_minute: int) -> Window:
    """Return the minutes of a batch from grafting until the first sign, or until its end."""
    first = grafted_minute(batch, now.site.site)
    end, sign = _end_of(batch, first, to_minute), first_sign(batch)
    until = end if sign is None else min(end, max(first, first_cell(sign)))
    watch = next(one for one in now.watchlist.batches if one.code == batch.code)
    return Window(watch, first, until)


def siblings_of(now: InForce, batch: Batch) -> tuple[Batch, ...]:
    """Return taken batches of the same kind and period, the nearest by their date first."""
    near = [
        (abs((one.grafted_on - batch.grafted_on).days), one.code, one)
        for one in now.site.batch
        if one.code != batch.code
        and (one.plan, one.scion, one.cover) == (batch.plan, batch.scion, batch.cover)
        and abs((one.grafted_on - batch.grafted_on).days) <= NEAR_DAYS
        and take_of(one, now.site).outcome is Outcome.TAKEN
    ]
    return tuple(one for _, _, one in sorted(near, key=lambda found: found[:2])[:MOST_SIBLINGS])


def lives_in(now: InForce, store: ReadingStore, windows: Sequence[Window]) -> Mapping[str, Life]:
    """Judge the minutes of all windows in one passage; return each batch's life by its code."""
    place: Place = now.site.site
    tapes = {
        one.watch.code: LifeTape(
            one.watch, place, first_minute=one.first_minute, end_minute=one.end_minute
        )
        for one in windows
    }
    for first, end in _stretches(windows):
        watchlist = replace(
            now.watchlist,
            batches=tuple(
                one.watch for one in windows if one.first_minute < end and one.end_minute > first
            ),
        )
        state = start(watchlist)
        for block in blocks_of(
            now.site, store, first_minute=first - WARM_UP_MIN, end_minute=end, late_in=None
        ):
            state, _, record = sweep(watchlist, state, block)
            for name, of_batch in record.batches.items():
                tapes[name].take(block, of_batch)
    return {name: tape.life() for name, tape in tapes.items()}


def _stretches(windows: Sequence[Window]) -> list[tuple[int, int]]:
    """Return the minutes of all windows, those that meet made one."""
    joined: list[tuple[int, int]] = []
    spans = sorted((one.first_minute, one.end_minute) for one in windows)
    for first, end in spans:
        if first >= end:
            continue
        if joined and first <= joined[-1][1] + WARM_UP_MIN:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((first, end))
    return joined


def _end_of(batch: Batch, first: int, to_minute: int) -> int:
    """Return the minute before which a batch's record ends: when it ended itself, or now."""
    ends = [first_cell(move.since) for move in batch.stage if move.stage in ENDED]
    sign = first_sign(batch)
    end = min([*ends, to_minute])
    if ends and sign is not None:
        end = min(to_minute, max(end, first_cell(sign)) + AFTER_MIN)
    return max(first, min(end, first + MOST_DAYS * 1440))
