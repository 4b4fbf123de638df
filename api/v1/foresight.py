"""What lies ahead of a batch: its scion's water until sunrise, the heat under its cover."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.cover import light_to_stop, shade_before
from rules.cover_ahead import CoverAhead
from rules.model.plan import Side, When
from rules.model.quantities import Felt
from rules.reckoning import ahead_under_cover
from rules.reserve import through_last_hours
from rules.state import NEW
from rules.sun import dark_spans

if TYPE_CHECKING:
    from api.v1.sight import Present
    from rules.cover import TooThin
    from rules.evaluator import Watchlist
    from rules.model.plan import Limit
    from rules.reserve import Ahead
    from rules.watchlist import BatchWatch

A_DAY_MIN = 1440
HEAT = frozenset({Felt.AIR_TEMPERATURE, Felt.EXPECTED_PEAK})
"""The quantities whose high limits a forecast of the air under a cover can be held against."""


@dataclass(frozen=True, slots=True)
class WaterAhead:
    """What the time until the next sunrise would do to a scion, if it dries as a day ago.

    `told` is None while an hour of it was never seen whole, or nothing was seen at all. Where there
    is no night, a whole day is looked ahead (`until_sunrise` False).
    """

    until_minute: int
    until_sunrise: bool
    told: Ahead | None


@dataclass(frozen=True, slots=True)
class Shading:
    """One limit beside the air to expect under a cover.

    `before` is the minute by which shade must be up, None where the band stays inside. `stop` is
    which share more of the light must be stopped to keep the likely course at the bound: 0 where
    it is, None where no shade does.
    """

    limit: Limit
    before: int | None
    stop: float | None


@dataclass(frozen=True, slots=True)
class CoverHeat:
    """What is to be expected under a cover in the day after `minute`.

    `told` is what the record tells, or how much more it needs; None while the house's air is not
    known for long enough. `probe` and `house` say whether a sensor tells the air inside and out.
    """

    minute: int
    probe: bool
    house: bool
    told: CoverAhead | TooThin | None
    shadings: tuple[Shading, ...]


def water_ahead(watchlist: Watchlist, present: Present, code: str) -> WaterAhead | None:
    """Return what the night ahead would do; None where the scion's water is not reckoned."""
    batch = watched(watchlist, code)
    if batch is None or present.state is None or present.state.minute is None:
        return None
    minute = present.state.minute
    figures = batch.kit_in(batch.span_at(minute)).figures
    account = present.state.batches.get(code, NEW).reckoned.account
    if figures is None or account is None:
        return None
    dark = dark_spans(watchlist.place, minute + 1, A_DAY_MIN)
    sunrise = dark[0][1] if dark else minute + A_DAY_MIN
    until = min(sunrise, minute + A_DAY_MIN)
    seen = present.outlooks.get(code)
    told = None
    if seen is not None and seen.drying is not None:
        told = through_last_hours(figures, account, minute, until_minute=until)
    return WaterAhead(until, until_sunrise=bool(dark), told=told)


def cover_heat(watchlist: Watchlist, present: Present, code: str) -> CoverHeat | None:
    """Return what to expect under a batch's cover; None without one, or where nobody watches."""
    batch = watched(watchlist, code)
    if batch is None or present.state is None or present.state.minute is None:
        return None
    minute = present.state.minute
    span = batch.span_at(minute)
    watch = batch.watch_in(span)
    if watch is None or not span.covered:
        return None
    probe, house = Felt.AIR_TEMPERATURE in span.speakers, span.house_air is not None
    told = None
    if probe and house:
        reckoned = present.state.batches.get(code, NEW).reckoned
        told = ahead_under_cover(batch.kit_in(span), reckoned, minute)
    shadings: tuple[Shading, ...] = ()
    if isinstance(told, CoverAhead):
        shadings = tuple(
            Shading(
                limit,
                shade_before(told.course, limit.bound),
                light_to_stop(told.fit, told.course, limit.bound),
            )
            for limit in _heat_limits(watch.limits)
        )
    return CoverHeat(minute, probe, house, told, shadings)


def _heat_limits(limits: tuple[Limit, ...]) -> list[Limit]:
    """Return one limit for each bound on heat, the coolest first; the first to name it speaks."""
    by_bound: dict[float, Limit] = {}
    for limit in limits:
        if limit.quantity in HEAT and limit.side is Side.HIGH and limit.when is not When.NIGHT:
            by_bound.setdefault(limit.bound, limit)
    return [by_bound[bound] for bound in sorted(by_bound)]


def watched(watchlist: Watchlist, code: str) -> BatchWatch | None:
    """Return a batch of the watchlist by its code."""
    return next((batch for batch in watchlist.batches if batch.code == code), None)
