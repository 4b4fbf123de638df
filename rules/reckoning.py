"""What no sensor tells of a batch: its leaf, the scion's reserve, the heat to expect in its cover.

All of it is carried on from cell to cell across stages, because a scion does not grow fresh when a
person moves its stage. One arithmetic for one minute and for many: a live cell is worked out as
arrays of one.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.air import HIGHEST_C, LOWEST_C, saturation_kpa
from rules.cells import MICRO, in_millionths
from rules.cover_ahead import CoverAhead, expected_under_cover
from rules.cover_watch import NO_COVER, CoverSight, CoverWatch, Told, Under, told_peak, watch_cover
from rules.drying import FRESH, Account, Surroundings, spend
from rules.reserve import (
    EFFECTS,
    Band,
    Effect,
    film_open_in,
    hours_to_critical,
    observed,
    reserve_pct,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rules.cover import TooThin
    from rules.model.batch import Seen
    from rules.model.place import Place
    from rules.scion import DryingFigures

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]
NOTHING_YET = -(1 << 40)


@dataclass(frozen=True, slots=True, eq=False)
class Kit:
    """What a batch is reckoned with: its plan's figures, its place, and what was seen of it.

    `figures` is None where the plan does not say how the scion dries. `seen` holds, in order, what
    changes the account or the film, with the first cell in which it counts. `wrapped` says whether
    film closed the scion at grafting.
    """

    place: Place
    shade_fraction: float
    figures: DryingFigures | None
    seen: tuple[tuple[int, Seen], ...]
    wrapped: bool

    def film_open(self, minutes: Wholes) -> Flags:
        """Return for each minute whether the film is split or off."""
        return film_open_in(self.seen, minutes, wrapped=self.wrapped)

    def changes(self) -> tuple[tuple[int, Seen], ...]:
        """Return what changes the account itself, in order."""
        return tuple(one for one in self.seen if EFFECTS[one[1]] in {Effect.BEGINS, Effect.DROOPED})


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What is carried from cell to cell.

    `account` is kept since `account_since`; a batch grafted before that counts as fresh then.
    `counted_until` is the cell of the last thing seen that the account counts with.
    """

    account: Account | None = None
    account_since: int = NOTHING_YET
    counted_until: int = NOTHING_YET
    cover: CoverWatch = NO_COVER


NOTHING_RECKONED = Reckoned()


@dataclass(frozen=True, slots=True)
class Around:
    """What is told around a batch over minutes in a row; None where nothing ever speaks.

    `house_air` is the air outside the cover, and given only under one; then `probe_since` is the
    minute since which the probe in the cover has spoken.
    """

    air: Told | None
    humidity: Told | None
    light: Told | None
    leaf: Told | None
    air_speed: Told | None
    house_air: Told | None
    probe_since: int


@dataclass(frozen=True, slots=True)
class Reckoning:
    """What was reckoned for each minute: in millionths, and where it is known.

    `leaf` is measured where a sensor is on one, else what the light makes likely; it and its
    deficit are None where the leaf was not asked for. The bands are those of the drying account,
    None without one, NaN while nothing has spoken of it.
    """

    leaf: Told | None
    leaf_deficit: Told | None
    reserve: Told
    hours: Told
    peak: Told
    reserve_band: Band | None = None
    hours_band: Band | None = None


def reckon(
    kit: Kit,
    before: Reckoned,
    around: Around,
    *,
    first_minute: int,
    sun_up: Flags,
    dusk: Flags,
    leaf_too: bool,
) -> tuple[Reckoned, Reckoning]:
    """Carry what is reckoned over minutes in a row in which the same sensors speak.

    `dusk` is True in the first minute without sun, `leaf_too` whether the leaf is to be told.
    ValueError without minutes.
    """
    minutes = len(sun_up)
    if minutes == 0:
        msg = "nothing is reckoned over no minutes"
        raise ValueError(msg)
    grid = first_minute + np.arange(minutes, dtype=np.int64)
    cover, peak = watch_cover(
        before.cover,
        CoverSight(around.air, around.house_air, around.light, around.probe_since),
        Under(kit.place, kit.shade_fraction),
        first_minute=first_minute,
        dusk=dusk,
    )
    after = replace(before, cover=cover)
    reserve = hours = _unknown(minutes)
    reserve_band = hours_band = None
    figures = kit.figures
    if figures is not None and int(grid[-1]) < figures.grafted_minute:
        figures = None
    if figures is None and not leaf_too:
        return after, Reckoning(None, None, reserve, hours, peak)
    course = _surroundings(kit, around, grid, sun_up)
    leaf = course.leaf_temperature_c
    if figures is not None:
        after, spent = _spend(kit, figures, after, course)
        reserve, hours, leaf = spent.reserve, spent.hours, spent.leaf_c
        reserve_band, hours_band = spent.reserve_band, spent.hours_band
    return after, Reckoning(
        _told(leaf) if leaf_too else None,
        _told(_leaf_deficit_kpa(course, leaf)) if leaf_too else None,
        reserve,
        hours,
        peak,
        reserve_band,
        hours_band,
    )


def as_it_stands(
    kit: Kit, reckoned: Reckoned, around: Around, *, minute: int, sun_up: bool
) -> Reckoning:
    """Return what is reckoned of a minute that the account holds already, or of one just after.

    The account is not carried on: a page may ask again and again.
    """
    grid = np.array([minute], dtype=np.int64)
    course = _surroundings(kit, around, grid, np.array([sun_up]))
    leaf = course.leaf_temperature_c
    reserve = hours = _unknown(1)
    reserve_band = hours_band = None
    if kit.figures is not None and reckoned.account is not None:
        pace = spend(kit.figures, reckoned.account, course)
        spent = np.array(reckoned.account.spent_ng, dtype=np.int64)[:, None]
        if bool(pace.told[0]):
            reserve_band = reserve_pct(kit.figures, spent)
            hours_band = hours_to_critical(kit.figures, replace(pace, spent_ng=spent))
            reserve, hours = (
                (in_millionths(np.where(pace.known, band.central, 0.0)), pace.known)
                for band in (reserve_band, hours_band)
            )
        leaf = pace.leaf_temperature_c
    peak = told_peak(reckoned.cover) if around.house_air is not None else _unknown(1)
    told = _told(leaf), _told(_leaf_deficit_kpa(course, leaf))
    return Reckoning(*told, reserve, hours, peak, reserve_band, hours_band)


def ahead_under_cover(kit: Kit, reckoned: Reckoned, minute: int) -> CoverAhead | TooThin | None:
    """Return what to expect under the cover in the day after `minute`, for a page; see `reckon`."""
    return expected_under_cover(
        kit.place,
        kit.shade_fraction,
        minute,
        record=reckoned.cover.record,
        hours=reckoned.cover.house,
    )


@dataclass(frozen=True, slots=True)
class _Spent:
    reserve: Told
    hours: Told
    leaf_c: Floats
    reserve_band: Band
    hours_band: Band


def _spend(
    kit: Kit, figures: DryingFigures, before: Reckoned, course: Surroundings
) -> tuple[Reckoned, _Spent]:
    minutes = len(course.minute)
    bands = np.full((6, minutes), np.nan)
    leaf = course.leaf_temperature_c.copy()
    known = np.zeros(minutes, dtype=np.bool_)
    for rows in _stretches(kit, figures, before, course.minute):
        first = int(course.minute[rows.start])
        account, before = _taken_up(kit, before, first)
        spending = spend(figures, account, _rows_of(course, rows))
        before = replace(before, account=spending.account)
        reserve, hours = (
            reserve_pct(figures, spending.spent_ng),
            hours_to_critical(figures, spending),
        )
        for place, row in enumerate(
            (reserve.low, reserve.central, reserve.high, hours.low, hours.central, hours.high)
        ):
            bands[place, rows] = np.where(spending.told, row, np.nan)
        known[rows] = spending.known
        leaf[rows] = spending.leaf_temperature_c
    told = [(in_millionths(np.where(known, bands[place], 0.0)), known) for place in (1, 4)]
    return before, _Spent(
        reserve=told[0],
        hours=told[1],
        leaf_c=leaf,
        reserve_band=Band(*bands[:3]),
        hours_band=Band(*bands[3:]),
    )


def _taken_up(kit: Kit, before: Reckoned, minute: int) -> tuple[Account, Reckoned]:
    """Return the account as it stands at the beginning of a minute, after all that was seen."""
    account = before.account
    since = before.account_since
    if account is None:
        account, since = FRESH, minute
    until = before.counted_until
    for at, seen in kit.changes():
        if until < at <= minute and kit.figures is not None:
            account, until = observed(kit.figures, account, seen), at
            since = minute if EFFECTS[seen] is Effect.BEGINS else since
    return account, replace(before, account=account, account_since=since, counted_until=until)


def _stretches(
    kit: Kit, figures: DryingFigures, before: Reckoned, minute: Wholes
) -> Iterator[slice]:
    """Yield the rows from grafting on, cut where something seen changes the account."""
    first, end = int(minute[0]), int(minute[-1]) + 1
    begin = max(first, figures.grafted_minute)
    cuts = {at for at, _ in kit.changes() if max(begin, before.counted_until) < at < end}
    edges = sorted({begin, *cuts, end})
    for start, stop in pairwise(edges):
        yield slice(start - first, stop - first)


def _rows_of(course: Surroundings, rows: slice) -> Surroundings:
    return Surroundings(
        minute=course.minute[rows],
        air_temperature_c=course.air_temperature_c[rows],
        relative_humidity_pct=course.relative_humidity_pct[rows],
        ppfd_umol_m2_s=course.ppfd_umol_m2_s[rows],
        leaf_temperature_c=course.leaf_temperature_c[rows],
        air_speed_m_s=course.air_speed_m_s[rows],
        sun_up=course.sun_up[rows],
        film_open=course.film_open[rows],
    )


def _surroundings(kit: Kit, around: Around, grid: Wholes, sun_up: Flags) -> Surroundings:
    minutes = len(grid)
    return Surroundings(
        minute=grid,
        air_temperature_c=_floats(around.air, minutes),
        relative_humidity_pct=_floats(around.humidity, minutes),
        ppfd_umol_m2_s=_floats(around.light, minutes),
        leaf_temperature_c=_floats(around.leaf, minutes),
        air_speed_m_s=_floats(around.air_speed, minutes),
        sun_up=sun_up,
        film_open=kit.film_open(grid),
    )


def _leaf_deficit_kpa(course: Surroundings, leaf_c: Floats) -> Floats:
    """Return saturation at the leaf less vapour in the air; below 0 the leaf gathers dew."""
    air_c, humidity_pct = course.air_temperature_c, course.relative_humidity_pct
    within = (air_c >= LOWEST_C) & (air_c <= HIGHEST_C) & (leaf_c >= LOWEST_C)
    within &= (leaf_c <= HIGHEST_C) & np.isfinite(humidity_pct)
    air = np.where(within, air_c, 20.0)
    leaf = np.where(within, leaf_c, 20.0)
    damp = np.where(within, humidity_pct, 100.0)
    deficit = saturation_kpa(leaf) - saturation_kpa(air) * (damp / 100.0)
    return np.where(within, deficit, np.nan)


def _floats(told: Told | None, minutes: int) -> Floats:
    if told is None:
        return np.full(minutes, np.nan)
    return np.where(told[1], told[0] / np.float64(MICRO), np.nan)


def _told(values: Floats) -> Told:
    known = np.isfinite(values)
    return in_millionths(np.where(known, values, 0.0)), known


def _unknown(minutes: int) -> Told:
    return np.zeros(minutes, dtype=np.int64), np.zeros(minutes, dtype=np.bool_)


def film_is_open(kit: Kit, minute: int) -> bool:
    """Return whether the film is split or off in one minute; equals `Kit.film_open`."""
    place = bisect_right(kit.seen, minute, key=lambda one: one[0])
    for _, seen in reversed(kit.seen[:place]):
        if EFFECTS[seen] in {Effect.OPENS_FILM, Effect.CLOSES_FILM}:
            return EFFECTS[seen] is Effect.OPENS_FILM
    return not kit.wrapped
