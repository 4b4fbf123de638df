"""How much water a scion has lost, minute by minute, out of what it came with.

Water leaves through the skin (or skin and film) and the still air around it, one behind the other,
as the air pulls on it: conductance × leaf-to-air deficit / pressure × area. The stock gives some of
it back. The account is kept three times: as likely, and with every doubtful figure at the end where
it dries slowest and fastest. Whole nanograms a scion: a film passes 0.2 µg a minute, and integers
add alike one by one or all at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.air import HIGHEST_C, LOWEST_C, saturation_kpa
from rules.leaf import (
    WATER_G_MOL,
    boundary_heat_mol_m2_s,
    boundary_vapour_mol_m2_s,
    in_series,
    leaf_temperature_c,
)
from rules.light import UMOL_PER_JOULE
from rules.model.quantities import LightSource
from rules.scion import CENTRAL, FAST, NG_G, Three, three

if TYPE_CHECKING:
    from rules.scion import DryingFigures

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

HOURS = 24
_CHUNK = 8192  # minutes worked at once: what they need stays in the processor's cache
_PER_WATT = UMOL_PER_JOULE[LightSource.SUN]


@dataclass(frozen=True, slots=True)
class Account:
    """What is carried from minute to minute; equal after one step each or all at once.

    `spent_ng` are the three accounts: water missing from a fresh scion. `last_ng` is the likely
    loss in the last minute that was known, `fastest_ng` the fastest loss in any minute so far;
    they stand in for minutes not known, counted in `guessed_min`. `by_hour` is what was lost in
    each hour of the UTC day when it last came round, None before it was seen whole.
    """

    spent_ng: Three
    last_ng: int
    fastest_ng: int
    guessed_min: int
    by_hour: tuple[Three | None, ...]


FRESH = Account((0, 0, 0), 0, 0, 0, (None,) * HOURS)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is around a scion in minutes in a row, an entry each; NaN where it is not known.

    `ppfd_umol_m2_s` is light where the plant stands, outside any bag. `sun_up` settles light that
    is not known: none at night. `film_open` matters to a stick alone: the film is split or off.
    """

    minute: Wholes
    air_temperature_c: Floats
    relative_humidity_pct: Floats
    ppfd_umol_m2_s: Floats
    leaf_temperature_c: Floats
    air_speed_m_s: Floats
    sun_up: Flags
    film_open: Flags


@dataclass(frozen=True, slots=True)
class Spending:
    """What became of the account in each minute: three rows, an entry a minute.

    `lost_ng` left the scion, `uptake_ng` is what the stock could give. `known` is False where
    the loss was guessed, and `told` False while nothing at all speaks of the scion's water: no loss
    was known since the account began, and no droop was seen. Such a scion is not full, it is not
    known. `leaf_temperature_c` is measured or likely, NaN where not known.
    """

    spent_ng: Wholes
    lost_ng: Wholes
    uptake_ng: Wholes
    known: Flags
    told: Flags
    leaf_temperature_c: Floats
    account: Account


def spend(figures: DryingFigures, account: Account, around: Surroundings) -> Spending:
    """Carry the account through minutes in a row; the same to the nanogram one by one or at once.

    A minute not known loses nothing in the slow account, as the last known one in the central, and
    as the fastest ever in the fast one: the band opens. Nothing is taken up by a fresh scion, and
    condensation gives it nothing. ValueError without minutes.
    """
    minutes = len(around.minute)
    if minutes == 0:
        msg = "an account is carried over one minute at least"
        raise ValueError(msg)
    lost = np.empty((3, minutes), dtype=np.int64)
    known = np.empty(minutes, dtype=np.bool_)
    leaf = np.empty(minutes)
    for start in range(0, minutes, _CHUNK):
        rows = slice(start, min(start + _CHUNK, minutes))
        lost[:, rows], known[rows], leaf[rows] = _lost_in(figures, around, rows)
    row = np.arange(minutes, dtype=np.int64)
    last_row = np.maximum.accumulate(np.where(known, row, -1))
    last = np.where(last_row >= 0, lost[CENTRAL, np.maximum(last_row, 0)], account.last_ng)
    fastest = np.maximum.accumulate(np.where(known, lost[FAST], 0))
    fastest = np.maximum(fastest, account.fastest_ng)
    if not bool(np.all(known)):
        lost = np.where(known, lost, np.stack((np.zeros_like(last), last, fastest)))
    uptake = uptake_ng(figures, around.minute)
    missing = np.array(account.spent_ng, dtype=np.int64)[:, None]
    running = missing + np.cumsum(lost - uptake, axis=1)
    # What the stock offers to a scion that lacks nothing is not taken: the account stops at 0.
    refused = np.minimum(np.minimum.accumulate(running, axis=1), 0)
    spent: Wholes = running - refused
    after = Account(
        spent_ng=three(spent[:, -1]),
        last_ng=int(last[-1]),
        fastest_ng=int(fastest[-1]),
        guessed_min=account.guessed_min + minutes - int(np.count_nonzero(known)),
        by_hour=_by_hour(account.by_hour, around.minute, lost),
    )
    # By what the account itself carries, so that a minute at a time says the same.
    told: Flags = known | (fastest > 0) | (spent > 0).any(axis=0)
    return Spending(spent, lost, uptake, known, told, leaf, after)


def uptake_ng(figures: DryingFigures, minute: Wholes) -> Wholes:
    """Return what the stock can give a scion in each minute, three rows, in nanograms.

    From the first figure it rises in a straight line to the full one as the union grows.
    """
    age = (minute - figures.grafted_minute).astype(np.float64)
    grown = np.maximum(figures.uptake_full_min - figures.uptake_from_min, 1.0)
    share = np.clip((age - figures.uptake_from_min) / grown, 0.0, 1.0)
    rising = figures.uptake_full_ng - figures.uptake_first_ng
    return np.rint(figures.uptake_first_ng + rising * share).astype(np.int64)


def _lost_in(
    figures: DryingFigures, around: Surroundings, rows: slice
) -> tuple[Wholes, Flags, Floats]:
    """Return what each minute takes from a scion, whether it is known, and the leaf's warmth."""
    air = np.ascontiguousarray(around.air_temperature_c[rows])
    humidity = np.ascontiguousarray(around.relative_humidity_pct[rows])
    light = np.ascontiguousarray(around.ppfd_umol_m2_s[rows])
    felt = np.ascontiguousarray(around.leaf_temperature_c[rows])
    measured: Flags = (felt >= LOWEST_C) & (felt <= HIGHEST_C)
    lit = np.isfinite(light)
    known: Flags = (air >= LOWEST_C) & (air <= HIGHEST_C) & np.isfinite(humidity)
    known &= measured | lit | ~around.sun_up[rows]
    air = np.where(known, air, 20.0)
    error = figures.humidity_error_pct
    damp = np.clip(np.where(known, humidity, 100.0) + error, 0.0, 100.0)
    vapour = saturation_kpa(air) * (damp / 100.0)
    light_w_m2 = np.maximum(np.where(lit, light, 0.0), 0.0) / _PER_WATT
    conductance, heat = _conductances(figures, around, rows)
    leaf, saturated = leaf_temperature_c(
        air,
        vapour,
        absorbed_w_m2=light_w_m2 * figures.absorbed_share,
        heat_mol_m2_s=heat,
        vapour_mol_m2_s=conductance,
        pressure_kpa=figures.pressure_kpa,
        sides=figures.sides,
    )
    if bool(np.any(measured)):
        safe = np.where(measured, felt, 20.0) + figures.leaf_temperature_error_c
        warm = np.clip(safe, LOWEST_C, HIGHEST_C)
        leaf = np.where(measured, warm, leaf)
        saturated = np.where(measured, saturation_kpa(warm), saturated)
    per_kpa = conductance * figures.area_m2 * (60.0 * WATER_G_MOL * NG_G / figures.pressure_kpa)
    pull = np.maximum(saturated - vapour, 0.0)
    lost = np.rint(pull * per_kpa).astype(np.int64)
    return lost, known, np.where(known, leaf[CENTRAL], np.nan)


def _conductances(
    figures: DryingFigures, around: Surroundings, rows: slice
) -> tuple[Floats, Floats]:
    """Return the conductance for vapour from inside to the air, and one side's for heat."""
    speed = figures.air_speed_m_s
    blown = np.ascontiguousarray(around.air_speed_m_s[rows])
    told = np.isfinite(blown)
    if bool(np.any(told)):
        # Cups and vanes stand still in a breath that still counts.
        moving = np.maximum(np.where(told, blown, 0.0), figures.air_speed_m_s[FAST])
        speed = np.where(told, moving, speed)
    skin = figures.wrapped_mol_m2_s
    opened = around.film_open[rows]
    if bool(np.any(opened)):
        skin = np.where(opened, figures.skin_mol_m2_s, skin)
    layer = figures.sides * boundary_vapour_mol_m2_s(speed, figures.breadth_m)
    return in_series(skin, layer), boundary_heat_mol_m2_s(speed, figures.breadth_m)


def _by_hour(
    before: tuple[Three | None, ...], minute: Wholes, lost: Wholes
) -> tuple[Three | None, ...]:
    slots = list(before)
    first, end = int(minute[0]), int(minute[-1]) + 1
    for hour in range(max(first // 60, (end - 1) // 60 - HOURS + 1), (end - 1) // 60 + 1):
        begin = max(hour * 60, first)
        within = lost[:, begin - first : min(hour * 60 + 60, end) - first].sum(axis=1)
        slot = hour % HOURS
        if begin == hour * 60:
            slots[slot] = three(within)
        else:
            carried = slots[slot]
            if carried is not None:
                slots[slot] = three(np.array(carried, dtype=np.int64) + within)
    return tuple(slots)


def in_one_minute(
    minute: int,
    *,
    air_temperature_c: float | None,
    relative_humidity_pct: float | None,
    ppfd_umol_m2_s: float | None,
    leaf_temperature_c: float | None,
    air_speed_m_s: float | None,
    sun_up: bool,
    film_open: bool,
) -> Surroundings:
    """Return one minute's surroundings, None where not known: the live form of `spend` takes it."""
    return Surroundings(
        minute=np.array([minute], dtype=np.int64),
        air_temperature_c=_one(air_temperature_c),
        relative_humidity_pct=_one(relative_humidity_pct),
        ppfd_umol_m2_s=_one(ppfd_umol_m2_s),
        leaf_temperature_c=_one(leaf_temperature_c),
        air_speed_m_s=_one(air_speed_m_s),
        sun_up=np.array([sun_up]),
        film_open=np.array([film_open]),
    )


def _one(value: float | None) -> Floats:
    return np.array([np.nan if value is None else value])
