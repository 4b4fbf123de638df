"""The evaluator's array form: many cells at once, the same events to the cell as `step`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules import doses, limits
from rules.cells import MICRO
from rules.daylight import sun_heights
from rules.felt import felt_values, held_in
from rules.limits import QUIET, LimitState, Swept, Verdict
from rules.model.alarm import Priority
from rules.model.event import ConditionClosed, ConditionOpened, Event
from rules.moments import moments_of
from rules.record import Columns, Record
from rules.standing import standing_at, standings_of
from rules.state import NEW, BatchState, EvaluatorState
from rules.surroundings import INPUTS, felt_by, reckon_rows
from rules.trust import judged
from rules.turnover import (
    closed_at,
    demand_next,
    dose_event,
    going_on,
    gone,
    in_units,
    standing_turns,
    still_spoken,
)
from rules.watchlist import blind_id
from rules.weighing import Part, Weight, alike, weigh

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rules.cells import CellBlock
    from rules.doses import DoseState
    from rules.felt import Held
    from rules.model.event import Standing
    from rules.moments import Moments
    from rules.reckoning import Kit
    from rules.speaking import Span
    from rules.watchlist import BatchWatch, StageWatch, Watchlist

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Segment:
    """Rows of a block in which one batch keeps its stage: its spans, each with its own rows."""

    rows: slice
    watch: StageWatch | None
    spans: tuple[tuple[Span, slice], ...]


def sweep(
    watchlist: Watchlist, state: EvaluatorState, block: CellBlock
) -> tuple[EvaluatorState, tuple[Event, ...], Record]:
    """Judge a block of cells; return the state after it, what was said in order, and a record.

    The block follows the state's last cell, else ValueError. State and events equal those of
    `step` folded over the block's cells.
    """
    return _sweep(watchlist, state, block, recorded=True)


def carry_on(
    watchlist: Watchlist, state: EvaluatorState, block: CellBlock
) -> tuple[EvaluatorState, tuple[Event, ...]]:
    """Return what `sweep` does, without a record; what only a record would tell is left out."""
    after, events, _ = _sweep(watchlist, state, block, recorded=False)
    return after, events


def _sweep(
    watchlist: Watchlist, state: EvaluatorState, block: CellBlock, *, recorded: bool
) -> tuple[EvaluatorState, tuple[Event, ...], Record]:
    minutes = len(block.means)
    if minutes == 0:
        return state, (), Record(block.first_minute, 0, {})
    demand_next(state, block.first_minute)
    every = block.first_minute + np.arange(minutes, dtype=np.int64)
    heights = sun_heights(watchlist.place, every)
    quality, judgement = judged(watchlist.quality, state.quality, block, heights)
    held = held_in(judgement.block, still_spoken(watchlist, state.latest))
    moments = moments_of(watchlist.place, block.first_minute, minutes)
    said: list[Event] = gone(watchlist, state, block.first_minute)
    sweeps = [
        _BatchSweep(batch, state.batches.get(batch.code, NEW), held, moments, recorded=recorded)
        for batch in watchlist.batches
    ]
    by_code = {one.batch.code: one for one in sweeps}
    for place in range(max((len(one.segments) for one in sweeps), default=0)):
        begun = [part for one in sweeps if (part := one.begin(place)) is not None]
        for group in alike(begun):
            for part, weight in zip(group, weigh(group), strict=True):
                by_code[part.code].judge(part, weight)
    for one in sweeps:
        said.extend(one.events)
    # A stable sort keeps batches in order within a minute, and each batch's own order.
    said.sort(key=_minute)
    latest = {
        key: (int(held.minute[-1, column]), int(held.value[-1, column]))
        for key, column in sorted(held.column.items())
        if key in watchlist.channels and bool(held.minute[-1, column] >= 0)
    }
    batches = {code: one.state for code, one in by_code.items()}
    after = EvaluatorState(block.first_minute + minutes - 1, latest, batches, quality)
    records = {code: one.columns.record() for code, one in by_code.items() if recorded}
    return after, tuple(said), Record(block.first_minute, minutes, records)


def _minute(event: Event) -> int:
    return event.minute


class _BatchSweep:
    """One batch on its way through a block, segment by segment: each is begun, then judged."""

    def __init__(
        self, batch: BatchWatch, state: BatchState, held: Held, moments: Moments, *, recorded: bool
    ) -> None:
        self.batch = batch
        self.state = state
        self.events: list[Event] = []
        self.segments = tuple(_segments(batch, held.first_minute, len(moments.sun_up)))
        self.columns = Columns(len(moments.sun_up))
        self._held = held
        self._moments = moments
        self._recorded = recorded
        for segment in self.segments:
            self._feel(segment)

    def _feel(self, segment: _Segment) -> None:
        """Write what the batch feels by its sensors in a segment."""
        needed = segment.watch.needed if segment.watch is not None else ()
        for felt in (*needed, *INPUTS):
            self.columns.open_felt(felt)
        for span, rows in segment.spans:
            for felt, speaker in span.speakers.items():
                if self._recorded or felt in needed or felt in INPUTS:
                    self.columns.write(felt, rows, felt_values(speaker, self._held, rows))

    def begin(self, place: int) -> Part | None:
        """Go on into a segment, up to what is judged in it; None if nothing is."""
        if place >= len(self.segments):
            return None
        segment, held = self.segments[place], self._held
        minute = held.first_minute + segment.rows.start
        key = segment.watch.key if segment.watch is not None else None
        standing = self.state.standing
        if self.state.key != key:
            kept = going_on(self.batch, self.state.key, key)
            self.events.extend(closed_at(minute, self.batch.code, self.state, kept))
            self.state = self.state.under(key, kept)
        if segment.watch is None:
            self.state = replace(self.state, standing=None)
            self._turn(standing, segment.rows)
            return None
        kit = self.batch.kit_in(segment.spans[0][0])
        self._reckon(kit, segment, segment.watch)
        grid = minute + np.arange(segment.rows.stop - segment.rows.start, dtype=np.int64)
        return Part(
            code=self.batch.code,
            watch=segment.watch,
            kit=kit,
            minute=minute,
            rows=segment.rows,
            spans=segment.spans,
            moments=self._moments,
            film_open=kit.film_open(grid),
            columns=self.columns,
            rings=self.state.rings,
        )

    def _reckon(self, kit: Kit, segment: _Segment, watch: StageWatch) -> None:
        """Carry on what is reckoned, span by span, and write what the batch feels by it."""
        reckoned = self.state.reckoned
        for span, rows in segment.spans:
            felt = {
                quantity: self.columns.read(quantity, rows)
                for quantity in INPUTS
                if quantity in span.speakers
            }
            reckoned, told = reckon_rows(
                kit,
                reckoned,
                span,
                felt,
                self._moments,
                self._held,
                rows,
                leaf_too=self._recorded or watch.judges_leaf,
            )
            for quantity, values in felt_by(span, told).items():
                self.columns.write(quantity, rows, values)
            if told.reserve_band is not None and told.hours_band is not None:
                self.columns.write_bands(rows, told.reserve_band, told.hours_band)
        self.state = replace(self.state, reckoned=reckoned)

    def judge(self, part: Part, weight: Weight) -> None:
        """Judge a segment that was begun and weighed."""
        standing = self.state.standing
        if self._recorded and part.watch.limits:
            self.columns.take_least(part.rows, weight.margin, part.watch.limits)
        self.state, events = _judge(part, weight, self.state)
        self.events.extend(events)
        self._turn(standing, part.rows)

    def _turn(self, before: Standing | None, rows: slice) -> None:
        minute = self._held.first_minute + rows.start
        standing = self.columns.standing[rows]
        self.events.extend(standing_turns(self.batch.code, before, standing, minute))


def _segments(batch: BatchWatch, first_minute: int, minutes: int) -> Iterator[_Segment]:
    """Yield the rows of a block cut where what is judged changes."""
    end_minute = first_minute + minutes
    starts = [span.first_minute for span in batch.spans if span.first_minute < end_minute]
    spans: list[tuple[Span, slice]] = []
    watch: StageWatch | None = None
    for i, begin in enumerate(starts):
        end = min(starts[i + 1] if i + 1 < len(starts) else end_minute, end_minute)
        if end <= first_minute:
            continue
        span = batch.spans[i]
        rows = slice(max(begin, first_minute) - first_minute, end - first_minute)
        now = batch.watch_in(span)
        if spans and now is not watch:
            yield _segment(spans, watch)
            spans = []
        watch = now
        spans.append((span, rows))
    if spans:
        yield _segment(spans, watch)


def _segment(spans: Sequence[tuple[Span, slice]], watch: StageWatch | None) -> _Segment:
    return _Segment(slice(spans[0][1].start, spans[-1][1].stop), watch, tuple(spans))


class _Standings:
    """The flags from which each cell's standing follows, filled in condition by condition."""

    def __init__(self, length: int) -> None:
        self.in_danger = np.zeros(length, dtype=np.bool_)
        self.strained = np.zeros(length, dtype=np.bool_)
        self.blind = np.zeros(length, dtype=np.bool_)

    def add(self, priority: Priority, *, raised: Flags, rising: Flags | None) -> None:
        """Count in one condition: danger once it is raised with high priority, else strain."""
        if priority is Priority.HIGH:
            self.in_danger |= raised
        else:
            self.strained |= raised
        if rising is not None:
            self.strained |= rising


def _judge(part: Part, weight: Weight, before: BatchState) -> tuple[BatchState, list[Event]]:
    rows, watch = part.rows, part.watch
    standings = _Standings(part.length)
    conditions, events = _judge_limits(part, weight, before, standings)
    sums, turned = _judge_doses(part, before, standings)
    events.extend(turned)
    for quantity in watch.vital:
        missing = ~part.read(quantity)[1]
        name = blind_id(quantity)
        old = before.conditions.get(name, QUIET)
        if old is QUIET and not missing.any():
            continue
        standings.blind |= missing
        said = np.where(missing, np.int8(Verdict.BEYOND), np.int8(Verdict.BACK))
        swept = limits.sweep(watch.blind, old, part.minute, said)
        if swept.state != QUIET:
            conditions[name] = swept.state
        events.extend(_blind_events(part.code, name, swept))
    part.columns.standing[rows] = standings_of(
        in_danger=standings.in_danger,
        blind=standings.blind,
        strained=standings.strained,
        drifting=weight.drifting,
    )
    standing = standing_at(int(part.columns.standing[rows.stop - 1]))
    after = BatchState(watch.key, standing, conditions, weight.rings, sums, before.reckoned)
    return after, events


def _judge_limits(
    part: Part, weight: Weight, before: BatchState, standings: _Standings
) -> tuple[dict[str, LimitState], list[Event]]:
    conditions: dict[str, LimitState] = {}
    events: list[Event] = []
    judging = zip(part.watch.limits, part.watch.bounds, strict=True)
    for place, (limit, bound) in enumerate(judging):
        old = before.conditions.get(limit.id, QUIET)
        if old is QUIET and not weight.broken[place]:
            continue  # as nearly always: nothing begins
        values = weight.values[place]
        swept = limits.sweep(
            bound.delays, old, part.minute, weight.said[place], values=values, sign=bound.sign
        )
        if swept.state != QUIET:
            conditions[limit.id] = swept.state
        standings.add(limit.priority, raised=swept.raised, rising=swept.rising)
        for at, since in swept.opened:
            value = int(values[at - part.minute]) / MICRO
            events.append(ConditionOpened(at, part.code, limit.id, since, value, limit.priority))
        events.extend(
            ConditionClosed(at, part.code, limit.id, in_units(worst))
            for at, worst in zip(swept.closed, swept.worst, strict=True)
        )
    return conditions, events


def _judge_doses(
    part: Part, before: BatchState, standings: _Standings
) -> tuple[dict[str, DoseState], list[Event]]:
    rows = part.rows
    sums: dict[str, DoseState] = {}
    events: list[Event] = []
    direct_from = np.zeros(part.length, dtype=np.int64)
    if part.watch.counts_direct_sun:
        direct_from = part.moments.direct_from(part.kit.shade_fraction)[rows]
    for dose, bound in zip(part.watch.doses, part.watch.dose_bounds, strict=True):
        values, present = part.read(dose.quantity)
        swept = doses.sweep(
            bound,
            before.doses.get(dose.id),
            part.minute,
            values=values,
            present=present,
            days=part.moments.days,
            sun_up=part.sun_up,
            direct_from=direct_from,
        )
        sums[dose.id] = swept.state
        standings.add(dose.priority, raised=swept.raised, rising=None)
        part.columns.write_sum(dose.id, rows, swept.total / np.float64(bound.in_one))
        events.extend(dose_event(part.code, dose, bound, turn) for turn in swept.turns)
    return sums, events


def _blind_events(code: str, name: str, swept: Swept) -> Iterator[Event]:
    for at, since in swept.opened:
        yield ConditionOpened(at, code, name, since, None, Priority.HIGH)
    for at in swept.closed:
        yield ConditionClosed(at, code, name)
