"""The evaluator's array form: many cells at once, the same events to the cell as `step`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules import limits
from rules.cells import MICRO
from rules.daylight import sun_heights
from rules.felt import felt_values, held_in
from rules.limits import QUIET, LimitState, Swept, Verdict, speaks_each, verdicts
from rules.model.alarm import Priority
from rules.model.event import ConditionClosed, ConditionOpened, Event, Standing, StandingChanged
from rules.model.quantities import Felt
from rules.standing import BY_SEVERITY, UNWATCHED, standing_at, standings_of
from rules.state import NEW, BatchState, EvaluatorState
from rules.sun import sun_is_up
from rules.trend import Ring, head_out, onto_ring_all, trends_of
from rules.trust import judged
from rules.turnover import closed_at, demand_next, gone, still_spoken
from rules.watchlist import blind_id, can_make_drift

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from rules.cells import CellBlock
    from rules.felt import Held
    from rules.model.plan import Limit
    from rules.speaking import Span
    from rules.watchlist import BatchWatch, StageWatch, Watchlist

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

NO_LIMIT = -1


@dataclass(frozen=True, slots=True)
class BatchRecord:
    """One batch over a block, an entry per minute in every array.

    `felt` is in each quantity's unit, NaN where missing. `margin` is the smallest over the limits
    that speak and have a value, NaN where none does; `limit` is the place in `limits` of the one
    it belongs to, -1 for none. `standing` is the place in `rules.standing.BY_SEVERITY`, -1 while
    unwatched.
    """

    felt: Mapping[Felt, Floats]
    limits: tuple[Limit, ...]
    margin: Floats
    limit: NDArray[np.int16]
    standing: NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Record:
    """What a sweep saw, for charts: every batch by its code, from `first_minute` on."""

    first_minute: int
    minutes: int
    batches: Mapping[str, BatchRecord]


@dataclass(frozen=True, slots=True)
class _Segment:
    """Rows of a block in which one batch keeps its stage: its spans, each with its own rows."""

    rows: slice
    watch: StageWatch | None
    spans: tuple[tuple[Span, slice], ...]


class _Columns:
    """The arrays of one batch while they are being filled; felt values in millionths."""

    def __init__(self, minutes: int) -> None:
        self.values: dict[Felt, Wholes] = {}
        self.present: dict[Felt, Flags] = {}
        self.margin: Floats = np.full(minutes, np.inf)
        self.limit = np.full(minutes, NO_LIMIT, dtype=np.int16)
        self.limits: list[Limit] = []
        self.standing = np.full(minutes, UNWATCHED, dtype=np.int8)

    def record(self) -> BatchRecord:
        """Return what was filled in, in the units people read."""
        return BatchRecord(
            felt={
                felt: np.where(self.present[felt], values / np.float64(MICRO), np.nan)
                for felt, values in self.values.items()
            },
            limits=tuple(self.limits),
            margin=np.where(np.isfinite(self.margin), self.margin, np.nan),
            limit=self.limit,
            standing=self.standing,
        )


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
    sun_up = sun_is_up(watchlist.place, every)
    said: list[tuple[int, Event]] = [
        (event.minute, event) for event in gone(watchlist, state, block.first_minute)
    ]
    batches: dict[str, BatchState] = {}
    records: dict[str, BatchRecord] = {}
    for batch in watchlist.batches:
        before = state.batches.get(batch.code, NEW)
        after, events, record = _sweep_batch(batch, before, held, sun_up)
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
    batch: BatchWatch, before: BatchState, held: Held, sun_up: Flags
) -> tuple[BatchState, list[Event], BatchRecord]:
    minutes = len(sun_up)
    columns = _Columns(minutes)
    segments = tuple(_segments(batch, held.first_minute, minutes))
    for felt in dict.fromkeys(
        felt
        for segment in segments
        for span, _ in segment.spans
        for felt in _felt_in(segment, span)
    ):
        columns.values[felt] = np.zeros(minutes, dtype=np.int64)
        columns.present[felt] = np.zeros(minutes, dtype=np.bool_)
    for segment in segments:
        for span, rows in segment.spans:
            for felt, speaker in span.speakers.items():
                values, present = felt_values(speaker, held, rows)
                columns.values[felt][rows] = values
                columns.present[felt][rows] = present
    events: list[Event] = []
    for segment in segments:
        minute = held.first_minute + segment.rows.start
        standing = before.standing
        key = segment.watch.key if segment.watch is not None else None
        if before.key != key:
            events.extend(closed_at(minute, batch.code, before))
            before = BatchState(key=key, standing=standing, conditions={}, rings={})
        if segment.watch is None:
            before = BatchState(key=None, standing=None, conditions={}, rings={})
        else:
            before, said = _judge(
                batch.code, segment, segment.watch, before, columns, minute, sun_up[segment.rows]
            )
            events.extend(said)
        events.extend(_turns(batch.code, standing, columns.standing[segment.rows], minute))
    return before, sorted(events, key=lambda event: event.minute), columns.record()


def _felt_in(segment: _Segment, span: Span) -> Iterator[Felt]:
    yield from span.speakers
    if segment.watch is not None:
        yield from segment.watch.needed


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


def _judge(
    code: str,
    segment: _Segment,
    watch: StageWatch,
    before: BatchState,
    columns: _Columns,
    minute: int,
    sun_up: Flags,
) -> tuple[BatchState, list[Event]]:
    rows = segment.rows
    length: int = rows.stop - rows.start
    conditions: dict[str, LimitState] = {}
    events: list[Event] = []
    in_danger = np.zeros(length, dtype=np.bool_)
    strained = np.zeros(length, dtype=np.bool_)
    blind = np.zeros(length, dtype=np.bool_)
    for limit, bound in zip(watch.limits, watch.bounds, strict=True):
        values = columns.values[limit.quantity][rows]
        present = columns.present[limit.quantity][rows]
        old = before.conditions.get(limit.id, QUIET)
        swept = limits.sweep(bound.delays, old, minute, verdicts(bound, values, present, sun_up))
        if swept.state != QUIET:
            conditions[limit.id] = swept.state
        if limit.priority is Priority.HIGH:
            in_danger |= swept.raised
            strained |= swept.rising
        else:
            strained |= swept.raised | swept.rising
        shown = values / np.float64(MICRO)
        events.extend(
            ConditionOpened(at, code, limit.id, since, float(shown[at - minute]), limit.priority)
            for at, since in swept.opened
        )
        events.extend(ConditionClosed(at, code, limit.id) for at in swept.closed)
        margin = bound.sign * (bound.at - values) / np.float64(bound.full_margin)
        counts = present & speaks_each(bound.when, sun_up)
        _least(columns, rows, np.where(counts, np.minimum(margin, 1.0), np.inf), limit)
    for quantity in watch.vital:
        missing = ~columns.present[quantity][rows]
        blind |= missing
        name = blind_id(quantity)
        said = np.where(missing, np.int8(Verdict.BEYOND), np.int8(Verdict.BACK))
        swept = limits.sweep(
            watch.blind, before.conditions.get(name, QUIET), minute, said.astype(np.int8)
        )
        if swept.state != QUIET:
            conditions[name] = swept.state
        events.extend(_blind_events(code, name, swept))
    rings, drifting = _drift(segment, watch, before, columns, minute, sun_up)
    columns.standing[rows] = standings_of(
        in_danger=in_danger, blind=blind, strained=strained, drifting=drifting
    )
    standing = standing_at(int(columns.standing[rows.stop - 1]))
    return BatchState(watch.key, standing, conditions, rings), events


def _blind_events(code: str, name: str, swept: Swept) -> Iterator[Event]:
    for at, since in swept.opened:
        yield ConditionOpened(at, code, name, since, None, Priority.HIGH)
    for at in swept.closed:
        yield ConditionClosed(at, code, name)


def _least(columns: _Columns, rows: slice, margin: Floats, limit: Limit) -> None:
    """Take over a limit's margin where it is smaller than every one so far."""
    if limit not in columns.limits:
        columns.limits.append(limit)
    place = columns.limits.index(limit)
    smaller = margin < columns.margin[rows]
    columns.margin[rows] = np.where(smaller, margin, columns.margin[rows])
    columns.limit[rows] = np.where(smaller, np.int16(place), columns.limit[rows])


def _drift(
    segment: _Segment,
    watch: StageWatch,
    before: BatchState,
    columns: _Columns,
    minute: int,
    sun_up: Flags,
) -> tuple[dict[Felt, Ring], Flags]:
    rows = segment.rows
    drifting = np.zeros(rows.stop - rows.start, dtype=np.bool_)
    rings: dict[Felt, Ring] = {}
    for felt in watch.trended:
        old = before.rings.get(felt, ())
        values = columns.values[felt][rows]
        present = columns.present[felt][rows]
        rings[felt] = onto_ring_all(old, values, present)
        bounds = [
            bound
            for limit, bound in zip(watch.limits, watch.bounds, strict=True)
            if limit.quantity is felt and can_make_drift(limit)
        ]
        for since, run in _unbroken(segment, felt):
            trends = trends_of(
                old if run.start == 0 else (), minute + run.start - since, values[run], present[run]
            )
            for bound in bounds:
                out = speaks_each(bound.when, sun_up[run]) & head_out(bound, trends)
                drifting[run] |= out
    return rings, drifting


def _unbroken(segment: _Segment, felt: Felt) -> Iterator[tuple[int, slice]]:
    """Yield runs of rows, counted from the segment's first, in which one speaker holds."""
    run: slice | None = None
    since = 0
    for span, rows in segment.spans:
        speaker = span.speakers.get(felt)
        here = slice(rows.start - segment.rows.start, rows.stop - segment.rows.start)
        if run is not None and (speaker is None or speaker.since_minute != since):
            yield since, run
            run = None
        if speaker is not None:
            run = here if run is None else slice(run.start, here.stop)
            since = speaker.since_minute
    if run is not None:
        yield since, run


def _turns(
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
