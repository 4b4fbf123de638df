"""The evaluator's live form: one cell in, events out; and the door to its other forms.

`step` is the meaning; `sweep` says the same over many cells at once.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from rules import doses, limits
from rules.daylight import sun_heights
from rules.felt import felt_value
from rules.limits import QUIET, LimitState, Verdict, can_speak, verdict
from rules.model.alarm import Priority
from rules.model.event import ConditionClosed, ConditionOpened, Event, StandingChanged
from rules.moments import Moment, moment_of
from rules.outlook import BatchOutlook, FeltNow, Judged, outlook
from rules.reckoning import film_is_open
from rules.record import BatchRecord, Record
from rules.standing import standing_of
from rules.state import NEW, BatchState, EvaluatorState
from rules.surroundings import INPUTS, reckon_cell
from rules.sweep import carry_on, sweep
from rules.trend import heads_out, onto_ring, trend_of
from rules.trust import judged_cell
from rules.turnover import (
    closed_at,
    demand_next,
    dose_event,
    going_on,
    gone,
    in_units,
    still_spoken,
)
from rules.watchlist import (
    BatchWatch,
    StageWatch,
    Watchlist,
    blind_id,
    can_make_drift,
    watchlist,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.cells import Cell
    from rules.doses import DoseState
    from rules.model.quantities import Felt
    from rules.reckoning import Kit
    from rules.speaking import Span
    from rules.trend import Ring

__all__ = [
    "BatchOutlook",
    "BatchRecord",
    "EvaluatorState",
    "FeltNow",
    "Judged",
    "Record",
    "Watchlist",
    "carry_on",
    "outlook",
    "start",
    "step",
    "sweep",
    "watchlist",
]


def start(watchlist: Watchlist) -> EvaluatorState:
    """Return the state before the first cell: nothing is known of any batch."""
    return EvaluatorState(batches={batch.code: NEW for batch in watchlist.batches})


def step(
    watchlist: Watchlist, state: EvaluatorState, cell: Cell
) -> tuple[EvaluatorState, tuple[Event, ...]]:
    """Judge one cell; return the state after it and what it says, batch by batch.

    Words that fail the quality tests count as not said.
    Cells come one minute after another, the first at any minute, else ValueError. Within a batch
    the order is: what the old stage leaves open is closed, limits and then doses in the plan's
    order, blindness in the order of vital quantities, standing.
    """
    demand_next(state, cell.minute)
    now = np.array([cell.minute], dtype=np.int64)
    heights = sun_heights(watchlist.place, now)
    quality, cell = judged_cell(watchlist.quality, state.quality, cell, heights)
    latest = still_spoken(watchlist, state.latest)
    for key, mean in cell.means.items():
        if key in watchlist.channels:
            latest[key] = (cell.minute, mean)
    moment = moment_of(watchlist.place, cell.minute)
    events = gone(watchlist, state, cell.minute)
    batches: dict[str, BatchState] = {}
    for batch in watchlist.batches:
        before = state.batches.get(batch.code, NEW)
        after, said = _step_batch(batch, before, moment, latest)
        batches[batch.code] = after
        events.extend(said)
    after_all = EvaluatorState(cell.minute, dict(sorted(latest.items())), batches, quality)
    return after_all, tuple(events)


def _step_batch(
    batch: BatchWatch,
    before: BatchState,
    moment: Moment,
    latest: Mapping[str, tuple[int, int]],
) -> tuple[BatchState, list[Event]]:
    span = batch.span_at(moment.minute)
    watch = batch.watch_in(span)
    events: list[Event] = []
    key = watch.key if watch is not None else None
    standing = before.standing
    if before.key != key:
        kept = going_on(batch, before.key, key)
        events.extend(closed_at(moment.minute, batch.code, before, kept))
        before = before.under(key, kept)
    if watch is None:
        after = replace(before, standing=None)
    else:
        kit = batch.kit_in(span)
        felt = {
            quantity: felt_value(span.speakers.get(quantity), latest, moment.minute)
            for quantity in (*watch.needed, *INPUTS)
        }
        reckoned, told = reckon_cell(
            kit, before.reckoned, span, felt, moment, latest, leaf_too=watch.judges_leaf
        )
        after, said = _judge(batch.code, watch, span, before, moment, felt=felt | told, kit=kit)
        after = replace(after, reckoned=reckoned)
        events.extend(said)
    if after.standing is not standing:
        events.append(StandingChanged(moment.minute, batch.code, standing, after.standing))
    return after, events


def _judge(
    code: str,
    watch: StageWatch,
    span: Span,
    before: BatchState,
    moment: Moment,
    *,
    felt: Mapping[Felt, int | None],
    kit: Kit,
) -> tuple[BatchState, list[Event]]:
    minute, sun_up = moment.minute, moment.sun_up
    film_open = film_is_open(kit, minute)
    conditions: dict[str, LimitState] = {}
    events: list[Event] = []
    in_danger = strained = False
    for limit, bound in zip(watch.limits, watch.bounds, strict=True):
        value = felt[limit.quantity]
        old = before.conditions.get(limit.id, QUIET)
        said = verdict(bound, value, sun_up=sun_up, film_open=film_open)
        new = limits.step(bound.delays, old, minute, said, value=value, sign=bound.sign)
        if new is not QUIET:
            conditions[limit.id] = new
            high = limit.priority is Priority.HIGH
            in_danger |= new.raised and high
            strained |= not (new.raised and high)
        events.extend(_turn(code, limit.id, old, new, minute, priority=limit.priority, value=value))
    direct_from = moment.direct_from(kit.shade_fraction) if watch.counts_direct_sun else 0
    sums: dict[str, DoseState] = {}
    for dose, sum_bound in zip(watch.doses, watch.dose_bounds, strict=True):
        total, turns = doses.step(
            sum_bound,
            before.doses.get(dose.id),
            minute,
            value=felt[dose.quantity],
            day=moment.day,
            sun_up=sun_up,
            direct_from=direct_from,
        )
        sums[dose.id] = total
        in_danger |= total.raised and dose.priority is Priority.HIGH
        strained |= total.raised and dose.priority is not Priority.HIGH
        events.extend(dose_event(code, dose, sum_bound, turn) for turn in turns)
    for quantity in watch.vital:
        name = blind_id(quantity)
        old = before.conditions.get(name, QUIET)
        said = Verdict.BEYOND if felt[quantity] is None else Verdict.BACK
        new = limits.step(watch.blind, old, minute, said)
        if new is not QUIET:
            conditions[name] = new
        events.extend(_turn(code, name, old, new, minute, priority=Priority.HIGH, value=None))
    rings: dict[Felt, Ring] = {
        quantity: onto_ring(before.rings.get(quantity, ()), felt[quantity])
        for quantity in watch.trended
    }
    standing = standing_of(
        in_danger=in_danger,
        blind=any(felt[quantity] is None for quantity in watch.vital),
        strained=strained,
        drifting=_drifts(watch, span, rings, moment, film_open=film_open),
    )
    return BatchState(watch.key, standing, conditions, rings, sums, before.reckoned), events


def _turn(
    code: str,
    name: str,
    old: LimitState,
    new: LimitState,
    minute: int,
    *,
    priority: Priority,
    value: int | None,
) -> tuple[Event, ...]:
    """Return what a condition's turn from one state to the next says, if anything."""
    if new.raised and not old.raised and new.since_minute is not None:
        shown = in_units(value)
        return (ConditionOpened(minute, code, name, new.since_minute, shown, priority),)
    if old.raised and not new.raised:
        return (ConditionClosed(minute, code, name, in_units(old.worst)),)
    return ()


def _drifts(
    watch: StageWatch, span: Span, rings: Mapping[Felt, Ring], moment: Moment, *, film_open: bool
) -> bool:
    for quantity, ring in rings.items():
        speaker = span.speakers.get(quantity)
        if speaker is None:
            continue
        trend = trend_of(ring, moment.minute - speaker.since_minute + 1)
        for limit, bound in zip(watch.limits, watch.bounds, strict=True):
            ours = limit.quantity is quantity and can_make_drift(limit)
            speaking = can_speak(bound, sun_up=moment.sun_up, film_open=film_open)
            if ours and speaking and heads_out(bound, trend):
                return True
    return False
