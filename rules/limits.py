"""One limit: deadband, on-delay, off-delay and part of the day; cell by cell and all at once.

A cell's verdict is beyond the bound, back inside by the deadband, between the two, or unknown.
Both forms turn verdicts into the same rows, openings and closings; whole units throughout.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from rules.cells import MICRO
from rules.model.words import FilmState, Side, When

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rules.model.plan import Limit

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Verdicts = NDArray[np.int8]
Flags = NDArray[np.bool_]


class Verdict(IntEnum):
    """What one cell says about one condition."""

    UNKNOWN = 0
    BEYOND = 1
    BETWEEN = 2
    BACK = 3


@dataclass(frozen=True, slots=True)
class Delays:
    """Cells in a row, at least one each, that open a condition and that close it."""

    on_cells: int
    off_cells: int


@dataclass(frozen=True, slots=True)
class LimitState:
    """What one condition carries from cell to cell.

    Not raised: `cells_beyond` counts the row of cells beyond. Raised: `cells_back` counts the row
    of cells back inside. `since_minute` is the first cell of the row that leads, or led, to it,
    `worst` the value furthest beyond the bound since then, in millionths; None for blindness.
    """

    raised: bool
    cells_beyond: int
    cells_back: int
    since_minute: int | None
    worst: int | None = None


QUIET = LimitState(raised=False, cells_beyond=0, cells_back=0, since_minute=None)


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit's figures in whole millionths.

    `sign` turns a low limit into a high one: the excess is always sign × (value - bound), positive
    beyond the bound.
    """

    sign: int
    at: int
    deadband: int
    full_margin: int
    when: When
    film: FilmState | None
    delays: Delays


def bound_of(limit: Limit) -> Bound:
    """Return the figures of a limit as they are judged by."""
    return Bound(
        sign=1 if limit.side is Side.HIGH else -1,
        at=millionths(limit.bound),
        deadband=millionths(limit.deadband),
        full_margin=max(1, millionths(limit.full_margin)),
        when=limit.when,
        film=limit.film,
        delays=Delays(max(1, limit.on_delay_min), max(1, limit.off_delay_min)),
    )


def millionths(value: float) -> int:
    """Round one finite figure to whole millionths, exactly as cells are rounded."""
    return int(np.rint(np.float64(value) * MICRO))


def speaks(when: When, *, sun_up: bool) -> bool:
    """Return whether a limit for this part of the day speaks now."""
    return when is When.ALWAYS or (when is When.DAY) == sun_up


def can_speak(bound: Bound, *, sun_up: bool, film_open: bool) -> bool:
    """Return whether a limit speaks in a cell: at this hour, with the film as it is."""
    silent = bound.film is FilmState.OPEN and not film_open
    return speaks(bound.when, sun_up=sun_up) and not silent


def verdict(bound: Bound, value: int | None, *, sun_up: bool, film_open: bool) -> Verdict:
    """Judge one cell; `value` in millionths, None if missing.

    A limit that is silent in it counts as back inside, seen or not.
    """
    if not can_speak(bound, sun_up=sun_up, film_open=film_open):
        return Verdict.BACK
    if value is None:
        return Verdict.UNKNOWN
    excess = bound.sign * (value - bound.at)
    if excess > 0:
        return Verdict.BEYOND
    return Verdict.BACK if excess <= -bound.deadband else Verdict.BETWEEN


def speaks_each(when: When, sun_up: Flags) -> Flags:
    """Return for each cell whether a limit for this part of the day speaks."""
    match when:
        case When.ALWAYS:
            return np.ones(sun_up.shape, dtype=np.bool_)
        case When.DAY:
            return sun_up
        case When.NIGHT:
            return ~sun_up


@dataclass(frozen=True, slots=True, eq=False)
class BoundTable:
    """Limits side by side, a row each: every figure as a column of one."""

    sign: Wholes
    at: Wholes
    deadband: Wholes
    full_margin: Wholes
    by_day: Flags
    by_night: Flags
    wrapped_too: Flags

    def speaking(self, *, sun_up: Flags, film_open: Flags) -> Flags:
        """Return where each limit speaks, as limits by cells; equals `can_speak`."""
        at_this_hour = np.where(sun_up, self.by_day, self.by_night)
        flags: Flags = at_this_hour & (film_open | self.wrapped_too)
        return flags


def bound_table(bounds: Sequence[Bound]) -> BoundTable:
    """Set limits side by side."""
    return BoundTable(
        sign=_column([one.sign for one in bounds]),
        at=_column([one.at for one in bounds]),
        deadband=_column([one.deadband for one in bounds]),
        full_margin=_column([one.full_margin for one in bounds]),
        by_day=_column([speaks(one.when, sun_up=True) for one in bounds]) > 0,
        by_night=_column([speaks(one.when, sun_up=False) for one in bounds]) > 0,
        wrapped_too=_column([one.film is not FilmState.OPEN for one in bounds]) > 0,
    )


def _column(figures: Sequence[int]) -> Wholes:
    return np.array(figures, dtype=np.int64).reshape(-1, 1)


@dataclass(frozen=True, slots=True)
class Weighed:
    """Limits over cells in a row, as limits by cells.

    `margin` is the room left in full margins, 1 at most, below 0 beyond the bound, infinite where a
    limit is silent or has no value.
    """

    said: Verdicts
    margin: Floats


def weighed(table: BoundTable, values: Wholes, present: Flags, speaking: Flags) -> Weighed:
    """Judge many cells by many limits at once; `said` equals `verdict` cell by cell.

    `values`, `present` and `speaking` are limits by cells.
    """
    excess = table.sign * (values - table.at)
    inside = np.where(excess <= -table.deadband, np.int8(Verdict.BACK), np.int8(Verdict.BETWEEN))
    said = np.where(excess > 0, np.int8(Verdict.BEYOND), inside)
    said = np.where(present, said, np.int8(Verdict.UNKNOWN))
    margin = np.minimum(-excess / table.full_margin.astype(np.float64), 1.0)
    return Weighed(
        said=np.where(speaking, said, np.int8(Verdict.BACK)),
        margin=np.where(present & speaking, margin, np.inf),
    )


def verdicts(
    bound: Bound, values: Wholes, present: Flags, *, sun_up: Flags, film_open: Flags
) -> Verdicts:
    """Judge many cells by one limit; equals `verdict` cell by cell."""
    table = bound_table([bound])
    speaking = table.speaking(sun_up=sun_up, film_open=film_open)
    said: Verdicts = weighed(table, values[None], present[None], speaking).said[0]
    return said


def step(
    delays: Delays,
    state: LimitState,
    minute: int,
    said: Verdict,
    *,
    value: int | None = None,
    sign: int = 1,
) -> LimitState:
    """Carry a condition over one cell. An unknown cell neither counts nor breaks a row.

    `value`, in millionths, and the `sign` of its bound tell which cell beyond was the worst.
    """
    if said is Verdict.UNKNOWN:
        return state
    if state.raised:
        worst = _worse(sign, state.worst, value) if said is Verdict.BEYOND else state.worst
        if said is not Verdict.BACK:
            if state.cells_back or worst != state.worst:
                return _raised(0, state.since_minute, worst)
            return state
        back = state.cells_back + 1
        if back >= delays.off_cells:
            return QUIET
        return _raised(back, state.since_minute, worst)
    if said is not Verdict.BEYOND:
        return QUIET
    beyond = state.cells_beyond + 1
    since = minute if state.since_minute is None else state.since_minute
    worst = _worse(sign, state.worst, value)
    if beyond >= delays.on_cells:
        return _raised(0, since, worst)
    return _rising(beyond, since, worst)


def _worse(sign: int, one: int | None, other: int | None) -> int | None:
    if one is None or other is None:
        return other if one is None else one
    return sign * max(sign * one, sign * other)


def _raised(cells_back: int, since_minute: int | None, worst: int | None) -> LimitState:
    return LimitState(
        raised=True,
        cells_beyond=0,
        cells_back=cells_back,
        since_minute=since_minute,
        worst=worst,
    )


def _rising(cells_beyond: int, since_minute: int | None, worst: int | None) -> LimitState:
    return LimitState(
        raised=False,
        cells_beyond=cells_beyond,
        cells_back=0,
        since_minute=since_minute,
        worst=worst,
    )


@dataclass(frozen=True, slots=True)
class Swept:
    """What `sweep` gives: the state after the last cell, and what happened on the way.

    `raised` and `rising` (beyond, within the delay) are per cell. `opened` holds (minute, since),
    `closed` minutes, `worst` the worst value of each that closed.
    """

    state: LimitState
    raised: Flags
    rising: Flags
    opened: tuple[tuple[int, int], ...]
    closed: tuple[int, ...]
    worst: tuple[int | None, ...]


def sweep(
    delays: Delays,
    state: LimitState,
    first_minute: int,
    said: Verdicts,
    *,
    values: Wholes | None = None,
    sign: int = 1,
) -> Swept:
    """Carry a condition over many cells at once; equals folding `step`.

    `values` are read in cells beyond only, with the `sign` of their bound; None for blindness.

    It needs no loop because a cell beyond breaks every row of cells back, and the other way about:
    a row long enough to open cannot have begun before the closing in front of it. So rows are
    counted without knowing the state, and the state is whichever row was last long enough.
    """
    if state == QUIET and not bool(np.any(said == Verdict.BEYOND)):
        nothing = np.zeros(said.shape, dtype=np.bool_)
        return Swept(QUIET, nothing, nothing, (), (), ())
    carried_rising = not state.raised and state.cells_beyond > 0
    known = np.flatnonzero(said != Verdict.UNKNOWN)
    if known.size == 0:
        same = np.full(said.shape, state.raised), np.full(said.shape, carried_rising)
        return Swept(state, *same, (), (), ())
    minutes: Wholes = first_minute + known
    row_beyond, beyond_from = _rows(said[known] == Verdict.BEYOND, state.cells_beyond)
    row_back, _ = _rows(said[known] == Verdict.BACK, state.cells_back)
    mark = np.where(row_beyond >= delays.on_cells, 1, 0)
    mark = np.where(row_back >= delays.off_cells, -1, mark)
    at = np.arange(known.size, dtype=np.int64)
    last_mark = np.maximum.accumulate(np.where(mark != 0, at, -1))
    raised: Flags = np.where(last_mark >= 0, mark[last_mark] > 0, state.raised)
    rising: Flags = ~raised & (row_beyond > 0)
    before = np.concatenate(([state.raised], raised[:-1]))
    opened: list[tuple[int, int]] = []
    since = state.since_minute
    for i in np.flatnonzero(raised & ~before).tolist():
        since = _row_since(minutes, int(beyond_from[i]), state)
        opened.append((int(minutes[i]), since))
    closed = tuple(cast("list[int]", minutes[~raised & before].tolist()))
    figures = _Worst(state, first_minute, said, values, sign)
    opened_since = [row_since for _, row_since in opened]
    # One was open from before; each that closed began with the last opening in front of it.
    if state.raised:
        opened_since = [cast("int", state.since_minute), *opened_since]
    worst = tuple(
        figures.between(began, over) for began, over in zip(opened_since, closed, strict=False)
    )
    end = first_minute + len(said)
    if bool(raised[-1]):
        began = cast("int", since)
        after = _raised(int(row_back[-1]), began, figures.between(began, end))
    elif int(row_beyond[-1]) > 0:
        row_since = _row_since(minutes, int(beyond_from[-1]), state)
        after = _rising(int(row_beyond[-1]), row_since, figures.between(row_since, end))
    else:
        after = QUIET
    latest = np.cumsum(said != Verdict.UNKNOWN) - 1
    return Swept(
        state=after,
        raised=np.where(latest >= 0, raised[latest], state.raised),
        rising=np.where(latest >= 0, rising[latest], carried_rising),
        opened=tuple(opened),
        closed=closed,
        worst=worst,
    )


@dataclass(frozen=True, slots=True)
class _Worst:
    """Finds the worst value of a stretch of cells that may have begun before them."""

    state: LimitState
    first_minute: int
    said: Verdicts
    values: Wholes | None
    sign: int

    def between(self, began: int, end: int) -> int | None:
        """Return the worst of the cells beyond from minute `began` until before `end`."""
        carried = self.state.worst if began == self.state.since_minute else None
        if self.values is None:
            return carried
        here = slice(max(0, began - self.first_minute), end - self.first_minute)
        beyond = self.values[here][self.said[here] == Verdict.BEYOND]
        if beyond.size == 0:
            return carried
        return _worse(self.sign, carried, self.sign * int((self.sign * beyond).max()))


def _rows(flags: Flags, carried: int) -> tuple[Wholes, Wholes]:
    """Return the length of the row of True cells that ends at each cell, and where it began.

    A row that reaches the front goes on from `carried` cells before it and begins at index -1.
    """
    at = np.arange(flags.size, dtype=np.int64)
    last_break = np.maximum.accumulate(np.where(flags, -1, at))
    from_front = last_break < 0
    length = np.where(flags, at - last_break + np.where(from_front, carried, 0), 0)
    began = np.where(from_front & (carried > 0), -1, last_break + 1)
    return length, began


def _row_since(minutes: Wholes, began: int, state: LimitState) -> int:
    if began < 0 and state.since_minute is not None:
        return state.since_minute
    return int(minutes[max(began, 0)])
