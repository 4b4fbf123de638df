"""What is known beside the value of an alarm in the cell that raises it; see the records' words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from api.records.particulars import NOTHING_BESIDE, Particulars
from rules.cover import light_to_stop, shade_before
from rules.cover_ahead import CoverAhead
from rules.evaluator import outlook
from rules.model.quantities import Felt
from rules.reckoning import ahead_under_cover
from rules.state import NEW

if TYPE_CHECKING:
    from rules.evaluator import EvaluatorState, Watchlist
    from rules.model.event import ConditionOpened
    from rules.model.plan import Limit
    from rules.outlook import Likely
    from rules.speaking import Span
    from rules.watchlist import BatchWatch

_PER_C = 100.0


def particulars_of(
    watchlist: Watchlist, event: ConditionOpened, *, before: EvaluatorState, after: EvaluatorState
) -> Particulars:
    """Return what was known when the cell between two states raised a condition."""
    batch = next((one for one in watchlist.batches if one.code == event.batch), None)
    if batch is None:
        return NOTHING_BESIDE
    span = batch.span_at(event.minute)
    watch = batch.watch_in(span)
    if watch is None:
        return NOTHING_BESIDE
    for dose in watch.doses:
        if dose.id == event.condition:
            known = _of_sum(event, before=before, after=after)
            return replace(known, reckoned=_is_reckoned(dose.quantity, span))
    for limit in watch.limits:
        if limit.id == event.condition:
            return _of_limit(watchlist, batch, limit, event, after)
    return NOTHING_BESIDE


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
    watchlist: Watchlist,
    batch: BatchWatch,
    limit: Limit,
    event: ConditionOpened,
    after: EvaluatorState,
) -> Particulars:
    span = batch.span_at(event.minute)
    known = Particulars(reckoned=_is_reckoned(limit.quantity, span))
    if limit.quantity is Felt.EXPECTED_PEAK:
        return _of_peak(batch, limit.bound, event.minute, after, known)
    if limit.quantity in {Felt.RESERVE, Felt.HOURS_TO_CRITICAL}:
        (seen,) = outlook(replace(watchlist, batches=(batch,)), after, event.minute)
        if seen.drying is not None:
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
