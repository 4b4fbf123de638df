"""The watch: closes one-minute cells as they fall due and keeps what the evaluator says of them.

The order of effects is: read, judge, then keep position, state, alarms and messages owed in one
transaction. Killed anywhere, it goes on from the last cell that was kept, as if nothing had been.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from api.records.books import last_book, note_book
from api.records.session import reading, writing
from api.records.states import is_milestone, keep_milestone, packed, unpacked
from api.records.watch import (
    LateMark,
    WatchPosition,
    begin_position,
    gap_over,
    load_position,
    note_gap,
    note_late,
    save_position,
    widen_gap,
)
from api.watch.clock import milliseconds
from api.watch.consequences import forget_open, keep_events, owe_summaries
from api.watch.ground import Ground
from api.watch.inflow import Inflow
from api.watch.particulars import particulars_of
from rules.cells import cell_of
from rules.evaluator import start, step
from rules.model.event import ConditionOpened
from rules.model.reading import MINUTE_MS, minute_of

if TYPE_CHECKING:
    import threading
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy import Engine

    from api.book import Book
    from api.records.watch import WatchGap
    from api.watch.clock import Clock
    from collector.stores.base import ReadingStore
    from rules.evaluator import EvaluatorState

log = logging.getLogger(__name__)

TURN_S = 1.0
LONGEST_PAUSE_S = 30.0
UNWATCHED_AFTER_MIN = 5


@dataclass(slots=True)
class _Going:
    """Where a running watch is; thrown away after a fault, and made again from the records.

    `noted` is the revision of the book that the newest cell is noted to be judged with.
    """

    position: WatchPosition
    state: EvaluatorState
    inflow: Inflow
    noted: str | None


class Watch:
    """Feeds readings to the evaluator, cell by cell. One thread calls it.

    A new state of the book is taken up between two cells, as if the watch had been started anew.
    `signs` counts its signs of life, a failed turn among them, `done` the turns without a fault.

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
    ) -> None:
        self._book = book
        self._judged_by = book.now
        self._ground = Ground(book.now.site, book.now.watchlist)
        self._store = store
        self._records = records
        self._clock = clock
        self._lateness_ms = lateness_s * 1000
        self._start_minute = start_minute
        self._unwatched_after_min = unwatched_after_min
        self._on_event = on_event
        self._going: _Going | None = None
        self._last_turn: datetime | None = None
        self._last_error: str | None = None
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
        if self._going is None:
            return TURN_S
        due_ms = (self._going.position.next_minute + 1) * MINUTE_MS + self._lateness_ms
        return max(0.0, (due_ms - milliseconds(self._clock)) / 1000)

    def _turn(self, stopped: Callable[[], bool]) -> int:
        try:
            closed = self._close_due(stopped)
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
        going = self._going = self._going or self._take_up()
        self._take_in(going, now)
        gap = self._gap(going.position.next_minute, end_minute, now)
        closed = 0
        while going.position.next_minute < end_minute and not stopped():
            if self._book.now is not self._judged_by:
                break  # the next turn goes on with it
            self._close_next(going, gap, now)
            closed += 1
            self.signs += 1
        return closed

    def _take_book(self) -> None:
        """Judge by what is in force now; what else is known of the past minutes stays as it is."""
        new = self._book.now
        if new.revision != self._judged_by.revision:
            self._going = None
        if new is not self._judged_by:
            self._judged_by = new
            self._ground = Ground(new.site, new.watchlist)

    def _take_up(self) -> _Going:
        """Go on from the records; before the first start, begin there."""
        with reading(self._records) as db:
            position = load_position(db)
            noted = last_book(db)
        if position is None:
            position = self._begin()
        if position.revision != self._judged_by.revision:
            log.info("watch_plans_changed next_minute=%d", position.next_minute)
        return _Going(
            position,
            self._state_in(position),
            Inflow(
                self._store,
                tuple(self._judged_by.site.channels),
                sequence=position.sequence,
                next_minute=position.next_minute,
            ),
            noted,
        )

    def _state_in(self, position: WatchPosition) -> EvaluatorState:
        """Return the state that was kept, or a fresh one if another version wrote it."""
        last = position.next_minute - 1
        try:
            state: EvaluatorState | None = unpacked(position.state)
        except ValueError:
            state = None
        if state is not None and state.minute == (last if last >= position.began_minute else None):
            return state
        # Watching must go on: delays begin anew, and so does what stands open.
        log.error("watch_state_unreadable next_minute=%d", position.next_minute)
        fresh = start(self._judged_by.watchlist)
        with writing(self._records) as db:
            forget_open(db, now=self._clock.now())
            keep_milestone(db, position.next_minute, packed(fresh))
        return fresh

    def _begin(self) -> WatchPosition:
        first = self._start_minute
        if first is None:
            first = minute_of(milliseconds(self._clock))
        position = WatchPosition(
            began_minute=first,
            next_minute=first,
            sequence=self._store.last_sequence(),
            revision=self._judged_by.revision,
            state=packed(start(self._judged_by.watchlist)),
        )
        with writing(self._records) as db:
            begin_position(db, position)
            keep_milestone(db, first, position.state)
        log.info("watch_began minute=%d sequence=%d", first, position.sequence)
        return position

    def _take_in(self, going: _Going, now: datetime) -> None:
        """Draw what the store has kept since; late readings are marked chunk by chunk.

        Only up to what is kept at this moment: while a file is loaded beside us there is always
        more, and cells must be closed all the same.
        """
        end = self._store.last_sequence()
        while going.inflow.sequence < end and (taken := going.inflow.take()) is not None:
            marks = [
                LateMark(reading.channel, reading.at_ms, minute_of(reading.at_ms), now)
                for reading in taken.late
                if minute_of(reading.at_ms) >= going.position.began_minute
            ]
            if marks:
                moved = replace(going.position, sequence=taken.sequence)
                with writing(self._records) as db:
                    save_position(db, moved, moved_from=going.position)
                    note_late(db, marks)
                going.position = moved
                log.info("watch_late readings=%d sequence=%d", len(marks), taken.sequence)

    def _gap(self, next_minute: int, end_minute: int, now: datetime) -> WatchGap | None:
        """Return the stretch that nobody watched and that is being caught up on, if any."""
        if next_minute >= end_minute:
            return None
        with writing(self._records) as db:
            gap = gap_over(db, next_minute)
            if gap is not None:
                if end_minute <= gap.to_minute:
                    return gap
                return widen_gap(db, gap, to_minute=end_minute, noted_at=now)
            if end_minute - next_minute <= self._unwatched_after_min:
                return None
            log.warning("watch_gap from_minute=%d to_minute=%d", next_minute, end_minute)
            return note_gap(db, from_minute=next_minute, to_minute=end_minute, noted_at=now)

    def _close_next(self, going: _Going, gap: WatchGap | None, now: datetime) -> None:
        minute, by = going.position.next_minute, self._judged_by
        cell = cell_of(by.site, minute, going.inflow.readings_of(minute))
        state, events = step(by.watchlist, going.state, cell)
        moved = replace(
            going.position,
            next_minute=minute + 1,
            sequence=going.inflow.sequence,
            revision=by.revision,
            state=packed(state),
        )
        beside = {
            event: particulars_of(by.watchlist, event, before=going.state, after=state)
            for event in events
            if isinstance(event, ConditionOpened)
        }
        with writing(self._records) as db:
            save_position(db, moved, moved_from=going.position)
            if going.noted != by.revision:
                note_book(
                    db,
                    minute,
                    revision=by.revision,
                    base=by.base.revision,
                    base_text=by.base.text,
                    known=by.known,
                    at=now,
                )
            if is_milestone(moved.next_minute):
                keep_milestone(db, moved.next_minute, moved.state)
            keep_events(
                db,
                events,
                minute=minute,
                beside=beside,
                ground=self._ground,
                now=now,
                tell=gap is None,
            )
            if gap is not None and moved.next_minute == gap.to_minute:
                owe_summaries(db, gap, ground=self._ground, now=now)
        going.position = moved
        going.state = state
        going.noted = by.revision
        for event in events:
            log.info("watch_event minute=%d what=%s", minute, event)
        if events and self._on_event is not None:
            self._on_event()


def _never() -> bool:
    return False
