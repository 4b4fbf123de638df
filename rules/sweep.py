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
from rules.model.quantities import Felt
from rules.moments import Moments, moments_of
from rules.reckoning import Kit
from rules.record import BatchRecord, Columns, Record
from rules.standing import standing_at, standings_of
from rules.state import NEW, BatchState, EvaluatorState
from rules.surroundings import INPUTS, felt_by, reckon_rows
from rules.trend import Ring, head_out, onto_ring_all, trends_of
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

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rules.cells import CellBlock
    from rules.doses import DoseState
    from rules.felt import Held
    from rules.reckoning import Reckoned
    from rules.speaking import Span
    from rules.watchlist import BatchWatch, StageWatch, Watchlist

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEVER = 1 << 40


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
    minutes = len(block.means)
    if minutes == 0:
        return state, (), Record(block.first_minute, 0, {})
    demand_next(state, block.first_minute)
    every = block.first_minute + np.arange(minutes, dtype=np.int64)
    heights = sun_heights(watchlist.place, every)
    quality, judgement = judged(watchlist.quality, state.quality, block, heights)
    held = held_in(judgement.block, still_spoken(watchlist, state.latest))
    moments = moments_of(watchlist.place, block.first_minute, minutes)
    said: list[tuple[int, Event]] = [
        (event.minute, event) for event in gone(watchlist, state, block.first_minute)
    ]
    batches: dict[str, BatchState] = {}
    records: dict[str, BatchRecord] = {}
    for batch in watchlist.batches:
        before = state.batches.get(batch.code, NEW)
        after, events, record = _sweep_batch(batch, before, held, moments)
        batches[batch.code] = after
        records[batch.code] = record
        said.extend((event.minute, event) for event in events)
    # Each batch's events stand in order; a stable sort keeps batches in order within a minute.
    said.sort(key=lambda pair: pair[0])
    latest = {
        key: (int(held.minute[-1, column]), int(held.value[-1, column]))
        for key, column in sorted(held.column.items())
        if key in watchlist.channels and bool(held.minute[-1, column] >= 0)
    }
    after_all = EvaluatorState(block.first_minute + minutes - 1, latest, batches, quality)
    events_in_order = tuple(event for _, event in said)
    return after_all, events_in_order, Record(block.first_minute, minutes, records)


def _sweep_batch(
    batch: BatchWatch, before: BatchState, held: Held, moments: Moments
) -> tuple[BatchState, list[Event], BatchRecord]:
    minutes = len(moments.sun_up)
    columns = Columns(minutes)
    segments = tuple(_segments(batch, held.first_minute, minutes))
    for segment in segments:
        for span, rows in segment.spans:
            for felt in _felt_in(segment, span):
                columns.open_felt(felt)
            for felt, speaker in span.speakers.items():
                columns.write(felt, rows, felt_values(speaker, held, rows))
    events: list[Event] = []
    for segment in segments:
        minute = held.first_minute + segment.rows.start
        standing = before.standing
        key = segment.watch.key if segment.watch is not None else None
        if before.key != key:
            kept = going_on(batch, before.key, key)
            events.extend(closed_at(minute, batch.code, before, kept))
            before = before.under(key, kept)
        if segment.watch is None:
            before = replace(before, standing=None)
        else:
            kit = batch.kit_in(segment.spans[0][0])
            reckoned = _reckon(kit, segment, before.reckoned, columns, moments, held)
            film_open = kit.film_open(
                minute + np.arange(segment.rows.stop - segment.rows.start, dtype=np.int64)
            )
            now = _Now(batch.code, segment, segment.watch, kit, minute, moments, film_open)
            before, said = _judge(now, replace(before, reckoned=reckoned), columns)
            events.extend(said)
        events.extend(standing_turns(batch.code, standing, columns.standing[segment.rows], minute))
    return before, sorted(events, key=lambda event: event.minute), columns.record()


def _reckon(
    kit: Kit,
    segment: _Segment,
    before: Reckoned,
    columns: Columns,
    moments: Moments,
    held: Held,
) -> Reckoned:
    """Carry what is reckoned over a segment, span by span, and write what the batch feels by it."""
    for span, rows in segment.spans:
        felt = {
            quantity: columns.read(quantity, rows)
            for quantity in INPUTS
            if quantity in span.speakers
        }
        before, told = reckon_rows(kit, before, span, felt, moments, held, rows)
        for quantity, values in felt_by(span, told).items():
            columns.write(quantity, rows, values)
        if told.reserve_band is not None and told.hours_band is not None:
            columns.write_bands(rows, told.reserve_band, told.hours_band)
    return before


def _felt_in(segment: _Segment, span: Span) -> Iterator[Felt]:
    yield from span.speakers
    if segment.watch is not None:
        yield from segment.watch.needed
        yield from INPUTS


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


@dataclass(frozen=True, slots=True)
class _Now:
    """What holds over a segment while it is judged; `minute` is its first, flags are by row."""

    code: str
    segment: _Segment
    watch: StageWatch
    kit: Kit
    minute: int
    moments: Moments
    film_open: Flags

    @property
    def rows(self) -> slice:
        return self.segment.rows

    @property
    def sun_up(self) -> Flags:
        return self.moments.sun_up[self.segment.rows]

    @property
    def speaking(self) -> Flags:
        return self.watch.table.speaking(sun_up=self.sun_up, film_open=self.film_open)


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


def _judge(now: _Now, before: BatchState, columns: Columns) -> tuple[BatchState, list[Event]]:
    rows, watch = now.rows, now.watch
    standings, speaking = _Standings(rows.stop - rows.start), now.speaking
    conditions, events = _judge_limits(now, before, columns, standings, speaking)
    sums, turned = _judge_doses(now, before, columns, standings)
    events.extend(turned)
    for quantity in watch.vital:
        missing = ~columns.present[quantity][rows]
        name = blind_id(quantity)
        old = before.conditions.get(name, QUIET)
        if old is QUIET and not missing.any():
            continue
        standings.blind |= missing
        said = np.where(missing, np.int8(Verdict.BEYOND), np.int8(Verdict.BACK))
        swept = limits.sweep(watch.blind, old, now.minute, said)
        if swept.state != QUIET:
            conditions[name] = swept.state
        events.extend(_blind_events(now.code, name, swept))
    rings, drifting = _drift(now, before, columns, speaking)
    columns.standing[rows] = standings_of(
        in_danger=standings.in_danger,
        blind=standings.blind,
        strained=standings.strained,
        drifting=drifting,
    )
    standing = standing_at(int(columns.standing[rows.stop - 1]))
    after = BatchState(watch.key, standing, conditions, rings, sums, before.reckoned)
    return after, events


def _judge_limits(
    now: _Now, before: BatchState, columns: Columns, standings: _Standings, speaking: Flags
) -> tuple[dict[str, LimitState], list[Event]]:
    rows, code, judging = now.rows, now.code, now.watch.limits
    conditions: dict[str, LimitState] = {}
    events: list[Event] = []
    if not judging:
        return conditions, events
    told = [columns.read(limit.quantity, rows) for limit in judging]
    values, present = np.stack([one for one, _ in told]), np.stack([there for _, there in told])
    all_said = limits.weighed(now.watch.table, values, present, speaking)
    columns.take_least(rows, all_said.margin, judging)
    broken: list[bool] = (all_said.said == Verdict.BEYOND).any(axis=1).tolist()
    for place, (limit, bound) in enumerate(zip(judging, now.watch.bounds, strict=True)):
        old = before.conditions.get(limit.id, QUIET)
        if old is QUIET and not broken[place]:
            continue  # as nearly always: nothing begins
        swept = limits.sweep(
            bound.delays,
            old,
            now.minute,
            all_said.said[place],
            values=values[place],
            sign=bound.sign,
        )
        if swept.state != QUIET:
            conditions[limit.id] = swept.state
        standings.add(limit.priority, raised=swept.raised, rising=swept.rising)
        events.extend(
            ConditionOpened(
                at,
                code,
                limit.id,
                since,
                int(values[place, at - now.minute]) / MICRO,
                limit.priority,
            )
            for at, since in swept.opened
        )
        events.extend(
            ConditionClosed(at, code, limit.id, in_units(worst))
            for at, worst in zip(swept.closed, swept.worst, strict=True)
        )
    return conditions, events


def _judge_doses(
    now: _Now, before: BatchState, columns: Columns, standings: _Standings
) -> tuple[dict[str, DoseState], list[Event]]:
    rows = now.rows
    sums: dict[str, DoseState] = {}
    events: list[Event] = []
    direct_from = np.zeros(rows.stop - rows.start, dtype=np.int64)
    if now.watch.counts_direct_sun:
        direct_from = now.moments.direct_from(now.kit.shade_fraction)[rows]
    for dose, bound in zip(now.watch.doses, now.watch.dose_bounds, strict=True):
        values, present = columns.read(dose.quantity, rows)
        swept = doses.sweep(
            bound,
            before.doses.get(dose.id),
            now.minute,
            values=values,
            present=present,
            days=now.moments.days,
            sun_up=now.sun_up,
            direct_from=direct_from,
        )
        sums[dose.id] = swept.state
        standings.add(dose.priority, raised=swept.raised, rising=None)
        columns.write_sum(dose.id, rows, swept.total / np.float64(bound.in_one))
        events.extend(dose_event(now.code, dose, bound, turn) for turn in swept.turns)
    return sums, events


def _blind_events(code: str, name: str, swept: Swept) -> Iterator[Event]:
    for at, since in swept.opened:
        yield ConditionOpened(at, code, name, since, None, Priority.HIGH)
    for at in swept.closed:
        yield ConditionClosed(at, code, name)


def _drift(
    now: _Now, before: BatchState, columns: Columns, speaking: Flags
) -> tuple[dict[Felt, Ring], Flags]:
    rows, watch = now.rows, now.watch
    drifting = np.zeros(rows.stop - rows.start, dtype=np.bool_)
    if not watch.trended:
        return {}, drifting
    told = [columns.read(felt, rows) for felt in watch.trended]
    before_it = [before.rings.get(felt, ()) for felt in watch.trended]
    trends = trends_of(
        before_it,
        _since(now),
        np.stack([values for values, _ in told]),
        np.stack([present for _, present in told]),
    )
    heading = watch.heading
    out = speaking[heading.limits] & head_out(heading.table, trends.of(heading.felt))
    rings = {
        felt: onto_ring_all(ring, *said)
        for felt, ring, said in zip(watch.trended, before_it, told, strict=True)
    }
    drifting |= out.any(axis=0)
    return rings, drifting


def _since(now: _Now) -> Wholes:
    """Return the first row that may be used for each trended quantity at each row of a segment.

    That is the first in which the sensor spoke that speaks now; none may be where none speaks.
    """
    begins = np.array(
        [
            [
                NEVER if speaker is None else speaker.since_minute - now.minute
                for felt in now.watch.trended
                for speaker in (span.speakers.get(felt),)
            ]
            for span, _ in now.segment.spans
        ],
        dtype=np.int64,
    ).T
    if len(now.segment.spans) == 1:
        return begins
    return np.repeat(begins, [rows.stop - rows.start for _, rows in now.segment.spans], axis=1)
