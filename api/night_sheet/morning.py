"""Gathers the morning's sheet: what the night was, what had been foretold, where to go first."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.day import instant_of
from api.night_sheet.around import around, in_care
from api.night_sheet.evening import action_for, limit_on_dryness
from api.night_sheet.sheet import BatchPast, Held, MorningSheet
from api.records.alarms import alarm_history
from api.records.session import reading
from api.records.sheets import last_sheet
from api.records.tables import as_ms
from api.v1.foresight import watched
from rules.evaluator import BatchRecord
from rules.local_time import local_day
from rules.model.alarm import Priority
from rules.model.event import Standing
from rules.model.quantities import Felt
from rules.model.reading import minute_of
from rules.night import Worry, mean_error, night_past
from rules.reserve import Band
from rules.standing import BY_SEVERITY
from rules.sun import dark_spans, sun_is_up

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from api.parts import Parts
    from api.records.alarms import AlarmRecord
    from api.records.sheets import Foretold
    from api.v1.sight import Present, Sight, SpanRecord
    from rules.model.batch import Batch
    from rules.model.place import Place
    from rules.model.plan import Limit

A_DAY_MIN = 1440
LONGEST_MIN = 1080
DUTY_AHEAD = timedelta(hours=12)
MOST_ALARMS = 500
BEFORE_DARK_MIN = 60


def morning_sheet(parts: Parts, sight: Sight) -> MorningSheet:
    """Return the sheet of the night that is over, or nearly."""
    present = sight.present()
    at = present.at
    with reading(parts.records) as db:
        evening = last_sheet(db, "evening", before=at)
        history = alarm_history(db, most=MOST_ALARMS)
    first, end = night_before(minute_of(as_ms(at)), parts.site.site)
    seen = sight.span(first, end - first)
    foretold: tuple[Foretold, ...] = ()
    if evening is not None and at - evening.due_at <= timedelta(minutes=A_DAY_MIN):
        foretold = evening.foretold
    batches = tuple(
        _batch(parts, batch, present, seen, foretold=foretold) for batch in in_care(parts.site, at)
    )
    start = instant_of(first)
    alarms = tuple(one for one in history if one.ended_at is None or one.ended_at >= start)
    return MorningSheet(
        at=at,
        day=local_day(at, parts.site.site),
        first=first,
        end=end,
        batches=batches,
        alarms=tuple(sorted(alarms, key=_urgency)),
        errors=_errors(batches),
        do_first=tuple(_first(batches, present)),
        around=around(parts, present, until=at + DUTY_AHEAD),
    )


def night_before(minute: int, place: Place) -> tuple[int, int]:
    """Return the night that ended last, or still lasts, from an hour before dark until `minute`.

    Where there is no night, the last half day; never more than eighteen hours.
    """
    dark = dark_spans(place, minute - A_DAY_MIN, A_DAY_MIN)
    if not dark:
        return minute - A_DAY_MIN // 2, minute
    return max(minute - LONGEST_MIN, dark[-1][0] - BEFORE_DARK_MIN), minute


def _batch(
    parts: Parts,
    batch: Batch,
    present: Present,
    span: SpanRecord,
    *,
    foretold: Sequence[Foretold],
) -> BatchPast:
    at = present.at
    seen = present.outlooks.get(batch.code)
    record = span.batches.get(batch.code)
    grid = np.arange(span.first_minute, span.first_minute + span.minutes, dtype=np.int64)
    limit = limit_on_dryness(seen)
    past = None
    dry_min: int | None = None
    if record is not None:
        record = _in(record, slice(0, max(0, span.judged_to - span.first_minute)))
        grid = grid[: record.standing.size]
    if record is not None and grid.size:
        sun_up = sun_is_up(parts.site.site, grid)
        past = night_past(
            record, span.first_minute, sun_up=sun_up, film_open=_film_open(parts, batch, grid)
        )
        humidity = record.felt[Felt.RELATIVE_HUMIDITY]
        if limit is not None and bool(np.isfinite(humidity).any()):
            dry_min = int((humidity < limit.bound).sum())
    return BatchPast(
        batch=batch,
        stage=batch.stage_at(at),
        day=(local_day(at, parts.site.site) - batch.grafted_on).days,
        covered=batch.covered_at(at),
        standing=None if seen is None else seen.standing,
        past=past,
        dry_limit=limit,
        dry_min=dry_min,
        held=tuple(_held(batch, record, grid, foretold)),
    )


def _held(
    batch: Batch,
    record: BatchRecord | None,
    grid: NDArray[np.int64],
    foretold: Sequence[Foretold],
) -> list[Held]:
    """Return what was foretold beside what came in the same quarter hour."""
    found: list[Held] = []
    for told in foretold:
        if told.batch != batch.code:
            continue
        came = np.nan
        if record is not None and grid.size:
            values = record.felt[Felt(told.quantity)]
            within = (grid >= told.minute - 15) & (grid < told.minute)
            there = values[within & np.isfinite(values)]
            came = float(there.mean()) if there.size else np.nan
        found.append(Held(told, came))
    return found


def _errors(batches: Sequence[BatchPast]) -> Mapping[Felt, tuple[float, float, int]]:
    errors: dict[Felt, tuple[float, float, int]] = {}
    for felt in (Felt.RELATIVE_HUMIDITY, Felt.AIR_TEMPERATURE):
        came = [
            one
            for batch in batches
            for one in batch.held
            if one.told.quantity == felt.value and np.isfinite(one.came)
        ]
        forecast = mean_error([(one.told.central, one.came) for one in came])
        as_now = mean_error([(one.told.as_now, one.came) for one in came])
        if forecast is not None and as_now is not None:
            errors[felt] = (forecast, as_now, len(came))
    return errors


def _first(batches: Sequence[BatchPast], present: Present) -> list[tuple[Batch, Limit | None]]:
    """Return the batches to go to: worst now, then worst in the night; steady ones stay out."""

    def rank(one: BatchPast) -> tuple[int, int, int]:
        now = -1 if one.standing is None else BY_SEVERITY.index(one.standing)
        worst = (
            -1 if one.past is None or one.past.worst is None else BY_SEVERITY.index(one.past.worst)
        )
        beyond = 0 if one.past is None else sum(each.minutes for each in one.past.beyond)
        return now, worst, beyond

    strained = BY_SEVERITY.index(Standing.STRAINED)
    found = [one for one in batches if max(rank(one)[:2]) >= strained]
    chosen: list[tuple[Batch, Limit | None]] = []
    for one in sorted(found, key=rank, reverse=True):
        seen = present.outlooks.get(one.batch.code)
        limit = action_for(Worry.ALARM, seen)
        worst = one.past.beyond if one.past is not None else ()
        if limit is None and one.standing is not Standing.BLIND and worst:
            limit = max(worst, key=lambda each: each.minutes).limit
        chosen.append((one.batch, limit))
    return chosen


def _film_open(parts: Parts, batch: Batch, grid: NDArray[np.int64]) -> NDArray[np.bool_]:
    watch = watched(parts.watchlist, batch.code)
    if watch is None:
        return np.zeros(grid.size, dtype=np.bool_)
    return watch.kit_in(watch.span_at(int(grid[0]))).film_open(grid)


def _in(record: BatchRecord, part: slice) -> BatchRecord:
    """Return a part of a record: what had been judged when the sheet was made."""
    return BatchRecord(
        felt={felt: values[part] for felt, values in record.felt.items()},
        limits=record.limits,
        margin=record.margin[part],
        limit=record.limit[part],
        standing=record.standing[part],
        doses={name: values[part] for name, values in record.doses.items()},
        reserve_pct=_band_in(record.reserve_pct, part),
        hours_to_critical=_band_in(record.hours_to_critical, part),
    )


def _band_in(band: Band | None, part: slice) -> Band | None:
    return None if band is None else Band(band.low[part], band.central[part], band.high[part])


def _urgency(one: AlarmRecord) -> tuple[int, datetime]:
    return list(Priority).index(one.priority), one.opened_at
