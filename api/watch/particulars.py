"""What is known beside the value of an alarm in the cell that raises it; see the records' words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from api.records.particulars import NOTHING_BESIDE, Particulars
from rules.cover import light_to_stop, shade_before
from rules.cover_ahead import CoverAhead
from rules.evaluator import outlook
from rules.model.dose import DoseLimit
from rules.model.event import ConditionOpened
from rules.model.quantities import Felt
from rules.reckoning import ahead_under_cover
from rules.state import NEW
from rules.worsening import worsening

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rules.evaluator import BatchOutlook, EvaluatorState, Watchlist
    from rules.model.event import Event
    from rules.model.plan import Limit
    from rules.outlook import Likely
    from rules.speaking import Span
    from rules.watchlist import BatchWatch, StageWatch

_PER_C = 100.0


def particulars_of(
    watchlist: Watchlist,
    events: Iterable[Event],
    *,
    before: EvaluatorState,
    after: EvaluatorState,
) -> dict[ConditionOpened, Particulars]:
    """Return what was known when the cell between two states raised conditions, of each of them."""
    opened = [event for event in events if isinstance(event, ConditionOpened)]
    batches = {one.code: one for one in watchlist.batches}
    looks: dict[str, BatchOutlook] = {}
    known: dict[ConditionOpened, Particulars] = {}
    for event in opened:
        batch = batches.get(event.batch)
        watch = None if batch is None else batch.watch_in(batch.span_at(event.minute))
        asked = None if watch is None else _asked(watch, event.condition)
        if batch is None or asked is None:
            known[event] = NOTHING_BESIDE
            continue
        if batch.code not in looks:  # many limits of one batch may be broken in one cell
            (looks[batch.code],) = outlook(
                replace(watchlist, batches=(batch,)), after, event.minute
            )
        seen = looks[batch.code]
        if isinstance(asked, DoseLimit):
            beside = _of_sum(event, before=before, after=after)
            reckoned = _is_reckoned(asked.quantity, batch.span_at(event.minute))
            beside = replace(beside, reckoned=reckoned)
        else:
            beside = _of_limit(batch, asked, event, after, seen)
        known[event] = _with_pace(beside, batch, asked, event.minute, after, seen)
    return known


def _asked(watch: StageWatch, condition: str) -> Limit | DoseLimit | None:
    every: tuple[Limit | DoseLimit, ...] = (*watch.limits, *watch.doses)
    return next((one for one in every if one.id == condition), None)


def _with_pace(
    known: Particulars,
    batch: BatchWatch,
    asked: Limit | DoseLimit,
    minute: int,
    after: EvaluatorState,
    seen: BatchOutlook,
) -> Particulars:
    """Add how fast it gets worse."""
    pace = worsening(batch, asked, after.batches.get(batch.code, NEW), seen, minute=minute)
    hours = pace.hours
    return replace(
        known,
        change=pace.change,
        graver=pace.graver,
        graver_minute=pace.graver_minute,
        hours=None if hours is None else hours.central,
        hours_low=None if hours is None else hours.low,
        hours_high=None if hours is None else hours.high,
    )


def _of_sum(
    event: ConditionOpened, *, before: EvaluatorState, after: EvaluatorState
) -> Particulars:
    """Return what is known of a sum; a day's that was too small is judged on the next day."""
    for state in (after, before):
        dose = state.batches.get(event.batch, NEW).doses.get(event.condition)
        if dose is not None and dose.since_minute == event.since_minute:
            return Particulars(unseen_min=dose.unseen_min, begun_late=dose.begun_late)
    return NOTHING_BESIDE


def _of_limit(
    batch: BatchWatch,
    limit: Limit,
    event: ConditionOpened,
    after: EvaluatorState,
    seen: BatchOutlook,
) -> Particulars:
    span = batch.span_at(event.minute)
    known = Particulars(reckoned=_is_reckoned(limit.quantity, span))
    if limit.quantity is Felt.EXPECTED_PEAK:
        return _of_peak(batch, limit.bound, event.minute, after, known)
    if limit.quantity in {Felt.RESERVE, Felt.HOURS_TO_CRITICAL} and seen.drying is not None:
        of_reserve = limit.quantity is Felt.RESERVE
        likely = seen.drying.reserve_pct if of_reserve else seen.drying.hours
        return _with_band(known, likely)
    return known


def _of_peak(
    batch: BatchWatch, bound_c: float, minute: int, after: EvaluatorState, known: Particulars
) -> Particulars:
    reckoned = after.batches[batch.code].reckoned
    peak = reckoned.cover.peak
    if peak is None:
        return known
    known = replace(known, low=peak.low / _PER_C, high=peak.high / _PER_C, at_minute=peak.at_minute)
    ahead = ahead_under_cover(batch.kit_in(batch.span_at(minute)), reckoned, minute)
    if not isinstance(ahead, CoverAhead):
        return known
    stop = light_to_stop(ahead.fit, ahead.course, bound_c)
    return replace(
        known,
        shade_by_minute=shade_before(ahead.course, bound_c),
        stop_share=stop,
        no_shade_helps=stop is None,
    )


def _with_band(known: Particulars, likely: Likely | None) -> Particulars:
    return known if likely is None else replace(known, low=likely.low, high=likely.high)


def _is_reckoned(felt: Felt, span: Span) -> bool:
    """Whether no sensor tells it; what hangs on the leaf's temperature is told if that is."""
    if felt in {Felt.LEAF_TEMPERATURE, Felt.LEAF_DEFICIT}:
        return Felt.LEAF_TEMPERATURE not in span.speakers
    return felt in {Felt.RESERVE, Felt.HOURS_TO_CRITICAL, Felt.EXPECTED_PEAK}
