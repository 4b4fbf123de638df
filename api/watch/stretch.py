"""Cells that are due together, judged in as few passes as what they say allows.

After a stop there are hundreds of them. Most say nothing that needs the state of its own minute, so
they are swept, many at once; a cell in which a condition opens is stepped by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.watch.particulars import particulars_of
from rules.cells import cell_in, minutes_of
from rules.evaluator import step, sweep
from rules.model.event import ConditionOpened

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from api.records.particulars import Particulars
    from rules.cells import CellBlock
    from rules.evaluator import EvaluatorState, Watchlist
    from rules.model.event import Event


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

    A cell in which a condition opens is a run of its own. The block follows the state's last cell.
    """
    rest = block
    while len(rest.means):
        run = _quiet_run(watchlist, state, rest) if len(rest.means) > 1 else None
        if run is None:
            run = _one(watchlist, state, rest)
        yield run
        state, rest = run.state, minutes_of(rest, run.minutes, len(rest.means))


def _quiet_run(watchlist: Watchlist, state: EvaluatorState, block: CellBlock) -> Run | None:
    """Return the cells before the first in which a condition opens; None if it is the first."""
    after, events, _ = sweep(watchlist, state, block)
    opens = [event.minute for event in events if isinstance(event, ConditionOpened)]
    minutes = min(opens, default=block.first_minute + len(block.means)) - block.first_minute
    if minutes == 0:
        return None
    if opens:
        after, events, _ = sweep(watchlist, state, minutes_of(block, 0, minutes))
    return Run(block.first_minute, minutes, after, events, {})


def _one(watchlist: Watchlist, state: EvaluatorState, block: CellBlock) -> Run:
    after, events = step(watchlist, state, cell_in(block, block.first_minute))
    beside = particulars_of(watchlist, events, before=state, after=after)
    return Run(block.first_minute, 1, after, events, beside)
