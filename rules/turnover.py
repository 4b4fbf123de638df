"""What carries over from one cell to the next, and what ends because it is watched no longer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rules.cells import MICRO
from rules.model.event import ConditionClosed, ConditionOpened, Event, StandingChanged
from rules.standing import BY_SEVERITY, UNWATCHED, standing_at
from rules.watchlist import blind_id

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from rules.doses import DoseBound, DoseTurn
    from rules.model.dose import DoseLimit
    from rules.model.event import Standing
    from rules.state import BatchState, EvaluatorState
    from rules.watchlist import BatchWatch, StageWatch, Watchlist


def demand_next(state: EvaluatorState, minute: int) -> None:
    """Raise ValueError unless a cell follows the last one, which no cell may leave out."""
    if state.minute is not None and minute != state.minute + 1:
        msg = f"the cell after minute {state.minute} is {state.minute + 1}, not {minute}"
        raise ValueError(msg)


def still_spoken(
    watchlist: Watchlist, latest: Mapping[str, tuple[int, int]]
) -> dict[str, tuple[int, int]]:
    """Return the last means of those channels that still speak for some batch."""
    return {key: seen for key, seen in latest.items() if key in watchlist.channels}


def going_on(batch: BatchWatch, was: str | None, now: str | None) -> frozenset[str]:
    """Return the conditions that go on from what was judged to what is, by the keys of both.

    Those of the same stage, judged by the very same figures: whoever edits one limit of a plan
    must not end the alarm of another. Nothing goes on into another stage, or from figures that are
    no longer known.
    """
    before, after = batch.called(was), batch.called(now)
    if before is None or after is None or before[0] is not after[0]:
        return frozenset()
    old, new = _figures(before[1]), _figures(after[1])
    return frozenset(name for name, figures in new.items() if old.get(name) == figures)


def _figures(watch: StageWatch) -> dict[str, object]:
    """Return what each condition of a stage is judged by."""
    limits = zip(watch.limits, watch.bounds, strict=True)
    sums = zip(watch.doses, watch.dose_bounds, strict=True)
    return {
        **{limit.id: (limit.quantity, limit.priority, bound) for limit, bound in limits},
        **{dose.id: (dose.quantity, dose.priority, bound) for dose, bound in sums},
        **{blind_id(quantity): watch.blind for quantity in watch.vital},
    }


def closed_at(minute: int, code: str, state: BatchState, kept: frozenset[str]) -> list[Event]:
    """Return the closing of everything that is open in a batch, but for what is kept."""
    closed: list[Event] = [
        ConditionClosed(minute, code, name, in_units(condition.worst))
        for name, condition in state.conditions.items()
        if condition.raised and name not in kept
    ]
    sums = [name for name, dose in state.doses.items() if dose.raised and name not in kept]
    return [*closed, *(ConditionClosed(minute, code, name) for name in sums)]


def in_units(millionths: int | None) -> float | None:
    """Return a figure in the unit of its quantity; None for None."""
    return None if millionths is None else millionths / MICRO


def dose_event(code: str, dose: DoseLimit, bound: DoseBound, turn: DoseTurn) -> Event:
    """Return what a dose's turn says; its value is the sum, in the unit of its kind."""
    if turn.opened:
        total = bound.shown(turn.total)
        return ConditionOpened(turn.minute, code, dose.id, turn.since_minute, total, dose.priority)
    came_to = bound.shown(turn.total) if bound.high else None
    return ConditionClosed(turn.minute, code, dose.id, came_to)


def gone(watchlist: Watchlist, state: EvaluatorState, minute: int) -> list[Event]:
    """Return the last words on batches that have left the site file."""
    here = {batch.code for batch in watchlist.batches}
    events: list[Event] = []
    for code, left in state.batches.items():
        if code not in here:
            events.extend(closed_at(minute, code, left, frozenset()))
            if left.standing is not None:
                events.append(StandingChanged(minute, code, left.standing, None))
    return events


def standing_turns(
    code: str, before: Standing | None, standing: NDArray[np.int8], minute: int
) -> Iterator[Event]:
    """Yield the changes of standing over a segment that begins at `minute`."""
    places = np.concatenate(([_place(before)], standing.astype(np.int64)))
    for i in np.flatnonzero(places[1:] != places[:-1]).tolist():
        yield StandingChanged(
            minute + i, code, standing_at(int(places[i])), standing_at(int(places[i + 1]))
        )


def _place(standing: Standing | None) -> int:
    return UNWATCHED if standing is None else BY_SEVERITY.index(standing)
