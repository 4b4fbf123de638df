"""Dose limits: light sum, drying dose, heat dose, hours beyond, direct sun; by day or by stage.

Sums are carried in whole units, millionths of the quantity times seconds or minutes, so that
adding cell by cell and all at once give the same. A high sum breaks its limit in the cell in which
it passes the bound; a low one is judged in the first cell after its day, and only if the day was
seen nearly whole: a sum known to be too small proves nothing.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.cells import MICRO
from rules.limits import millionths, speaks, speaks_each
from rules.model.dose import DoseKind, Per
from rules.model.words import Side, When

if TYPE_CHECKING:
    from rules.model.batch import Stage
    from rules.model.dose import DoseLimit

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

MOST_UNSEEN_MIN = 60
"""A day with more minutes than this unseen has no low sum: house rule."""

ONE_PERIOD = 0
"""The period of a sum that begins with the stage: there is only this one."""

_PER_MINUTE: dict[DoseKind, int] = {
    DoseKind.LIGHT_SUM: 60,
    DoseKind.DRYING_DOSE: 1,
    DoseKind.HEAT_DOSE: 1,
    DoseKind.HOURS_BEYOND: 1,
    DoseKind.DIRECT_SUN: 1,
}
"""What a minute of one millionth (or of a yes) adds: a light sum counts seconds, others minutes."""

_IN_ONE: dict[DoseKind, int] = {
    DoseKind.LIGHT_SUM: MICRO * MICRO,
    DoseKind.DRYING_DOSE: MICRO * 60,
    DoseKind.HEAT_DOSE: MICRO * 60,
    DoseKind.HOURS_BEYOND: 60,
    DoseKind.DIRECT_SUN: 1,
}
"""How many whole units make one of the unit that people read."""


@dataclass(frozen=True, slots=True)
class DoseState:
    """What one dose carries from cell to cell.

    `key` names the stage and the dose's own figures. `period` is the local day's number, or
    ONE_PERIOD. `total` is the sum since `since_minute` in whole units, `unseen_min` the minutes
    that should have been added and were not known. `begun_late` says that the sum began after its
    day did. `raised` says that the limit is broken.
    """

    key: str
    period: int
    since_minute: int
    total: int
    unseen_min: int
    begun_late: bool
    raised: bool


@dataclass(frozen=True, slots=True)
class DoseBound:
    """A dose limit's figures in whole units."""

    key: str
    kind: DoseKind
    high: bool
    daily: bool
    when: When
    base: int
    sign: int
    bound: int
    in_one: int

    def shown(self, total: int) -> float:
        """Return a sum in the unit that people read."""
        return total / self.in_one


@dataclass(frozen=True, slots=True)
class DaySpan:
    """A local day: its number, its first minute and the minute after its last."""

    number: int
    first_minute: int
    end_minute: int


@dataclass(frozen=True, slots=True)
class DoseTurn:
    """The limit was broken (`opened`, since its sum began, with that sum), or is no longer."""

    minute: int
    opened: bool
    since_minute: int
    total: int


@dataclass(frozen=True, slots=True)
class DoseSwept:
    """What `sweep` gives: state, turns in order, and for each cell whether raised and the sum."""

    state: DoseState
    turns: tuple[DoseTurn, ...]
    raised: Flags
    total: Wholes


def dose_bound(dose: DoseLimit, stage: Stage) -> DoseBound:
    """Return a dose's figures as they are judged by."""
    figures = dose.model_dump_json(exclude={"says", "action", "latch"})
    digest = hashlib.sha256(figures.encode()).hexdigest()[:8]
    threshold = dose.threshold
    in_one = _IN_ONE[dose.kind]
    return DoseBound(
        key=f"{stage.value}/{digest}",
        kind=dose.kind,
        high=dose.side is Side.HIGH,
        daily=dose.per is Per.LOCAL_DAY,
        when=dose.when,
        base=0 if threshold is None else millionths(threshold),
        sign=-1 if dose.beyond is Side.LOW else 1,
        bound=int(np.rint(np.float64(dose.bound) * in_one)),
        in_one=in_one,
    )


def added(bound: DoseBound, value: int, *, direct_from: int) -> int:
    """Return what a known cell adds; `direct_from` is the light from which it is direct sun."""
    match bound.kind:
        case DoseKind.LIGHT_SUM:
            return value * _PER_MINUTE[bound.kind]
        case DoseKind.DRYING_DOSE | DoseKind.HEAT_DOSE:
            return max(value - bound.base, 0)
        case DoseKind.HOURS_BEYOND:
            return int(bound.sign * (value - bound.base) > 0)
        case DoseKind.DIRECT_SUN:
            return int(value >= direct_from)


def added_each(bound: DoseBound, values: Wholes, *, direct_from: Wholes) -> Wholes:
    """Return the same for many cells."""
    match bound.kind:
        case DoseKind.LIGHT_SUM:
            return values * _PER_MINUTE[bound.kind]
        case DoseKind.DRYING_DOSE | DoseKind.HEAT_DOSE:
            return np.maximum(values - bound.base, 0)
        case DoseKind.HOURS_BEYOND:
            return (bound.sign * (values - bound.base) > 0).astype(np.int64)
        case DoseKind.DIRECT_SUN:
            return (values >= direct_from).astype(np.int64)


def step(
    bound: DoseBound,
    state: DoseState | None,
    minute: int,
    *,
    value: int | None,
    day: DaySpan,
    sun_up: bool,
    direct_from: int,
) -> tuple[DoseState, tuple[DoseTurn, ...]]:
    """Carry a dose over one cell. `value` in millionths, None if missing; `day` holds the cell.

    `state` None: the sum begins in this cell.
    """
    turns: list[DoseTurn] = []
    period = day.number if bound.daily else ONE_PERIOD
    if state is None or state.key != bound.key:
        state = _begun(bound, period, minute, day=day, raised=False)
    elif state.period != period:
        said = _day_over(bound, state, minute)
        turns.extend(said)
        raised = said[-1].opened if said else state.raised
        state = _begun(bound, period, minute, day=day, raised=raised)
    counts = speaks(bound.when, sun_up=sun_up)
    total = state.total
    unseen = state.unseen_min
    if counts and value is None:
        unseen += 1
    elif counts and value is not None:
        total += added(bound, value, direct_from=direct_from)
    raised = state.raised
    if raised != _broken_now(bound, total, raised=raised):
        raised = not raised
        turns.append(DoseTurn(minute, raised, state.since_minute, total))
    after = DoseState(
        state.key, state.period, state.since_minute, total, unseen, state.begun_late, raised
    )
    return after, tuple(turns)


def _begun(bound: DoseBound, period: int, minute: int, *, day: DaySpan, raised: bool) -> DoseState:
    late = bound.daily and minute != day.first_minute
    return DoseState(bound.key, period, minute, 0, 0, begun_late=late, raised=raised)


def _broken_now(bound: DoseBound, total: int, *, raised: bool) -> bool:
    """Tell whether a sum breaks its limit: a low one can only be mended within its day."""
    if bound.high:
        return total > bound.bound
    return raised and total < bound.bound


def _day_over(bound: DoseBound, state: DoseState, minute: int) -> tuple[DoseTurn, ...]:
    """Judge a day that has ended: a high sum starts afresh, a low one is held to its bound."""
    if bound.high:
        raised = False
    elif state.begun_late or state.unseen_min > MOST_UNSEEN_MIN:
        return ()
    else:
        raised = state.total < bound.bound
    if raised == state.raised:
        return ()
    return (DoseTurn(minute, raised, state.since_minute, state.total),)


def sweep(
    bound: DoseBound,
    state: DoseState | None,
    first_minute: int,
    *,
    values: Wholes,
    present: Flags,
    days: tuple[DaySpan, ...],
    sun_up: Flags,
    direct_from: Wholes,
) -> DoseSwept:
    """Carry a dose over many cells at once; equals folding `step`. `days` cover the cells."""
    minutes = len(values)
    counts = speaks_each(bound.when, sun_up)
    each = np.where(counts & present, added_each(bound, values, direct_from=direct_from), 0)
    missed = np.cumsum(counts & ~present)
    running = np.cumsum(each)
    total = np.empty(minutes, dtype=np.int64)
    raised = np.empty(minutes, dtype=np.bool_)
    turns: list[DoseTurn] = []
    if state is not None and state.key != bound.key:
        state = None
    for day in (
        days if bound.daily else (DaySpan(ONE_PERIOD, first_minute, first_minute + minutes),)
    ):
        start = max(day.first_minute, first_minute) - first_minute
        end = min(day.end_minute, first_minute + minutes) - first_minute
        if start >= end:
            continue
        minute = first_minute + start
        if state is None:
            state = _begun(bound, day.number, minute, day=day, raised=False)
        elif state.period != day.number:
            said = _day_over(bound, state, minute)
            turns.extend(said)
            before = said[-1].opened if said else state.raised
            state = _begun(bound, day.number, minute, day=day, raised=before)
        rows = slice(start, end)
        carried = int(running[start - 1]) if start else 0
        unseen = int(missed[end - 1]) - (int(missed[start - 1]) if start else 0)
        total[rows] = state.total + running[rows] - carried
        if bound.high:
            now = total[rows] > bound.bound
        else:
            now = (total[rows] < bound.bound) & state.raised
        raised[rows] = now
        # A sum only grows: within a period its limit turns at most once.
        flips = np.flatnonzero(now != state.raised)
        if flips.size:
            at = int(flips[0])
            turn = DoseTurn(minute + at, bool(now[at]), state.since_minute, int(total[start + at]))
            turns.append(turn)
        state = DoseState(
            state.key,
            state.period,
            state.since_minute,
            int(total[end - 1]),
            state.unseen_min + unseen,
            state.begun_late,
            bool(now[-1]),
        )
    if state is None:
        msg = "a dose is carried over one cell at least, on days that hold it"
        raise ValueError(msg)
    return DoseSwept(state, tuple(turns), raised, total)
