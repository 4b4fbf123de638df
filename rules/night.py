"""A night of one batch: what may go wrong in it, and afterwards what did.

What may happen is told only of what is known: where nothing is foretold, that is a word of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.limits import speaks_each
from rules.model.event import Standing
from rules.model.plan import FilmState, Side
from rules.model.quantities import Felt
from rules.standing import BY_SEVERITY, UNWATCHED, standing_at
from rules.tonight import Expected, NotShown, Why

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rules.model.plan import Limit
    from rules.record import BatchRecord
    from rules.tonight import Forecast

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Worry(StrEnum):
    """What may make a batch need someone before the next morning is over, the gravest first."""

    ALARM = "alarm"
    BLIND = "blind"
    WATER = "water"
    DRY = "dry"
    HEAT = "heat"
    NOT_FORETOLD = "not_foretold"


@dataclass(frozen=True, slots=True)
class HoursBeyond:
    """How many of the hours to come are expected beyond a bound: likely, and at the band's edge."""

    likely: int
    most: int


@dataclass(frozen=True, slots=True)
class Extreme:
    """The highest or lowest value of a night, in the quantity's unit, and its minute."""

    value: float
    minute: int


@dataclass(frozen=True, slots=True)
class Beyond:
    """For how many minutes of a night a batch was beyond a limit that spoke."""

    limit: Limit
    minutes: int


@dataclass(frozen=True, slots=True)
class NightPast:
    """What a night was to one batch.

    `worst` is None where no minute was judged. Minutes in which a vital quantity was missing are
    `blind_min`; `unjudged_min` are those that nobody judged. `extremes` are by quantity the lowest
    and the highest, of what was seen. `beyond` is in the order of the plan.
    """

    worst: Standing | None
    blind_min: int
    unjudged_min: int
    beyond: tuple[Beyond, ...]
    lowest_humidity: Extreme | None
    coolest: Extreme | None
    warmest: Extreme | None


def warmest(
    forecast: Forecast, as_now: float, *, from_minute: int, until_minute: int
) -> Expected | None:
    """Return the highest hour to be expected in a span of minutes, if that can be said.

    The mirror of `rules.tonight.lowest`, and as careful.
    """
    within = [one for one in forecast if from_minute <= one.minute < until_minute]
    shown = [one for one in within if isinstance(one, Expected)]
    hidden = [one.reason for one in within if isinstance(one, NotShown)]
    found = max(shown, key=lambda one: one.central, default=None)
    if found is None or any(reason is not Why.NO_BETTER for reason in hidden):
        return None
    return None if hidden and found.central < as_now else found


def hours_below(
    forecast: Forecast, bound: float, as_now: float, *, from_minute: int, until_minute: int
) -> HoursBeyond | None:
    """Return how many hours of a span are expected below a bound; None where that can't be told.

    An hour for which persistence does as well counts as it is now.
    """
    likely = most = 0
    within = [one for one in forecast if from_minute <= one.minute < until_minute]
    if not within or not any(isinstance(one, Expected) for one in within):
        return None
    for one in within:
        if isinstance(one, Expected):
            likely += one.central < bound
            most += one.low < bound
        elif one.reason is Why.NO_BETTER:
            likely += as_now < bound
            most += as_now < bound
        else:
            return None
    return HoursBeyond(likely, most)


def why_not(forecast: Forecast, *, from_minute: int, until_minute: int) -> NotShown | None:
    """Return why nothing is told of a span: what the record lacks most; None if all is told."""
    order = (Why.NO_READING, Why.TOO_FEW_NIGHTS, Why.NO_BETTER)
    hidden = [
        one
        for one in forecast
        if isinstance(one, NotShown) and from_minute <= one.minute < until_minute
    ]
    return min(hidden, key=lambda one: (order.index(one.reason), -one.more_nights), default=None)


def worries(
    *,
    alarm: bool,
    blind: bool,
    water_ends: bool | None,
    dry: HoursBeyond | None,
    needs_shade: bool | None,
    covered: bool,
) -> tuple[Worry, ...]:
    """Return what may make a batch need someone, the gravest first.

    `water_ends`: whether by the careful end of its band the water ends before sunrise, None: not
    reckoned. `needs_shade`: whether the warm edge of tomorrow's heat meets a bound, None: not told.
    A covered batch of which neither dry hours nor the water is known is not foretold.
    """
    found = [
        *((Worry.ALARM,) if alarm else ()),
        *((Worry.BLIND,) if blind else ()),
        *((Worry.WATER,) if water_ends else ()),
        *((Worry.DRY,) if dry is not None and dry.most > 0 else ()),
        *((Worry.HEAT,) if needs_shade else ()),
    ]
    if not found and covered and dry is None and water_ends is None:
        found.append(Worry.NOT_FORETOLD)
    return tuple(found)


def night_past(
    record: BatchRecord, first_minute: int, *, sun_up: Flags, film_open: Flags
) -> NightPast:
    """Return what a night was, from its record; the arrays run over its minutes alike."""
    standing = record.standing
    judged = standing[standing != UNWATCHED]
    blind = BY_SEVERITY.index(Standing.BLIND)
    beyond: list[Beyond] = []
    for limit in record.limits:
        values = record.felt[limit.quantity]
        speaking = speaks_each(limit.when, sun_up)
        if limit.film is FilmState.OPEN:
            speaking = speaking & film_open
        over = values > limit.bound if limit.side is Side.HIGH else values < limit.bound
        minutes = int((over & speaking & (standing != UNWATCHED)).sum())
        if minutes:
            beyond.append(Beyond(limit, minutes))
    humidity = record.felt[Felt.RELATIVE_HUMIDITY]
    air = record.felt[Felt.AIR_TEMPERATURE]
    return NightPast(
        worst=standing_at(int(judged.max())) if judged.size else None,
        blind_min=int((standing == blind).sum()),
        unjudged_min=int((standing == UNWATCHED).sum()),
        beyond=tuple(beyond),
        lowest_humidity=_extreme(humidity, first_minute, highest=False),
        coolest=_extreme(air, first_minute, highest=False),
        warmest=_extreme(air, first_minute, highest=True),
    )


def mean_error(pairs: Sequence[tuple[float, float]]) -> float | None:
    """Return the mean distance between what was told and what came; None without any.

    >>> mean_error([(90.0, 88.0), (80.0, 84.0)])
    3.0
    """
    if not pairs:
        return None
    return sum(abs(told - came) for told, came in pairs) / len(pairs)


def _extreme(values: Floats, first_minute: int, *, highest: bool) -> Extreme | None:
    if not bool(np.isfinite(values).any()):
        return None
    at = int(np.nanargmax(values) if highest else np.nanargmin(values))
    return Extreme(float(values[at]), first_minute + at)
