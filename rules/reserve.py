"""What an account of lost water means: the reserve, the hours left, tonight, and what people see.

The reserve is what a scion can still lose before it is past saving, as a share of what it could
lose when fresh. Every answer is a band round the likely value; it always holds that value.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.drying import FRESH, HOURS, Account, Spending, Surroundings, spend, uptake_ng
from rules.model.batch import Seen
from rules.scion import CENTRAL, FAST, SLOW

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rules.scion import DryingFigures, Three

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

MOST_HOURS = 1000.0
"""No end in sight: a longer time is not told apart."""


@dataclass(frozen=True, slots=True)
class Band:
    """The likely value of each minute with the lowest and highest that the ranges allow."""

    low: Floats
    central: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Ahead:
    """What a stretch of time to come would do to the scion.

    The minutes at which the reserve ends, soonest, likely and latest, None where it lasts; and the
    reserve at the end of the stretch, in %.
    """

    until_minute: int
    soonest: int | None
    likely: int | None
    latest: int | None
    reserve_pct: Band


class Effect(Enum):
    """What something seen or done changes in the account of a scion's water."""

    NOTHING = "nothing"
    BEGINS = "begins"
    DROOPED = "drooped"
    OPENS_FILM = "opens_film"
    CLOSES_FILM = "closes_film"


EFFECTS: Mapping[Seen, Effect] = MappingProxyType(
    dict.fromkeys(Seen, Effect.NOTHING)
    | {
        Seen.GRAFTED: Effect.BEGINS,
        Seen.DROOP: Effect.DROOPED,
        Seen.FILM_SPLIT: Effect.OPENS_FILM,
        Seen.FILM_OFF: Effect.OPENS_FILM,
        Seen.REWRAPPED: Effect.CLOSES_FILM,
    }
)
"""House rules. Misting, retying and watering give no credit: damper air is in the readings already,
a wet leaf is not a full one, and the stock's gift is counted as it grows. Droop is the plant's own
word: the account is brought to where leaves lose their stiffness, if it stood higher."""


def reserve_pct(figures: DryingFigures, spent_ng: Wholes) -> Band:
    """Return the reserve after each minute, 0 to 100 %, from three rows of spent water."""
    spendable = np.array(figures.spendable_ng, dtype=np.float64)[:, None]
    left = 100.0 * (1.0 - spent_ng / spendable)
    return _banded(np.clip(left, 0.0, 100.0))


def hours_to_critical(figures: DryingFigures, spending: Spending) -> Band:
    """Return how many hours each minute's own pace would leave, 0 to MOST_HOURS."""
    left = np.array(figures.spendable_ng, dtype=np.int64)[:, None] - spending.spent_ng
    pace = spending.lost_ng - spending.uptake_ng
    hours = np.maximum(left, 0) / (60.0 * np.maximum(pace, 1))
    lasting = np.where(pace > 0, np.minimum(hours, MOST_HOURS), MOST_HOURS)
    return _banded(np.where(left > 0, lasting, 0.0))


def through(figures: DryingFigures, account: Account, course: Surroundings) -> Ahead:
    """Return what a forecast course of surroundings, minute by minute, would do."""
    spending = spend(figures, account, course)
    limits = np.array(figures.spendable_ng, dtype=np.int64)[:, None]
    ended: Flags = spending.spent_ng >= limits
    ends = [int(course.minute[np.argmax(row)]) if bool(row.any()) else None for row in ended]
    return _ahead(figures, spending.account.spent_ng, ends, int(course.minute[-1]))


def through_last_hours(
    figures: DryingFigures, account: Account, minute: int, *, until_minute: int
) -> Ahead | None:
    """Return what the time to come would do if it dried as the same hours of last time did.

    `minute` is the account's last; `until_minute` at most a day later, else ValueError. The rest of
    the present hour goes on as it began. None while an hour needed was never seen whole.
    """
    if not minute < until_minute <= minute + HOURS * 60:
        msg = "until_minute: must lie within the day after the account's last minute"
        raise ValueError(msg)
    spent = np.array(account.spent_ng, dtype=np.float64)
    limits = np.array(figures.spendable_ng, dtype=np.float64)
    ends: list[int | None] = [None if spent[row] < limits[row] else minute for row in range(3)]
    begin = minute + 1
    while begin <= until_minute:
        end = min((begin // 60 + 1) * 60, until_minute + 1)
        lost = account.by_hour[begin // 60 % HOURS]
        if lost is None:
            return None
        same_hour = begin // 60 % HOURS == (minute + 1) // 60 % HOURS
        seen_min = (minute + 1) % 60 or 60 if same_hour else 60
        given = uptake_ng(figures, np.array([begin], dtype=np.int64))[:, 0]
        pace = np.array(lost, dtype=np.float64) / seen_min - given
        after = np.maximum(spent + pace * (end - begin), 0.0)
        for row in range(3):
            if ends[row] is None and bool(after[row] >= limits[row]):
                ends[row] = begin + int((limits[row] - spent[row]) // pace[row])
        spent, begin = after, end
    whole = np.rint(spent).astype(np.int64)
    last: Three = (int(whole[SLOW]), int(whole[CENTRAL]), int(whole[FAST]))
    return _ahead(figures, last, ends, until_minute)


def observed(figures: DryingFigures, account: Account, seen: Seen) -> Account:
    """Return the account after something seen or done at the bench, by EFFECTS."""
    match EFFECTS[seen]:
        case Effect.BEGINS:
            return FRESH
        case Effect.DROOPED:
            slow, central, fast = account.spent_ng
            least = figures.droop_ng
            brought = (max(slow, least[0]), max(central, least[1]), max(fast, least[2]))
            return replace(account, spent_ng=brought)
        case Effect.NOTHING | Effect.OPENS_FILM | Effect.CLOSES_FILM:
            return account


def film_open_in(seen: Sequence[tuple[int, Seen]], minutes: Wholes, *, wrapped: bool) -> Flags:
    """Return for each minute whether the stick stands bare, from what was seen at which minute.

    `wrapped` says whether it was wrapped in film at grafting.
    """
    at: list[int] = []
    opens: list[bool] = [not wrapped]
    if not seen:
        return np.full(len(minutes), not wrapped)
    for minute, what in sorted(seen, key=lambda one: one[0]):
        if EFFECTS[what] in {Effect.OPENS_FILM, Effect.CLOSES_FILM}:
            at.append(minute)
            opens.append(EFFECTS[what] is Effect.OPENS_FILM)
    place = np.searchsorted(np.array(at, dtype=np.int64), minutes, side="right")
    flags: Flags = np.array(opens, dtype=np.bool_)[place]
    return flags


def _banded(rows: Floats) -> Band:
    ends = rows[[SLOW, CENTRAL, FAST]]
    return Band(low=ends.min(axis=0), central=rows[CENTRAL], high=ends.max(axis=0))


def _ahead(
    figures: DryingFigures, spent: Three, ends: Sequence[int | None], until_minute: int
) -> Ahead:
    column = np.array(spent, dtype=np.int64)[:, None]
    known = [end for end in ends if end is not None]
    latest = None if None in ends else max(known)
    return Ahead(
        until_minute=until_minute,
        soonest=min(known, default=None),
        likely=ends[CENTRAL],
        latest=latest,
        reserve_pct=reserve_pct(figures, column),
    )
