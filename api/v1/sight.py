"""What can be seen: each batch now, and each batch along a day.

A day is worked out from the readings by the evaluator's array form, once, and then only carried
on by the minutes that the watch has closed since. Twenty pages open at once cost one sum a minute.
It starts from the state that the watch itself had at its last milestone before that day, so that
the water of a scion and sums over a stage are those that were judged.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from copy import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from api.records.alarms import standing_alarms
from api.records.session import reading
from api.records.states import milestone_before, state_of
from api.records.tables import as_ms
from api.records.watch import late_between, load_position
from api.v1.unseen import unseen_marked
from rules.cells import block_of_series
from rules.evaluator import BatchRecord, outlook, start, sweep
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS, minute_of
from rules.reserve import Band
from rules.standing import UNWATCHED
from rules.tonight import BOUNDS, recent_slots

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from api.book import InForce
    from api.parts import Parts
    from api.records.alarms import AlarmRecord
    from api.records.watch import WatchPosition
    from rules.cells import CellBlock
    from rules.evaluator import BatchOutlook, EvaluatorState, Record
    from rules.model.plan import Limit
    from rules.model.reading import StoredReading
    from rules.model.site import Site
    from rules.tonight import Slots
    from rules.trust import ChannelMemory

WARM_UP_MIN = 6 * 60
"""Where there is no milestone, so many minutes before a span bring delays and trends into step."""
MOST_SPANS = 12
MOST_BATCH_MINUTES = 100_000
"""What the spans that are kept may hold together, some 300 bytes each: a nursery of many batches
keeps fewer spans, never fewer than two, and the memory that they take stays the same."""
MOST_OF_BATCHES = 24
"""Days of single batches, less than half a megabyte each: three weeks of charts."""
MOST_RECENT = 100
NEW_AFTER_S = 1800
NOT_KNOWN = -1
"""Of how many readings came late."""
BEHIND_MIN = 3


@dataclass(frozen=True, slots=True)
class Present:
    """Everything as it stands at one moment.

    `minute` is the last judged cell, None if none yet, `state` what was carried after it. `quality`
    is what the quality tests know of each channel that ever spoke.
    """

    at: datetime
    position: WatchPosition | None
    minute: int | None
    state: EvaluatorState | None
    outlooks: Mapping[str, BatchOutlook]
    alarms: tuple[AlarmRecord, ...]
    latest: Mapping[str, StoredReading]
    quality: Mapping[str, ChannelMemory]


@dataclass(frozen=True, slots=True)
class SpanRecord:
    """All batches over a span of minutes, judged until before `judged_to`.

    Shared by all who look: not to be written into. Arrays run over the whole span: NaN, and
    UNWATCHED as standing, where nothing was judged yet.
    """

    first_minute: int
    minutes: int
    judged_to: int
    batches: Mapping[str, BatchRecord]


@dataclass(frozen=True, slots=True)
class _Looked:
    """The outlooks of one minute by one position of the watch, and the state they come from."""

    key: tuple[int, int, str, str]
    state: EvaluatorState
    outlooks: Mapping[str, BatchOutlook]


class _Tape:
    """A span being filled: arrays of its whole length, and the state to carry on from.

    `seen` is what was handed out of it as it is now; None: nothing yet.
    """

    def __init__(
        self, first_minute: int, minutes: int, made_at: datetime, book: InForce, late: int
    ) -> None:
        self.book = book
        self.late = late
        self.first_minute = first_minute
        self.minutes = minutes
        self.made_at = made_at
        self.state: EvaluatorState | None = None
        self.next_minute = first_minute
        self.batches: dict[str, _BatchTape] = {}
        self.seen: SpanRecord | None = None
        self.lock = threading.Lock()

    def is_old(self, now: datetime, late: int) -> bool:
        """Return whether readings may have been kept of minutes that stand on it already."""
        changed = late == NOT_KNOWN or late != self.late
        return changed and (now - self.made_at).total_seconds() > NEW_AFTER_S


class _BatchTape:
    """The arrays of one batch. Handed out they change no more: they are copied before writing."""

    def __init__(self, minutes: int) -> None:
        self.felt = {felt: np.full(minutes, np.nan) for felt in Felt}
        self.margin = np.full(minutes, np.nan)
        self.limit = np.full(minutes, -1, dtype=np.int16)
        self.limits: tuple[Limit, ...] = ()
        self.standing = np.full(minutes, UNWATCHED, dtype=np.int8)
        self.doses: dict[str, NDArray[np.float64]] = {}
        self.reserve_pct = _no_band(minutes)
        self.hours_to_critical = _no_band(minutes)

    def copied(self) -> _BatchTape:
        new = copy(self)
        new.felt = {felt: values.copy() for felt, values in self.felt.items()}
        new.doses = {name: total.copy() for name, total in self.doses.items()}
        new.margin, new.limit = self.margin.copy(), self.limit.copy()
        new.standing = self.standing.copy()
        new.reserve_pct = self.reserve_pct.copy()
        new.hours_to_critical = self.hours_to_critical.copy()
        return new


class Sight:
    """Looks at stores and records for pages and API; safe to use from many threads."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = threading.Lock()
        self._looked: _Looked | None = None
        self._tapes: OrderedDict[tuple[int, int], _Tape] = OrderedDict()
        self._of_batches: OrderedDict[tuple[str, int, int, str], tuple[datetime, BatchRecord]] = (
            OrderedDict()
        )
        self._recent: OrderedDict[tuple[str, int, int, str], Mapping[Felt, Slots]] = OrderedDict()

    def present(self) -> Present:
        """Return how everything stands now."""
        with reading(self._parts.records) as db:
            position = load_position(db)
            alarms = standing_alarms(db)
        now = self._parts.clock.now()
        minute = None
        looked = None
        if position is not None and position.next_minute > position.began_minute:
            minute = position.next_minute - 1
            # A watch that has fallen behind must not keep old values looking fresh.
            present_minute = minute_of(as_ms(now))
            behind = present_minute - minute > BEHIND_MIN + self._parts.settings.lateness_s // 60
            looked = self._look(position, present_minute if behind else minute)
        outlooks = {} if looked is None else looked.outlooks
        return Present(
            at=now,
            position=position,
            minute=minute,
            state=None if looked is None else looked.state,
            outlooks=unseen_marked(self._parts.watchlist, outlooks, alarms, minute),
            alarms=alarms,
            latest=self._parts.store.latest(),
            quality={} if looked is None else looked.state.quality,
        )

    def _look(self, position: WatchPosition, minute: int) -> _Looked:
        book = self._parts.book.now
        key = (position.next_minute, minute, position.revision, book.revision)
        with self._lock:
            if self._looked is not None and self._looked.key == key:
                return self._looked
        state = state_of(position)
        found = {one.code: one for one in outlook(book.watchlist, state, minute)}
        looked = _Looked(key, state, found)
        with self._lock:
            self._looked = looked
        return looked

    def span(self, first_minute: int, minutes: int) -> SpanRecord:
        """Return the record of a span, as far as the watch has come.

        It is what the evaluator says of the readings that are kept now; a reading that came late
        counts here, though the watch did not have it in its hour. A span is worked out anew by
        each new state of the book, and after half an hour where readings came late, so that what
        is loaded afterwards shows; of minutes from before the watch began no lateness is known,
        so there always.
        """
        end = first_minute + minutes
        with reading(self._parts.records) as db:
            position = load_position(db)
            late = late_between(db, first_minute, end)
        judged_to = first_minute if position is None else min(end, position.next_minute)
        if position is None or first_minute < position.began_minute:
            late = NOT_KNOWN
        tape = self._tape(first_minute, minutes, late)
        with tape.lock:
            if tape.next_minute < judged_to:
                if tape.state is None:
                    self._begin(tape)
                self._carry_on(tape, judged_to)
            if tape.seen is None:
                tape.seen = SpanRecord(
                    first_minute=first_minute,
                    minutes=minutes,
                    judged_to=max(first_minute, min(tape.next_minute, end)),
                    batches={code: _handed_out(batch) for code, batch in tape.batches.items()},
                )
            return tape.seen

    def of_batch(self, code: str, first_minute: int, minutes: int) -> BatchRecord | None:
        """Return one batch's record of a span; None if it has none.

        Spans that are over are kept for the batch by itself: of a large nursery no more than two
        whole spans fit, and a week of charts would judge all batches anew for each of its lines.
        Readings that are loaded afterwards show within an hour.
        """
        now = self._parts.clock.now()
        key = (code, first_minute, minutes, self._parts.book.now.revision)
        with self._lock:
            kept = self._of_batches.get(key)
            if kept is not None and (now - kept[0]).total_seconds() <= NEW_AFTER_S:
                self._of_batches.move_to_end(key)
                return kept[1]
        span = self.span(first_minute, minutes)
        record = span.batches.get(code)
        if record is not None and span.judged_to >= first_minute + minutes:
            with self._lock:
                self._of_batches[key] = (now, record)
                self._of_batches.move_to_end(key)
                while len(self._of_batches) > MOST_OF_BATCHES:
                    self._of_batches.popitem(last=False)
        return record

    def recent(self, code: str, first_minute: int, end_minute: int) -> Mapping[Felt, Slots]:
        """Return the quarter hours of a batch's air in a span of minutes, as far as kept now.

        Of a batch that nothing speaks for at the end, or that is unknown, there are none.
        """
        book = self._parts.book.now
        key = (code, first_minute, end_minute, book.revision)
        with self._lock:
            if key in self._recent:
                return self._recent[key]
        found: dict[Felt, Slots] = {}
        watched = {batch.code: batch for batch in book.watchlist.batches}
        if code in watched and first_minute < end_minute:
            speakers = watched[code].span_at(end_minute - 1).speakers
            spoken = {felt: speakers[felt] for felt in BOUNDS if felt in speakers}
            channels = {source.channel for one in spoken.values() for source in one.sources}
            block = self._cells(book.site, sorted(channels), first_minute, end_minute)
            found = {felt: recent_slots(watched[code], block, felt) for felt in spoken}
        with self._lock:
            self._recent[key] = found
            while len(self._recent) > MOST_RECENT:
                self._recent.popitem(last=False)
        return found

    def _cells(
        self, site: Site, channels: Sequence[str], first_minute: int, end_minute: int
    ) -> CellBlock:
        kept = self._parts.store.series(channels, first_minute * MINUTE_MS, end_minute * MINUTE_MS)
        series = {key: (one.at_ms, one.value) for key, one in kept.items()}
        return block_of_series(site, first_minute, end_minute - first_minute, series)

    def _tape(self, first_minute: int, minutes: int, late: int) -> _Tape:
        now, book = self._parts.clock.now(), self._parts.book.now
        with self._lock:
            tape = self._tapes.get((first_minute, minutes))
            if tape is None or tape.is_old(now, late) or tape.book.revision != book.revision:
                tape = _Tape(first_minute, minutes, now, book, late)
                self._tapes[first_minute, minutes] = tape
            self._tapes.move_to_end((first_minute, minutes))
            held = sum(one.minutes for one in self._tapes.values()) * len(book.watchlist.batches)
            while len(self._tapes) > MOST_SPANS or (
                held > MOST_BATCH_MINUTES and len(self._tapes) > 2
            ):
                _, gone = self._tapes.popitem(last=False)
                held -= gone.minutes * len(book.watchlist.batches)
            return tape

    def _begin(self, tape: _Tape) -> None:
        """Take up the watch's own state from before the span, else begin well before it."""
        with reading(self._parts.records) as db:
            milestone = milestone_before(db, tape.first_minute)
        if milestone is None:
            tape.next_minute = tape.first_minute - WARM_UP_MIN
            tape.state = start(tape.book.watchlist)
        else:
            tape.next_minute, tape.state = milestone

    def _carry_on(self, tape: _Tape, to_minute: int) -> None:
        site, watched = tape.book.site, tape.book.watchlist
        first, count = tape.next_minute, to_minute - tape.next_minute
        # Also channels that speak for no batch: the quality tests hold neighbours together.
        block = self._cells(site, tuple(site.channels), first, to_minute)
        state = tape.state if tape.state is not None else start(watched)
        tape.state, _, record = sweep(watched, state, block)
        tape.next_minute = to_minute
        if tape.seen is not None:
            tape.batches = {code: batch.copied() for code, batch in tape.batches.items()}
            tape.seen = None
        skip = max(0, tape.first_minute - first)
        if skip < count:
            _write(tape, record, skip=skip, at=first + skip - tape.first_minute)


def _write(tape: _Tape, record: Record, *, skip: int, at: int) -> None:
    """Copy a swept record, without its first `skip` minutes, onto the tape from place `at`."""
    for code, swept in record.batches.items():
        batch = tape.batches.setdefault(code, _BatchTape(tape.minutes))
        count = swept.margin.size - skip
        onto = slice(at, at + count)
        for felt, values in swept.felt.items():
            batch.felt[felt][onto] = values[skip:]
        batch.margin[onto] = swept.margin[skip:]
        batch.standing[onto] = swept.standing[skip:]
        batch.limit[onto] = _places(batch, swept)[skip:]
        for name, total in swept.doses.items():
            kept = batch.doses.setdefault(name, np.full(tape.minutes, np.nan))
            kept[onto] = total[skip:]
        for band, of_batch in (
            (swept.reserve_pct, batch.reserve_pct),
            (swept.hours_to_critical, batch.hours_to_critical),
        ):
            if band is not None:
                of_batch[:, onto] = np.stack((band.low, band.central, band.high))[:, skip:]


def _places(batch: _BatchTape, swept: BatchRecord) -> NDArray[np.int16]:
    """Return the places of the swept limits in the tape's own list, which grows as needed."""
    for limit in swept.limits:
        if limit not in batch.limits:
            batch.limits = (*batch.limits, limit)
    own = np.array([*(batch.limits.index(limit) for limit in swept.limits), -1], dtype=np.int16)
    return own[swept.limit]


def _handed_out(batch: _BatchTape) -> BatchRecord:
    return BatchRecord(
        felt=dict(batch.felt),
        limits=batch.limits,
        margin=batch.margin,
        limit=batch.limit,
        standing=batch.standing,
        doses=dict(batch.doses),
        reserve_pct=_band_in(batch.reserve_pct),
        hours_to_critical=_band_in(batch.hours_to_critical),
    )


def _no_band(minutes: int) -> NDArray[np.float64]:
    return np.full((3, minutes), np.nan)


def _band_in(rows: NDArray[np.float64]) -> Band | None:
    """Return the band; None where nothing was reckoned in all the span."""
    if bool(np.all(np.isnan(rows[1]))):
        return None
    low, central, high = rows
    return Band(low, central, high)
