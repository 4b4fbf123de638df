"""Stored readings as blocks of cells, to be replayed: as it happened, or with hindsight.

As it happened, a reading that the watch did not have when its cell was closed is left out, and each
cell is judged with the site, the plans and the observations that the watch knew then.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from api.bookkeeping import book_then
from api.records.books import books_between
from api.records.history import answers_in, gaps_ever, late_by_channel, works_ever
from api.records.session import reading
from api.records.watch import load_position
from rules.cells import block_of_series
from rules.evaluator import watchlist
from rules.model.reading import MINUTE_MS
from rules.replay import Book, replay

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray
    from sqlalchemy import Engine

    from collector.stores.base import ReadingStore
    from rules.cells import CellBlock
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.replay import Passage, ReplayState

BLOCK_MIN = 1440


@dataclass(frozen=True, slots=True)
class Watched:
    """The minutes that a watch has judged, and the spans of them in which nobody watched."""

    first_minute: int
    end_minute: int
    gaps: tuple[tuple[int, int], ...]


def watched_in(records: Engine) -> Watched | None:
    """Return what a watch has judged; None before its first start."""
    with reading(records) as db:
        position = load_position(db)
        if position is None:
            return None
        return Watched(position.began_minute, position.next_minute, gaps_ever(db))


def book_of(
    site: Site,
    plans: Mapping[str, Sequence[CarePlan]],
    records: Engine | None,
    *,
    lateness_s: int,
) -> Book:
    """Return what is judged, with what people did where there are records of it."""
    if records is None:
        return Book(site, watchlist(site, plans))
    with reading(records) as db:
        answers = answers_in(db, lateness_s=lateness_s)
        return Book(site, watchlist(site, plans), answers, works_ever(db))


@dataclass(frozen=True, slots=True)
class Stretch:
    """Cells from `first_minute` until before `end_minute`, judged with one book.

    `plans` are those the book was made with; None where nobody asks for them.
    """

    first_minute: int
    end_minute: int
    book: Book
    plans: Mapping[str, Sequence[CarePlan]] | None = None


def stretches_of(
    newest: Book,
    records: Engine,
    *,
    first_minute: int,
    end_minute: int,
    plans: Mapping[str, Sequence[CarePlan]] | None = None,
) -> tuple[tuple[Stretch, ...], tuple[str, ...]]:
    """Return the stretches of a span, each with the book that the watch knew then.

    Also what could not be made again, a line each: there, and where nothing is noted of the book,
    the newest is used, which was made with `plans`.
    """
    found: list[Stretch] = []
    lost: list[str] = []
    at = first_minute
    with reading(records) as db:
        for noted in books_between(db, first_minute, end_minute):
            begins = max(first_minute, noted.from_minute)
            ends = end_minute if noted.to_minute is None else min(end_minute, noted.to_minute)
            if begins > at:
                found.append(Stretch(at, begins, newest, plans))
            try:
                then = book_then(db, noted)
            except LookupError as trouble:
                lost.append(str(trouble))
                known, its_plans = newest, plans
            else:
                known = replace(newest, site=then.site, watchlist=then.watchlist)
                its_plans = then.plans
            found.append(Stretch(begins, ends, known, its_plans))
            at = ends
    if at < end_minute:
        found.append(Stretch(at, end_minute, newest, plans))
    return tuple(found), tuple(lost)


def replayed(
    stretches: Sequence[Stretch], store: ReadingStore, *, late_in: Engine | None
) -> Iterator[Passage]:
    """Yield what each block of stretches that follow one another said; see `blocks_of`."""
    state: ReplayState | None = None
    for stretch in stretches:
        blocks = blocks_of(
            stretch.book.site,
            store,
            first_minute=stretch.first_minute,
            end_minute=stretch.end_minute,
            late_in=late_in,
        )
        for after, passage in replay(stretch.book, blocks, state=state):
            state = after
            yield passage


def blocks_of(
    site: Site,
    store: ReadingStore,
    *,
    first_minute: int,
    end_minute: int,
    late_in: Engine | None,
) -> Iterator[CellBlock]:
    """Yield the cells of a span a day at a time, so that a season takes no more room than a day.

    Parameters
    ----------
    late_in
        Records whose late readings are left out; None: with hindsight, every reading counts.
    """
    for first in range(first_minute, end_minute, BLOCK_MIN):
        minutes = min(BLOCK_MIN, end_minute - first)
        late: Mapping[str, frozenset[int]] = {}
        if late_in is not None:
            with reading(late_in) as db:
                late = late_by_channel(db, first_minute=first, end_minute=first + minutes)
        kept = store.series(tuple(site.channels), first * MINUTE_MS, (first + minutes) * MINUTE_MS)
        series: dict[str, tuple[NDArray[np.int64], NDArray[np.float64]]] = {}
        for key, told in kept.items():
            at_ms, value = told.at_ms, told.value
            if key in late:
                in_time = ~np.isin(at_ms, np.fromiter(late[key], dtype=np.int64))
                at_ms, value = at_ms[in_time], value[in_time]
            series[key] = (at_ms, value)
        yield block_of_series(site, first, minutes, series)
