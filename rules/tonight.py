"""Tonight: air in the cover over the next twelve hours, told only where that beats saying "as now".

A forecast starts from the last quarter hour and adds how the same hours went on recent nights and
what the trend now differs from theirs. It is made anew for past evenings of the same batch, each
from what was known then, and set against persistence: the last value, carried on. Where it did not
win, nothing is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.cells import MICRO, narrowed
from rules.felt import felt_values, held_in
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.cells import CellBlock
    from rules.watchlist import BatchWatch

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

SLOT_MIN = 15
MOST_HOURS = 12
NIGHTS_BEHIND = 5
NIGHTS_SCORED = 5
RECORD_MIN = (NIGHTS_BEHIND + NIGHTS_SCORED) * 1440 + 300
"""How long a record is made use of: five nights to score, and five before the first of them."""
LEAST_BEHIND = 2
LEAST_SCORED = 3
LEAST_SKILL = 0.1
"""What a forecast is believed from. House rules, no source: three scored nights, with two before
each; errors a tenth smaller than those of persistence; won on three nights in four. Of values that
wander by chance alone, this shows 5 in 100 after three scored nights, 2 in 100 after five."""

ANOMALY_LASTS_H = 48.0
TREND_LASTS_H = 1.0
TREND_SHARE: Mapping[Felt, float] = {Felt.RELATIVE_HUMIDITY: 0.0, Felt.AIR_TEMPERATURE: 0.3}
"""How soon a batch comes back to its usual course, and how much of an odd trend goes on. House
rules, no source: chosen on made nights other than those that the benchmark scores. There the trend
of humidity told nothing."""

BOUNDS: Mapping[Felt, tuple[float, float]] = {
    Felt.RELATIVE_HUMIDITY: (0.0, 100.0),
    Felt.AIR_TEMPERATURE: (-np.inf, np.inf),
}
"""The quantities that are forecast, and the range that no forecast leaves."""

_A_DAY = 1440 // SLOT_MIN
_AN_HOUR = 60 // SLOT_MIN
_TREND_SLOTS = 2 * _AN_HOUR
_AROUND = 2 * _AN_HOUR  # a past evening is scored from two hours before this hour to two after
_LEAST_MINUTES = 5
_HOURS = np.arange(1, MOST_HOURS + 1, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Slots:
    """Means of quarter hours in a row, NaN where too little was seen; `end_minute` comes after."""

    end_minute: int
    means: Floats


@dataclass(frozen=True, slots=True)
class Score:
    """How forecasts so many hours ahead did on past evenings, in the quantity's unit.

    The errors are mean absolute ones over the same moments, NaN without any. `nights_won` are
    those on which the forecast's was the smaller.
    """

    hours: int
    nights: int
    nights_won: int
    forecast_error: float
    persistence_error: float

    @property
    def skill(self) -> float:
        """1 - forecast error / persistence error: 1 perfect, 0 no better; 0 where neither errs."""
        if not self.persistence_error > 0.0:
            return 0.0
        return 1.0 - self.forecast_error / self.persistence_error


@dataclass(frozen=True, slots=True)
class Expected:
    """What is likely at `minute`; about four in five of past forecasts fell within the band."""

    hours: int
    minute: int
    low: float
    central: float
    high: float
    score: Score


class Why(StrEnum):
    """Why a forecast is not shown."""

    NO_READING = "no_reading"
    TOO_FEW_NIGHTS = "too_few_nights"
    NO_BETTER = "no_better"


@dataclass(frozen=True, slots=True)
class NotShown:
    """Nothing is told of `minute`; `more_nights` says how many the record lacks."""

    hours: int
    minute: int
    reason: Why
    more_nights: int


Forecast = tuple[Expected | NotShown, ...]


@dataclass(frozen=True, slots=True)
class _Past:
    """Forecasts of past evenings: nights by moments by hours ahead; NaN where not to be scored."""

    off: Floats
    """What came, less what was forecast."""
    moved: Floats
    """What came, less what was then."""


def recent_slots(batch: BatchWatch, block: CellBlock, quantity: Felt) -> Slots:
    """Return what a batch felt in a block, from when the sensor that speaks at its end began to."""
    minute = block.first_minute + np.arange(len(block.means), dtype=np.int64)
    speaker = batch.span_at(block.first_minute + len(minute) - 1).speakers.get(quantity)
    # Of a large nursery's block only what speaks here: carrying on all of it takes a second.
    spoken = () if speaker is None else {source.channel for source in speaker.sources}
    held = held_in(narrowed(block, spoken), {})
    whole, there = felt_values(speaker, held, slice(0, len(minute)))
    if speaker is not None:
        there = there & (minute >= speaker.since_minute)
    return slots_of(block.first_minute, np.where(there, whole / np.float64(MICRO), np.nan))


def slots_of(first_minute: int, values: Floats) -> Slots:
    """Return the whole quarter hours of the UTC clock in a record of minutes, NaN where missing.

    A quarter hour of which fewer than five minutes were seen is missing.

    >>> slots_of(44, np.array([9.0] + [20.0] * 10 + [np.nan] * 20 + [7.0] * 3))
    Slots(end_minute=75, means=array([20., nan]))
    """
    skip = -first_minute % SLOT_MIN
    count = max(0, (len(values) - skip) // SLOT_MIN)
    table = values[skip : skip + count * SLOT_MIN].reshape(count, SLOT_MIN)
    seen = np.isfinite(table)
    enough = seen.sum(axis=1)
    total = np.where(seen, table, 0.0).sum(axis=1)
    means = np.where(enough >= _LEAST_MINUTES, total / np.maximum(enough, 1), np.nan)
    return Slots(first_minute + skip + count * SLOT_MIN, means)


def tonight(record: Slots, quantity: Felt) -> Forecast:
    """Return what to expect 1 to 12 hours after the record's end, or why not, hour by hour.

    KeyError for a quantity that is not forecast.
    """
    low, high = BOUNDS[quantity]
    means = _used(record)
    unread = not len(means) or bool(np.isnan(means[-1]))
    ahead = forecasts(record, quantity)
    past = _past(means, quantity)
    told: list[Expected | NotShown] = []
    for at, score in enumerate(_scores(past)):
        hours, central = score.hours, float(ahead[at])
        minute = record.end_minute + 60 * hours
        if unread:
            told.append(NotShown(hours, minute, Why.NO_READING, 0))
        elif score.nights < LEAST_SCORED or np.isnan(central):
            lacking = max(1, LEAST_SCORED - score.nights)
            told.append(NotShown(hours, minute, Why.TOO_FEW_NIGHTS, lacking))
        elif score.skill < LEAST_SKILL or 4 * score.nights_won < 3 * score.nights:
            told.append(NotShown(hours, minute, Why.NO_BETTER, 0))
        else:
            off = past.off[:, :, at]
            below, above = np.quantile(off[np.isfinite(off)], [0.05, 0.95]).tolist()
            band = np.clip([central + min(0.0, below), central + max(0.0, above)], low, high)
            told.append(Expected(hours, minute, float(band[0]), central, float(band[1]), score))
    return tuple(told)


def forecasts(record: Slots, quantity: Felt) -> Floats:
    """Return the central forecast for 1 to 12 hours after the record's end, scored or not.

    NaN where fewer than two nights were seen at both hours. KeyError as for `tonight`.
    """
    means = _used(record)
    made = _made_at(means, np.array([len(means) - 1], dtype=np.int64), quantity)
    return made.reshape(MOST_HOURS)


def scores(record: Slots, quantity: Felt) -> tuple[Score, ...]:
    """Return how forecasts for 1 to 12 hours did around this hour on the last five nights."""
    return _scores(_past(_used(record), quantity))


def lowest(
    forecast: Forecast, as_now: float, *, from_minute: int, until_minute: int
) -> Expected | None:
    """Return the lowest hour to be expected in a span of minutes, if that can be said.

    An hour that persistence foretells as well counts as it is now: None when such an hour would
    be the lowest. None too when the record is too thin for an hour, or no hour is shown.
    """
    within = [one for one in forecast if from_minute <= one.minute < until_minute]
    shown = [one for one in within if isinstance(one, Expected)]
    hidden = [one.reason for one in within if isinstance(one, NotShown)]
    found = min(shown, key=lambda one: one.central, default=None)
    if found is None or any(reason is not Why.NO_BETTER for reason in hidden):
        return None
    return None if hidden and found.central > as_now else found


def _used(record: Slots) -> Floats:
    return record.means[-(RECORD_MIN // SLOT_MIN) :]


def _made_at(means: Floats, at: Wholes, quantity: Felt) -> Floats:
    """Return forecasts made at slots, by hours ahead, each from slots up to its own alone."""
    nights = _A_DAY * np.arange(1, NIGHTS_BEHIND + 1, dtype=np.int64)
    now, earlier = _taken(means, at), _taken(means, at - _TREND_SLOTS)
    then = _taken(means, at[:, None] - nights)
    later = _taken(means, (at[:, None] + _AN_HOUR * _HOURS)[:, :, None] - nights)
    steps = later - then[:, None, :]
    course = _middle(steps)
    anomaly = now[:, None] - _middle(np.where(np.isnan(steps), np.nan, then[:, None, :]))
    before = _taken(means, at[:, None] - _TREND_SLOTS - nights)
    trend = ((now - earlier) - _middle(then - before)) * _AN_HOUR / _TREND_SLOTS
    # A trend that nobody saw adds nothing.
    trend = np.where(np.isnan(trend), 0.0, trend)[:, None]
    comes_back = 1.0 - np.exp(-_HOURS / ANOMALY_LASTS_H)
    goes_on_h = TREND_LASTS_H * (1.0 - np.exp(-_HOURS / TREND_LASTS_H))
    made = now[:, None] + course - comes_back * anomaly + TREND_SHARE[quantity] * goes_on_h * trend
    low, high = BOUNDS[quantity]
    return np.asarray(np.clip(made, low, high), dtype=np.float64)


def _past(means: Floats, quantity: Felt) -> _Past:
    back = _A_DAY * np.arange(NIGHTS_SCORED, 0, -1, dtype=np.int64)
    around = np.arange(-_AROUND, _AROUND + 1, dtype=np.int64)
    at = len(means) - 1 - back[:, None] + around
    made = _made_at(means, at.ravel(), quantity).reshape(*at.shape, MOST_HOURS)
    came = _taken(means, at[:, :, None] + _AN_HOUR * _HOURS)
    off = came - made
    moved = np.where(np.isnan(off), np.nan, came - _taken(means, at)[:, :, None])
    return _Past(off, moved)


def _scores(past: _Past) -> tuple[Score, ...]:
    told: list[Score] = []
    for at, hours in enumerate(_HOURS.tolist()):
        off, moved = np.abs(past.off[:, :, at]), np.abs(past.moved[:, :, at])
        seen = np.isfinite(off)
        # A night counts once half of its moments can be scored.
        counts = seen.sum(axis=1) > _AROUND
        seen &= counts[:, None]
        if not bool(seen.any()):
            told.append(Score(hours, 0, 0, np.nan, np.nan))
            continue
        won = np.where(seen, moved - off, 0.0).sum(axis=1) > 0.0
        nights = int(counts.sum())
        told.append(
            Score(hours, nights, int(won.sum()), float(off[seen].mean()), float(moved[seen].mean()))
        )
    return tuple(told)


def _taken(means: Floats, at: Wholes) -> Floats:
    """Return means at places, NaN before the first and after the last."""
    padded = np.append(means, np.nan)
    inside = (at >= 0) & (at < len(means))
    return np.asarray(padded[np.where(inside, at, len(means))], dtype=np.float64)


def _middle(values: Floats) -> Floats:
    """Return the median along the last axis over what is known, NaN where fewer than two are."""
    known = np.isfinite(values).sum(axis=-1)
    in_order = np.sort(values, axis=-1)  # what is not known comes last
    lower = np.maximum(known - 1, 0) // 2
    upper = np.minimum(known // 2, values.shape[-1] - 1)
    pair = np.stack((lower, upper), axis=-1)
    middle = np.take_along_axis(in_order, pair, axis=-1).mean(axis=-1)
    return np.where(known >= LEAST_BEHIND, middle, np.nan)
