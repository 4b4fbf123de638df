"""The watch: closes one-minute cells as they fall due and keeps what the evaluator says of them.

The order of effects is: read, judge, then keep position, state, alarms and messages owed in one
transaction. Killed anywhere, it goes on from the last cell that was kept, as if nothing had been;
among several nodes another one does, see `api.watch.held_houses`.
"""

from __future__ import annotations

import logging
from contextlib import nullcontext
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from api.records.books import last_book, note_book
from api.records.house_positions import HouseMovedOn
from api.records.nodes import LeaseLost
from api.records.session import writing
from api.records.states import is_milestone, milestone_in
from api.records.watch import LateMark, gap_over, note_gap, note_late, widen_gap
from api.watch.clock import milliseconds
from api.watch.consequences import keep_events, owe_summaries
from api.watch.inflow import Inflow
from api.watch.lots import WholeSite
from api.watch.stretch import runs_of
from rules.cells import block_of
from rules.model.reading import MINUTE_MS, minute_of

if TYPE_CHECKING:
    import threading
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy import Connection, Engine

    from api.book import Book
    from api.records.watch import WatchGap, WatchPosition
    from api.watch.clock import Clock
    from api.watch.lots import Lot, Lots
    from api.watch.pace import Pace
    from api.watch.stretch import Run
    from collector.stores.base import ReadingStore

log = logging.getLogger(__name__)

TURN_S = 1.0
LONGEST_PAUSE_S = 30.0
UNWATCHED_AFTER_MIN = 5
CELLS_IN_TURN = 120
"""So many cells of houses that are behind are closed before those that are not have their turn."""
CELLS_TOGETHER = 30
"""So many cells that are due are drawn and judged together; a stop waits for them."""


class BookBehind(Exception):
    """Another node has judged by entries that this one has not read yet: it goes on when it has."""


@dataclass(slots=True)
class _Going:
    """Where a running watch is; thrown away after a fault, and made again from the records."""

    lot: Lot
    inflow: Inflow


class Watch:
    """Feeds readings to the evaluator, cell by cell. One thread calls it.

    A new state of the book is taken up between two cells, as if the watch had been started anew.
    `signs` counts its signs of life, a failed turn among them, `done` the turns without a fault.
    `seen_up_to` is the reading of our own file up to which all has been looked at.

    Parameters
    ----------
    lateness_s
        A cell is closed this long after its end. Readings kept later are marked late.
    start_minute
        The cell to begin with when there is no position yet; None: the clock's present minute.
    unwatched_after_min
        With more cells than this to catch up on, nobody was watching: alarms of those cells are
        kept, and people get one message a batch instead of one an alarm.
    on_event
        Called when what a cell said has been kept; None: nobody waits for it.
    lots
        Where what is watched is kept; None: the whole site is, by this process alone.
    pace
        Counts how long each minute takes; None: nobody asks.
    """

    def __init__(
        self,
        book: Book,
        store: ReadingStore,
        records: Engine,
        clock: Clock,
        *,
        lateness_s: int,
        start_minute: int | None = None,
        unwatched_after_min: int = UNWATCHED_AFTER_MIN,
        on_event: Callable[[], None] | None = None,
        lots: Lots | None = None,
        pace: Pace | None = None,
    ) -> None:
        self._book = book
        self._judged_by = book.now
        self._lots = WholeSite(records, store, clock) if lots is None else lots
        self._store = store
        self._records = records
        self._clock = clock
        self._lateness_ms = lateness_s * 1000
        self._start_minute = start_minute
        self._unwatched_after_min = unwatched_after_min
        self._on_event = on_event
        self._pace = pace
        self._going: list[_Going] | None = None
        self._last_turn: datetime | None = None
        self._last_error: str | None = None
        self.seen_up_to = 0
        self.signs = 0
        self.done = 0

    @property
    def last_turn(self) -> datetime | None:
        """When the last turn without a fault ended; None before the first."""
        return self._last_turn

    @property
    def last_error(self) -> str | None:
        """What the last turn failed on; None if it did not fail."""
        return self._last_error

    def turn(self) -> int:
        """Close every cell that is due; return how many. After a fault, turning again is safe."""
        return self._turn(_never)

    def run(self, stop: threading.Event) -> None:
        """Take a turn about once a second until `stop`; faults are logged, then tried again."""
        failures = 0
        while not stop.is_set():
            try:
                self._turn(stop.is_set)
            except Exception as error:
                failures += 1
                self._last_error = f"{type(error).__name__}: {error}"
                log.exception("watch_failed failures=%d", failures)
            else:
                failures = 0
            self.signs += 1
            pause = TURN_S if failures else min(TURN_S, self._due_in_s())
            stop.wait(min(pause * 2**failures, LONGEST_PAUSE_S))

    def _due_in_s(self) -> float:
        """Return in how many seconds the next cell is due; 0 if one is already."""
        if not self._going:
            return TURN_S
        next_minute = min(going.lot.position.next_minute for going in self._going)
        due_ms = (next_minute + 1) * MINUTE_MS + self._lateness_ms
        return max(0.0, (due_ms - milliseconds(self._clock)) / 1000)

    def _turn(self, stopped: Callable[[], bool]) -> int:
        try:
            closed = self._close_due(stopped)
        except (LeaseLost, HouseMovedOn) as lost:
            # No fault: what is ours is looked at anew in the next turn.
            log.info("watch_stands_back why=%s", lost)
            self._going, closed = None, 0
        except BookBehind as behind:
            # The book is read every two seconds. One that stays behind is left to another node.
            log.info("watch_waits_for_book why=%s", behind)
            self._going, self._last_error = None, f"book behind: {behind}"
            return 0
        except BaseException:
            self._going = None
            raise
        self._last_turn = self._clock.now()
        self._last_error = None
        self.done += 1
        return closed

    def _close_due(self, stopped: Callable[[], bool]) -> int:
        now = self._clock.now()
        self._take_book()
        end_minute = (milliseconds(self._clock) - self._lateness_ms) // MINUTE_MS
        if self._lots.have_changed():
            self._going = None
        if self._going is None:
            self._going = self._take_up()
        lots = self._going
        closed = sum(
            self._close_lot(going, now, end_minute, stopped, most=CELLS_IN_TURN * len(lots[1:]))
            for going in lots
        )
        self.seen_up_to = min(
            (going.lot.position.sequence for going in lots), default=self._store.last_sequence()
        )
        if len({going.lot.position.next_minute for going in lots}) < len(lots):
            self._going = None  # one has caught up with another: they go on as one
        return closed

    def _close_lot(
        self,
        going: _Going,
        now: datetime,
        end_minute: int,
        stopped: Callable[[], bool],
        *,
        most: int,
    ) -> int:
        """Close what is due of a lot, `most` cells of it at most, 0: all; return how many."""
        self._take_in(going, now)
        gap = self._gap(going.lot, end_minute, now)
        closed = 0
        while going.lot.position.next_minute < end_minute and not stopped():
            if self._book.now is not self._judged_by or closed >= most > 0:
                break  # the next turn goes on with it
            next_minute = going.lot.position.next_minute
            minutes = min(end_minute - next_minute, CELLS_TOGETHER, milestone_in(next_minute))
            with self._pace.timing(minutes=minutes) if self._pace else nullcontext():
                self._close_next(going, minutes, gap, now)
            closed += minutes
        return closed

    def _take_book(self) -> None:
        """Judge by what is in force now; what else is known of the past minutes stays as it is."""
        new = self._book.now
        if new is not self._judged_by:
            self._going = None
            self._judged_by = new

    def _take_up(self) -> list[_Going]:
        """Go on from the records; before the first start, begin there."""
        first = self._start_minute
        if first is None:
            first = minute_of(milliseconds(self._clock))
        lots = self._lots.take_up(self._judged_by, first_minute=first)
        for lot in lots:
            if lot.position.revision != self._judged_by.revision:
                log.info("watch_plans_changed next_minute=%d", lot.position.next_minute)
        channels = tuple(self._judged_by.site.channels)
        return [
            _Going(
                lot,
                Inflow(
                    self._store,
                    channels,
                    sequence=lot.position.sequence,
                    next_minute=lot.position.next_minute,
                ),
            )
            for lot in lots
        ]

    def _take_in(self, going: _Going, now: datetime) -> None:
        """Draw what the store has kept since; late readings are marked chunk by chunk.

        Only up to what is kept at this moment: while a file is loaded beside us there is always
        more, and cells must be closed all the same.
        """
        end = self._store.last_sequence()
        lot = going.lot
        while going.inflow.sequence < end and (taken := going.inflow.take()) is not None:
            marks = [
                LateMark(reading.channel, reading.at_ms, minute_of(reading.at_ms), now)
                for reading in taken.late
                if minute_of(reading.at_ms) >= lot.position.began_minute
            ]
            if marks:
                moved = replace(lot.position, sequence=taken.sequence)
                with writing(self._records) as db:
                    self._lots.save(db, lot, moved, lot.state)
                    note_late(db, marks)
                lot.position = moved
                log.info("watch_late readings=%d sequence=%d", len(marks), taken.sequence)

    def _gap(self, lot: Lot, end_minute: int, now: datetime) -> WatchGap | None:
        """Return the stretch that nobody watched and that is being caught up on, if any."""
        next_minute = lot.position.next_minute
        if next_minute >= end_minute:
            return None
        with writing(self._records) as db:
            self._lots.demand(db, lot)
            gap = gap_over(db, next_minute)
            if gap is not None:
                if end_minute <= gap.to_minute:
                    return gap
                return widen_gap(db, gap, to_minute=end_minute, noted_at=now)
            if end_minute - next_minute <= self._unwatched_after_min:
                return None
            log.warning("watch_gap from_minute=%d to_minute=%d", next_minute, end_minute)
            return note_gap(db, from_minute=next_minute, to_minute=end_minute, noted_at=now)

    def _close_next(self, going: _Going, minutes: int, gap: WatchGap | None, now: datetime) -> None:
        """Close the next cells of a lot; what stands between two of its runs is kept."""
        lot, by = going.lot, self._judged_by
        first = lot.position.next_minute
        readings = [
            one
            for minute in range(first, first + minutes)
            for one in going.inflow.readings_of(minute)
        ]
        block = block_of(by.site, first, minutes, readings)
        for run in runs_of(lot.watchlist, lot.state, block):
            moved = replace(
                lot.position,
                next_minute=run.end_minute,
                sequence=going.inflow.sequence,
                revision=by.revision,
            )
            self._keep(lot, run, moved, gap, now)
            lot.position, lot.state = moved, run.state
            self.signs += 1
            for event in run.events:
                log.info("watch_event minute=%d what=%s", event.minute, event)
            if run.events and self._on_event is not None:
                self._on_event()

    def _keep(
        self, lot: Lot, run: Run, moved: WatchPosition, gap: WatchGap | None, now: datetime
    ) -> None:
        """Keep all that a run comes to, or nothing of it."""
        with writing(self._records) as db:
            self._lots.save(db, lot, moved, run.state)
            self._note_book(db, run.first_minute, now)
            if is_milestone(moved.next_minute):
                self._lots.keep_milestone(db, lot, moved.next_minute, run.state)
            for minute in range(run.first_minute, run.end_minute):
                keep_events(
                    db,
                    run.said_in(minute),
                    minute=minute,
                    beside=run.beside,
                    ground=lot.ground,
                    now=now,
                    tell=gap is None,
                )
            if gap is not None and moved.next_minute == gap.to_minute:
                owe_summaries(db, gap, ground=lot.ground, now=now)

    def _note_book(self, db: Connection, minute: int, now: datetime) -> None:
        """Keep what a cell is judged with, where that differs from what is noted of the last."""
        by, noted = self._judged_by, last_book(db)
        if noted is not None:
            if noted.revision == by.revision or noted.from_minute > minute:
                return
            before, known = noted.known, by.known
            ahead = before.observations > known.observations or before.entries > known.entries
            if self._lots.shared and ahead:
                msg = f"others know up to {before}, this node up to {known}"
                raise BookBehind(msg)
        note_book(
            db,
            minute,
            revision=by.revision,
            base=by.base.revision,
            base_text=by.base.text,
            known=by.known,
            at=now,
        )


def _never() -> bool:
    return False
