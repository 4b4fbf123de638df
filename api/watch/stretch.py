"""Cells that are due together, judged in as few passes as what they say allows.

After a stop there are hundreds of them. Most say nothing that needs the state of its own minute, so
they are swept, many at once; a cell in which a condition opens is stepped by itself, and so are a
few before it, for which a sweep of their own would take longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.watch.particulars import particulars_of
from rules.cells import cell_in, minutes_of
from rules.evaluator import carry_on, step
from rules.model.event import ConditionOpened

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from api.records.particulars import Particulars
    from rules.cells import CellBlock
    from rules.evaluator import EvaluatorState, Watchlist
    from rules.model.event import Event


LEAST_SWEPT = 3
"""To sweep takes as long as two or three steps, however few the cells are."""


@dataclass(frozen=True, slots=True)
class Run:
    """Cells in a row that were judged: the state after the last of them, and what they said.

    `beside` tells what was known of each condition that opened, in the cell in which it did.
    """

    first_minute: int
    minutes: int
    state: EvaluatorState
    events: Sequence[Event]
    beside: Mapping[ConditionOpened, Particulars]

    @property
    def end_minute(self) -> int:
        """The first cell after it."""
        return self.first_minute + self.minutes

    def said_in(self, minute: int) -> list[Event]:
        """Return what one of its cells said, in order."""
        return [event for event in self.events if event.minute == minute]


def runs_of(watchlist: Watchlist, state: EvaluatorState, block: CellBlock) -> Iterator[Run]:
    """Yield what the cells of a block say, in runs, as `step` over one after another would.

    A cell in which a condition opens is the last of its run. The block follows the state's last
    cell.
    """
    first, end = block.first_minute, block.first_minute + len(block.means)
    if end - first == 1:
        yield _stepped(watchlist, state, block)
        return
    after, events = carry_on(watchlist, state, block)
    opens = sorted({event.minute for event in events if isinstance(event, ConditionOpened)})
    for opening in opens:
        quiet = minutes_of(block, first - block.first_minute, opening - block.first_minute)
        if len(quiet.means) >= LEAST_SWEPT:
            now, said = carry_on(watchlist, state, quiet)
            yield Run(first, opening - first, now, said, {})
            state, first = now, opening
        rest = minutes_of(block, first - block.first_minute, opening + 1 - block.first_minute)
        run = _stepped(watchlist, state, rest)
        yield run
        state, first = run.state, run.end_minute
    if first < end:
        later = [event for event in events if event.minute >= first]
        yield Run(first, end - first, after, later, {})


def _stepped(watchlist: Watchlist, state: EvaluatorState, block: CellBlock) -> Run:
    """Return a few cells as one run, each with the states around it."""
    said: list[Event] = []
    beside: dict[ConditionOpened, Particulars] = {}
    for minute in range(block.first_minute, block.first_minute + len(block.means)):
        before = state
        state, events = step(watchlist, before, cell_in(block, minute))
        said.extend(events)
        beside |= particulars_of(watchlist, events, before=before, after=state)
    return Run(block.first_minute, len(block.means), state, said, beside)
