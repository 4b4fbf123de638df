"""A record of readings played through again: evaluator, alarms and answers, block after block.

The state is a value, so two plans side by side are two folds over the same blocks. What a passage
holds of every minute is gone when the next one comes; what is counted is carried by a `Tally`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from rules.conditions import houses_of
from rules.evaluator import start, sweep
from rules.model.event import Standing, StandingChanged
from rules.replay_alarms import NO_ALARMS, AlarmsNow, Register
from rules.standing import BY_SEVERITY, UNWATCHED, standing_at

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from rules.alarm_history import AlarmChanged
    from rules.cells import CellBlock
    from rules.evaluator import EvaluatorState, Record, Watchlist
    from rules.model.event import Event
    from rules.model.site import Site
    from rules.model.work import Work
    from rules.record import BatchRecord
    from rules.replay_alarms import Answer


@dataclass(frozen=True, slots=True)
class Book:
    """What is judged, and what people did meanwhile. Answers stand in the order they were given."""

    site: Site
    watchlist: Watchlist
    answers: tuple[Answer, ...] = ()
    works: tuple[Work, ...] = ()


@dataclass(frozen=True, slots=True)
class ReplayState:
    """Everything after a block; `answers_given` counts those of the book that were given."""

    evaluator: EvaluatorState
    alarms: AlarmsNow = NO_ALARMS
    answers_given: int = 0


@dataclass(frozen=True, slots=True)
class Passage:
    """What one block said. `record` holds every minute: let it go before the next one."""

    first_minute: int
    minutes: int
    events: tuple[Event, ...]
    changes: tuple[AlarmChanged, ...]
    record: Record


def begin(book: Book) -> ReplayState:
    """Return the state before the first block: nothing is known."""
    return ReplayState(start(book.watchlist))


def replay(
    book: Book, blocks: Iterable[CellBlock], *, state: ReplayState | None = None
) -> Iterator[tuple[ReplayState, Passage]]:
    """Yield what each block said, with the state after it. Blocks follow one another."""
    now = begin(book) if state is None else state
    for block in blocks:
        now, passage = replay_block(book, now, block)
        yield now, passage


def replay_block(book: Book, state: ReplayState, block: CellBlock) -> tuple[ReplayState, Passage]:
    """Judge a block as the watch would have; return the state after it and what was said."""
    evaluator, events, record = sweep(book.watchlist, state.evaluator, block)
    minutes = range(block.first_minute, block.first_minute + len(block.means))
    alarms, given, changes = _carried(book, state.alarms, state.answers_given, events, minutes)
    passage = Passage(block.first_minute, len(block.means), events, changes, record)
    return ReplayState(evaluator, alarms, given), passage


def alarms_again(book: Book, events: Iterable[Event], minutes: range) -> tuple[AlarmChanged, ...]:
    """Return what events come to under the answers and work of another book, from the start."""
    _, _, changes = _carried(book, NO_ALARMS, 0, events, minutes)
    return changes


def _carried(
    book: Book, alarms: AlarmsNow, given: int, events: Iterable[Event], minutes: range
) -> tuple[AlarmsNow, int, tuple[AlarmChanged, ...]]:
    """Carry the alarms through minutes in a row; answers are given between their cells."""
    register = Register(book.watchlist, houses_of(book.site), book.works, alarms)
    by_minute: dict[int, list[Event]] = {}
    for event in events:
        by_minute.setdefault(event.minute, []).append(event)
    for minute in minutes:
        if minute in by_minute or register.holds:
            register.cell(minute, by_minute.get(minute, ()))
        while given < len(book.answers) and book.answers[given].after_minute <= minute:
            register.answer(book.answers[given])
            given += 1
    return register.now, given, tuple(register.changes)


@dataclass(frozen=True, slots=True)
class Low:
    """The lowest of a value, and the minute in which it was."""

    value: float
    minute: int


@dataclass
class BatchTally:
    """One batch over all passages so far.

    `standing_min` counts its minutes in each standing, None for those in which nothing watched it.
    `reserve_low` is the lowest likely moisture reserve in %, None where it is not reckoned. `doses`
    holds the most that each sum came to, in the unit of its kind, by the id of its limit.
    """

    standing_min: dict[Standing | None, int] = field(default_factory=dict[Standing | None, int])
    reserve_low: Low | None = None
    doses: dict[str, Low] = field(default_factory=dict[str, Low])

    @property
    def blind_min(self) -> int:
        """For how many minutes it could not be seen."""
        return self.standing_min.get(Standing.BLIND, 0)


@dataclass
class Tally:
    """What passages came to. Minutes before `first_minute` are left out of the counts.

    `changes` and `conditions`, what opened and closed, hold what was said before it too.
    """

    first_minute: int
    changes: list[AlarmChanged] = field(default_factory=list["AlarmChanged"])
    conditions: list[Event] = field(default_factory=list["Event"])
    batches: dict[str, BatchTally] = field(default_factory=dict[str, BatchTally])

    def take(self, passage: Passage) -> None:
        """Count a passage in."""
        first = self.first_minute
        self.changes += passage.changes
        self.conditions += [e for e in passage.events if not isinstance(e, StandingChanged)]
        skip = min(max(0, first - passage.first_minute), passage.minutes)
        for code, record in passage.record.batches.items():
            tally = self.batches.setdefault(code, BatchTally())
            _count(tally, record, passage.first_minute, skip)


def _count(tally: BatchTally, record: BatchRecord, first_minute: int, skip: int) -> None:
    places = record.standing[skip:].astype(np.int64) - UNWATCHED
    for place, minutes in enumerate(np.bincount(places, minlength=len(BY_SEVERITY) + 1).tolist()):
        if minutes:
            standing = standing_at(place + UNWATCHED)
            tally.standing_min[standing] = tally.standing_min.get(standing, 0) + minutes
    first = first_minute + skip
    if record.reserve_pct is not None:
        low = _extreme(record.reserve_pct.central[skip:], first, sign=1.0)
        if low and (tally.reserve_low is None or low.value < tally.reserve_low.value):
            tally.reserve_low = low
    for name, total in record.doses.items():
        most = _extreme(total[skip:], first, sign=-1.0)
        if most and (name not in tally.doses or most.value > tally.doses[name].value):
            tally.doses[name] = most


def _extreme(values: Sequence[float] | np.ndarray, first: int, *, sign: float) -> Low | None:
    seen = np.asarray(values, dtype=np.float64) * sign
    if seen.size == 0 or bool(np.all(np.isnan(seen))):
        return None
    at = int(np.nanargmin(seen))
    return Low(float(seen[at] * sign), first + at)


def standing_minutes(passage: Passage) -> Mapping[str, tuple[Standing | None, ...]]:
    """Return how each batch stood, minute by minute."""
    return {
        code: tuple(standing_at(int(place)) for place in record.standing)
        for code, record in passage.record.batches.items()
    }
