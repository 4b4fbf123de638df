"""What a page shows of every batch now: standing, values with their age, limits with their room."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rules.belief import NO_SENSOR, Belief, belief_in
from rules.cells import MICRO
from rules.felt import age_min, felt_value
from rules.limits import QUIET, Bound, can_speak
from rules.model.alarm import Priority
from rules.model.event import Standing
from rules.model.quantities import Felt
from rules.reckoning import as_it_stands, film_is_open
from rules.standing import standing_of
from rules.state import NEW
from rules.sun import sun_is_up
from rules.surroundings import INPUTS, around_in_cell, felt_in_cell
from rules.trend import Trend, heads_out, minutes_until, trend_of
from rules.turnover import going_on
from rules.watchlist import can_make_drift

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.cover_watch import ExpectedPeak
    from rules.model.batch import Stage
    from rules.model.dose import DoseLimit
    from rules.model.plan import Limit
    from rules.reckoning import Reckoned, Reckoning
    from rules.reserve import Band
    from rules.speaking import Span
    from rules.state import BatchState, EvaluatorState
    from rules.trust import ChannelMemory
    from rules.trust_kit import QualityKit
    from rules.watchlist import BatchWatch, StageWatch, Watchlist


@dataclass(frozen=True, slots=True)
class FeltNow:
    """What a batch feels now, in the quantity's unit; `value` is None when missing or stale.

    `age_min` is the age of the sensor's last word, None if it never spoke here. `channel` is the
    one that speaks; for the vapour pressure deficit that of the humidity. Of what no sensor tells,
    and is reckoned, both are None. `belief` says why a value is missing, and what speaks against
    one that is there.
    """

    value: float | None
    age_min: int | None
    channel: str | None
    belief: Belief


@dataclass(frozen=True, slots=True)
class Judged:
    """A limit beside what is: `margin` 1 is wholly comfortable, 0 on the bound, below 0 beyond.

    `margin` is None without a value or while the limit is silent at this hour (`speaks`).
    `since_minute` and `beyond_min` tell the row of cells that leads, or led, to the condition.
    """

    limit: Limit
    value: float | None
    margin: float | None
    speaks: bool
    raised: bool
    since_minute: int | None
    beyond_min: int


@dataclass(frozen=True, slots=True)
class DoseNow:
    """A dose beside its bound: the sum since `since_minute`, in the unit of its kind.

    `unseen_min` minutes should have been added and were not known; `whole` is False if the sum
    began after its day did. None of it is known (`total` None) before the first judged cell.
    """

    dose: DoseLimit
    total: float | None
    raised: bool
    since_minute: int | None
    unseen_min: int
    whole: bool


@dataclass(frozen=True, slots=True)
class Likely:
    """A figure that is only likely, and the lowest and highest that the plan's ranges allow."""

    low: float
    central: float
    high: float


@dataclass(frozen=True, slots=True)
class DryingNow:
    """The scion's water: the reserve in %, and the hours it would last at the present pace.

    Reckoned since `since_minute`, as if the scion had been fresh then; `guessed_min` of these
    minutes were not seen. `hours` is None while the air is not known.
    """

    reserve_pct: Likely
    hours: Likely | None
    since_minute: int
    guessed_min: int


@dataclass(frozen=True, slots=True)
class BatchOutlook:
    """One batch now. `standing` is None for a batch in a stage without limits: unwatched.

    `blind_to` are the vital quantities that are missing; `heading` the limits that a trend will
    meet, with the minutes until then, soonest first. `drying` is None where the plan does not say
    how the scion dries and while nothing has spoken of it, `peak` where no heat under a cover is
    foreseen.
    """

    code: str
    stage: Stage | None
    standing: Standing | None
    felt: Mapping[Felt, FeltNow]
    judged: tuple[Judged, ...]
    blind_to: tuple[Felt, ...]
    heading: tuple[tuple[str, int], ...]
    doses: tuple[DoseNow, ...] = ()
    drying: DryingNow | None = None
    peak: ExpectedPeak | None = None

    def belief_in(self, felt: Felt) -> Belief:
        """Return how far a quantity can be trusted, also one that no sensor speaks for."""
        return self.felt[felt].belief if felt in self.felt else NO_SENSOR


def margin_of(bound: Bound, value: int) -> float:
    """Return the room to a bound as a share of its full margin, at most 1; below 0 beyond."""
    return min(1.0, bound.sign * (bound.at - value) / bound.full_margin)


def outlook(watchlist: Watchlist, state: EvaluatorState, minute: int) -> tuple[BatchOutlook, ...]:
    """Return every batch as it reads at `minute`, minutes since the epoch, UTC.

    At the last judged cell this is exactly what was judged. At a later minute conditions stand as
    last judged, but values go on ageing: once they are stale the batch reads blind, whether or
    not anyone has judged a cell since. ValueError for a minute before the last judged cell.
    """
    if state.minute is not None and minute < state.minute:
        msg = f"minute {minute} lies before the last judged cell, {state.minute}"
        raise ValueError(msg)
    sun_up = bool(sun_is_up(watchlist.place, np.array([minute], dtype=np.int64))[0])
    return tuple(
        _outlook(
            batch,
            state.batches.get(batch.code, NEW),
            minute,
            judged_at=state.minute,
            spoken=_Spoken(watchlist.quality, state.quality, state.latest),
            sun_up=sun_up,
        )
        for batch in watchlist.batches
    )


@dataclass(frozen=True, slots=True)
class _Spoken:
    """What the channels said, and what the quality tests know of them."""

    kit: QualityKit
    quality: Mapping[str, ChannelMemory]
    latest: Mapping[str, tuple[int, int]]


def _outlook(
    batch: BatchWatch,
    state: BatchState,
    minute: int,
    *,
    judged_at: int | None,
    spoken: _Spoken,
    sun_up: bool,
) -> BatchOutlook:
    span = batch.span_at(minute)
    latest = spoken.latest
    watch = batch.watch_in(span)
    values = {felt: felt_value(speaker, latest, minute) for felt, speaker in span.speakers.items()}
    felt_now = {
        felt: FeltNow(
            value=_shown(values[felt]),
            age_min=age_min(speaker, latest, minute),
            channel=speaker.sources[-1].channel,
            belief=belief_in(
                spoken.kit,
                spoken.quality,
                latest,
                speaker,
                minute=minute,
                there=values[felt] is not None,
            ),
        )
        for felt, speaker in span.speakers.items()
    }
    if watch is None:
        return BatchOutlook(batch.code, span.stage, None, felt_now, (), (), ())
    # A stage that began after the last judged cell has delayed nothing yet.
    carried = state
    if state.key != watch.key:
        carried = state.under(watch.key, going_on(batch, state.key, watch.key))
    kit = batch.kit_in(span)
    inputs = {felt: values.get(felt) for felt in INPUTS}
    around = around_in_cell(span, inputs, latest, minute)
    told = as_it_stands(kit, carried.reckoned, around, minute=minute, sun_up=sun_up)
    # What is reckoned is as doubtful as the air that it is reckoned from.
    air = felt_now.get(Felt.VAPOUR_PRESSURE_DEFICIT)
    doubt = replace(air.belief, missing=None) if air is not None else Belief(None)
    for felt, value in felt_in_cell(span, told).items():
        values[felt] = value
        if value is not None:
            felt_now[felt] = FeltNow(_shown(value), None, None, doubt)
    film_open = film_is_open(kit, minute)
    speaking = {
        bound: can_speak(bound, sun_up=sun_up, film_open=film_open) for bound in watch.bounds
    }
    trends = _trends(span, carried, judged_at)
    judged = tuple(
        _judged(limit, bound, values.get(limit.quantity), carried, minute, now=speaking[bound])
        for limit, bound in zip(watch.limits, watch.bounds, strict=True)
    )
    doses = tuple(_dose_now(watch, carried, place) for place in range(len(watch.doses)))
    heading = _heading(watch, trends, speaking)
    blind_to = tuple(felt for felt in watch.vital if values.get(felt) is None)
    high = Priority.HIGH
    standing = standing_of(
        in_danger=any(j.raised and j.limit.priority is high for j in judged)
        or any(one.raised and one.dose.priority is high for one in doses),
        blind=bool(blind_to),
        strained=any(
            j.since_minute is not None and not (j.raised and j.limit.priority is high)
            for j in judged
        )
        or any(one.raised for one in doses),
        drifting=bool(heading),
    )
    return BatchOutlook(
        code=batch.code,
        stage=span.stage,
        standing=standing,
        felt=felt_now,
        judged=judged,
        blind_to=blind_to,
        heading=heading,
        doses=doses,
        drying=_drying_now(carried.reckoned, told),
        peak=carried.reckoned.cover.peak if around.house_air is not None else None,
    )


def _dose_now(watch: StageWatch, carried: BatchState, place: int) -> DoseNow:
    dose, bound = watch.doses[place], watch.dose_bounds[place]
    state = carried.doses.get(dose.id)
    if state is None or state.key != bound.key:
        return DoseNow(dose, None, raised=False, since_minute=None, unseen_min=0, whole=False)
    return DoseNow(
        dose,
        bound.shown(state.total),
        raised=state.raised,
        since_minute=state.since_minute,
        unseen_min=state.unseen_min,
        whole=not state.begun_late,
    )


def _drying_now(reckoned: Reckoned, told: Reckoning) -> DryingNow | None:
    if reckoned.account is None or told.reserve_band is None or told.hours_band is None:
        return None
    return DryingNow(
        reserve_pct=_likely(told.reserve_band),
        hours=_likely(told.hours_band) if bool(told.hours[1][0]) else None,
        since_minute=reckoned.account_since,
        guessed_min=reckoned.account.guessed_min,
    )


def _likely(band: Band) -> Likely:
    return Likely(float(band.low[0]), float(band.central[0]), float(band.high[0]))


def _judged(
    limit: Limit,
    bound: Bound,
    value: int | None,
    carried: BatchState,
    minute: int,
    *,
    now: bool,
) -> Judged:
    row = carried.conditions.get(limit.id, QUIET)
    return Judged(
        limit=limit,
        value=_shown(value),
        margin=margin_of(bound, value) if now and value is not None else None,
        speaks=now,
        raised=row.raised,
        since_minute=row.since_minute,
        beyond_min=0 if row.since_minute is None else minute - row.since_minute + 1,
    )


def _trends(span: Span, carried: BatchState, judged_at: int | None) -> dict[Felt, Trend]:
    trends: dict[Felt, Trend] = {}
    for felt, ring in carried.rings.items():
        speaker = span.speakers.get(felt)
        if speaker is not None and judged_at is not None:
            trends[felt] = trend_of(ring, judged_at - speaker.since_minute + 1)
    return trends


def _heading(
    watch: StageWatch, trends: Mapping[Felt, Trend], spoken: Mapping[Bound, bool]
) -> tuple[tuple[str, int], ...]:
    heading: list[tuple[str, int]] = []
    for limit, bound in zip(watch.limits, watch.bounds, strict=True):
        trend = trends.get(limit.quantity)
        if trend is None or not can_make_drift(limit) or not spoken[bound]:
            continue
        if heads_out(bound, trend):
            heading.append((limit.id, minutes_until(bound, trend)))
    return tuple(sorted(heading, key=lambda pair: pair[1]))


def _shown(value: int | None) -> float | None:
    return None if value is None else value / MICRO
