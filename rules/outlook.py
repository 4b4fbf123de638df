"""What a page shows of every batch now: standing, values with their age, limits with their room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rules.belief import NO_SENSOR, Belief, belief_in
from rules.cells import MICRO
from rules.felt import age_min, felt_value
from rules.limits import QUIET, Bound, speaks
from rules.model.alarm import Priority
from rules.model.event import Standing
from rules.model.quantities import Felt
from rules.standing import standing_of
from rules.state import NEW
from rules.sun import sun_is_up
from rules.trend import Trend, heads_out, minutes_until, trend_of
from rules.watchlist import can_make_drift

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.model.batch import Stage
    from rules.model.plan import Limit
    from rules.speaking import Span
    from rules.state import BatchState, EvaluatorState
    from rules.trust import ChannelMemory
    from rules.trust_kit import QualityKit
    from rules.watchlist import BatchWatch, StageWatch, Watchlist


@dataclass(frozen=True, slots=True)
class FeltNow:
    """What a batch feels now, in the quantity's unit; `value` is None when missing or stale.

    `age_min` is the age of the sensor's last word, None if it never spoke here. `channel` is the
    one that speaks; for the vapour pressure deficit that of the humidity. `belief` says why a value
    is missing, and what speaks against one that is there.
    """

    value: float | None
    age_min: int | None
    channel: str
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
class BatchOutlook:
    """One batch now. `standing` is None for a batch in a stage without limits: unwatched.

    `blind_to` are the vital quantities that are missing; `heading` the limits that a trend will
    meet, with the minutes until then, soonest first.
    """

    code: str
    stage: Stage | None
    standing: Standing | None
    felt: Mapping[Felt, FeltNow]
    judged: tuple[Judged, ...]
    blind_to: tuple[Felt, ...]
    heading: tuple[tuple[str, int], ...]

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
    # A stage that began after the last judged cell has carried nothing yet.
    carried = state if state.key == watch.key else NEW
    trends = _trends(span, carried, judged_at)
    judged = tuple(
        _judged(limit, bound, values.get(limit.quantity), carried, minute, sun_up=sun_up)
        for limit, bound in zip(watch.limits, watch.bounds, strict=True)
    )
    heading = _heading(watch, trends, sun_up=sun_up)
    blind_to = tuple(felt for felt in watch.vital if values.get(felt) is None)
    standing = standing_of(
        in_danger=any(j.raised and j.limit.priority is Priority.HIGH for j in judged),
        blind=bool(blind_to),
        strained=any(
            j.since_minute is not None and not (j.raised and j.limit.priority is Priority.HIGH)
            for j in judged
        ),
        drifting=bool(heading),
    )
    return BatchOutlook(batch.code, span.stage, standing, felt_now, judged, blind_to, heading)


def _judged(
    limit: Limit,
    bound: Bound,
    value: int | None,
    carried: BatchState,
    minute: int,
    *,
    sun_up: bool,
) -> Judged:
    row = carried.conditions.get(limit.id, QUIET)
    now = speaks(bound.when, sun_up=sun_up)
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
    watch: StageWatch, trends: Mapping[Felt, Trend], *, sun_up: bool
) -> tuple[tuple[str, int], ...]:
    heading: list[tuple[str, int]] = []
    for limit, bound in zip(watch.limits, watch.bounds, strict=True):
        trend = trends.get(limit.quantity)
        if trend is None or not can_make_drift(limit) or not speaks(bound.when, sun_up=sun_up):
            continue
        if heads_out(bound, trend):
            heading.append((limit.id, minutes_until(bound, trend)))
    return tuple(sorted(heading, key=lambda pair: pair[1]))


def _shown(value: int | None) -> float | None:
    return None if value is None else value / MICRO
