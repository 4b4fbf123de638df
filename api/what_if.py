"""One record judged in many ways at once: other figures of a limit, other plans, other weather.

Readings are read and cut into cells once, a day at a time; every way then judges the same cells
with the evaluator that watches at night. What one way needs is let go before the next takes its
turn, so of each only its state and its rings are kept.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from api.replaying import blocks_of
from rules.alarm_history import LimitName
from rules.cover import CoverFit, fit_cover
from rules.evaluator import watchlist
from rules.moments import moments_of
from rules.replay import begin, replay_block
from rules.trade import TradeTally, beyond_in, is_danger, trade_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray
    from sqlalchemy import Engine

    from api.replaying import Stretch
    from collector.stores.base import ReadingStore
    from rules.alarm_history import AlarmChanged
    from rules.cells import CellBlock
    from rules.model.batch import Stage
    from rules.model.plan import CarePlan, Limit
    from rules.model.site import Site
    from rules.replay import Book, Passage, ReplayState
    from rules.trade import Loss, Trade

    Plans = Mapping[str, Sequence[CarePlan]]


def _same_plans(plans: Plans) -> Plans:
    return plans


def _same_site(site: Site) -> Site:
    return site


def _same_cells(_site: Site, block: CellBlock) -> CellBlock:
    return block


@dataclass(frozen=True, slots=True)
class Way:
    """One way to judge the record: what it makes of the plans, of the site and of the cells.

    `looked_at` are the limits whose calls are counted, None for all. `cells` is given each block
    once, in order, and the site as it was. `supposes`: its air is not that of the record, so its
    danger is its own.
    """

    name: str
    looked_at: frozenset[LimitName] | None = None
    plans: Callable[[Plans], Plans] = _same_plans
    site: Callable[[Site], Site] = _same_site
    cells: Callable[[Site, CellBlock], CellBlock] = _same_cells
    supposes: bool = False
    settings: Mapping[str, float] = field(default_factory=dict[str, float])


class SideBySide:
    """Judges a record in several ways. The first is as it stands: others are held against it.

    `batches` are the codes of those that are looked at.
    """

    def __init__(
        self,
        ways: Sequence[Way],
        newest: Site,
        *,
        batches: frozenset[str],
        told_from: int,
    ) -> None:
        self._ways = tuple(ways)
        self._batches = batches
        self._states: list[ReplayState | None] = [None] * len(self._ways)
        self._counts = [
            TradeTally(way.site(newest), told_from, way.looked_at) for way in self._ways
        ]

    def judge(
        self, stretches: Sequence[Stretch], store: ReadingStore, *, late_in: Engine | None
    ) -> Iterator[int]:
        """Judge stretches that follow one another; yield the minutes of each block that is done."""
        for stretch in stretches:
            blocks = blocks_of(
                stretch.book.site,
                store,
                first_minute=stretch.first_minute,
                end_minute=stretch.end_minute,
                late_in=late_in,
            )
            for block in blocks:
                self._block(stretch, block)
                yield len(block.means)

    def trades(
        self, losses: Sequence[Loss], *, end_minute: int, within_min: int
    ) -> tuple[Trade, ...]:
        """Return what each way came to, in the order of the ways."""
        return tuple(
            trade_of(one, losses, end_minute=end_minute, within_min=within_min)
            for one in self._counts
        )

    def changes(self, way: int) -> Sequence[AlarmChanged]:
        """Return everything that happened to the alarms of a way, in order."""
        return tuple(self._counts[way].tally.changes)

    def _book(self, way: Way, stretch: Stretch) -> Book:
        """Return the book of a stretch as a way has it, of the batches that are looked at."""
        known = stretch.book
        site = way.site(known.site)
        if stretch.plans is None:
            msg = "a stretch that is judged in several ways needs its plans"
            raise ValueError(msg)
        ours = tuple(batch for batch in site.batch if batch.code in self._batches)
        few = site.model_copy(update={"batch": ours})
        return replace(known, site=site, watchlist=watchlist(few, way.plans(stretch.plans)))

    def _block(self, stretch: Stretch, block: CellBlock) -> None:
        recorded = stretch.book.site
        place = recorded.site
        sun_up = moments_of(place, block.first_minute, len(block.means)).sun_up
        as_it_stands: Mapping[str, NDArray[np.bool_]] = {}
        for number, way in enumerate(self._ways):
            # Made anew for each block: a thousand of them at a time would be most of the room.
            book = self._book(way, stretch)
            state = self._states[number]
            cells = way.cells(recorded, block)
            after, passage = replay_block(book, begin(book) if state is None else state, cells)
            self._states[number] = after
            danger = as_it_stands
            if number == 0 or way.supposes:
                danger = _beyond(book, passage, sun_up, None)
            if number == 0:
                as_it_stands = danger
            beyond = _beyond(book, passage, sun_up, way.looked_at)
            self._counts[number].take(passage, beyond=beyond, danger=danger)


def cover_lines(
    stretches: Sequence[Stretch],
    store: ReadingStore,
    *,
    late_in: Engine | None,
    moved: Callable[[int], object],
) -> dict[str, CoverFit]:
    """Return the line by which light warms each cover, learnt from the record as it stands.

    Of batches whose record does not carry a line there is none. `moved` is told the minutes that
    were looked at, block by block.
    """
    state: ReplayState | None = None
    for stretch in stretches:
        for block in blocks_of(
            stretch.book.site,
            store,
            first_minute=stretch.first_minute,
            end_minute=stretch.end_minute,
            late_in=late_in,
        ):
            now = begin(stretch.book) if state is None else state
            state, _ = replay_block(stretch.book, now, block)
            moved(len(block.present))
    if state is None:
        return {}
    fits = {
        code: fit_cover(batch.reckoned.cover.record)
        for code, batch in state.evaluator.batches.items()
    }
    return {code: fit for code, fit in fits.items() if isinstance(fit, CoverFit)}


def _beyond(
    book: Book,
    passage: Passage,
    sun_up: NDArray[np.bool_],
    looked_at: frozenset[LimitName] | None,
) -> Mapping[str, NDArray[np.bool_]]:
    """Return by batch where it is beyond the limits looked at; None: beyond a limit of danger."""
    plan_of = {batch.code: batch.plan for batch in book.site.batch}

    def chosen_in(plan: str) -> Callable[[Stage, Limit], bool]:
        if looked_at is None:
            return is_danger
        ours = looked_at
        return lambda stage, limit: LimitName(plan, stage.value, limit.id) in ours

    return {
        batch.code: beyond_in(
            batch,
            passage.record.batches[batch.code],
            passage.first_minute,
            sun_up=sun_up,
            chosen=chosen_in(plan_of[batch.code]),
        )
        for batch in book.watchlist.batches
    }
