"""A scion as a thing that dries: a care plan's figures for one batch, likely and at both ends.

Every figure stands three times, as a column: slow, central, fast. In the slow row every doubtful
figure has the value with which the scion dries slowest, in the fast row fastest; each loss grows or
falls with each figure one way, so the rows bound what the ranges allow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from rules.leaf import in_series

if TYPE_CHECKING:
    from rules.model.drying import Drying, Ranged

Floats = NDArray[np.float64]
Three = tuple[int, int, int]

SLOW, CENTRAL, FAST = 0, 1, 2
"""The three rows of every figure and account: the driest is last."""

NG_G = 1e9
ALONG_WIND = 0.72
"""Share of a leaf's breadth that its boundary layer answers to. Source: Campbell & Norman 1998."""


@dataclass(frozen=True, slots=True, eq=False)
class DryingFigures:
    """A plan's figures for one batch, each as a column of three: slow, central, fast.

    `skin_mol_m2_s` is leaf or bare bark, `wrapped_mol_m2_s` the same behind a whole film (for a
    leafy scion equal to it). `sides` is 2 for a leaf, whose area is seen from one side, and 1 for a
    stick, whose area is its bark. `fresh_ng` is a scion's water, `spendable_ng` what it can lose.
    """

    skin_mol_m2_s: Floats
    wrapped_mol_m2_s: Floats
    area_m2: Floats
    breadth_m: Floats
    absorbed_share: Floats
    air_speed_m_s: Floats
    humidity_error_pct: Floats
    leaf_temperature_error_c: Floats
    uptake_first_ng: Floats
    uptake_full_ng: Floats
    uptake_from_min: Floats
    uptake_full_min: Floats
    sides: int
    grafted_minute: int
    pressure_kpa: float
    fresh_ng: Three
    spendable_ng: Three
    droop_ng: Three


def drying_figures(
    drying: Drying, grafted_minute: int, *, pressure_kpa: float, scion_diameter_mm: float | None
) -> DryingFigures:
    """Compile a plan's figures for one batch; its own scion diameter stands before the plan's."""
    skin = _column(drying.conductance_mmol_m2_s) / 1000.0
    if drying.leaves is not None:
        leaves, sides, wrapped = drying.leaves, 2, skin
        area_m2 = _column(leaves.area_cm2) * 1e-4
        breadth_m = _column(leaves.breadth_cm) * (0.01 * ALONG_WIND)
        wood_g = _column(leaves.wood_water_g, falling=True)
        fresh_g = area_m2 * _column(leaves.water_g_m2, falling=True) + wood_g
    elif drying.stick is not None:
        stick, sides = drying.stick, 1
        breadth_m = _column(stick.diameter_mm, falling=True) * 1e-3
        if scion_diameter_mm is not None:
            breadth_m = np.full((3, 1), scion_diameter_mm * 1e-3)
        length_m = _column(stick.length_mm) * 1e-3
        area_m2 = np.pi * breadth_m * length_m
        wrapped = in_series(skin, _column(stick.film_conductance_mmol_m2_s) / 1000.0)
        fresh_g = area_m2 * breadth_m / 4.0 * _column(stick.water_g_cm3, falling=True) * 1e6
    else:
        msg = "a plan's drying has neither leaves nor a stick"
        raise ValueError(msg)
    fresh_ng = np.rint(fresh_g * NG_G)
    spendable_ng = np.rint(fresh_ng * (1.0 - _column(drying.critical_share)))
    droop_ng = np.rint(fresh_ng * (1.0 - _column(drying.turgor_loss_share, falling=True)))
    per_minute_ng = 1e6 / 60.0
    return DryingFigures(
        skin_mol_m2_s=skin,
        wrapped_mol_m2_s=wrapped,
        area_m2=area_m2,
        breadth_m=breadth_m,
        absorbed_share=_column(drying.absorbed_share),
        air_speed_m_s=_column(drying.air_speed_m_s, falling=True),
        humidity_error_pct=_column(drying.humidity_error_pct, falling=True),
        leaf_temperature_error_c=_column(drying.leaf_temperature_error_c),
        uptake_first_ng=_column(drying.uptake_first_mg_h, falling=True) * per_minute_ng,
        uptake_full_ng=_column(drying.uptake_full_mg_h, falling=True) * per_minute_ng,
        uptake_from_min=_column(drying.uptake_from_d) * 1440.0,
        uptake_full_min=_column(drying.uptake_full_d) * 1440.0,
        sides=sides,
        grafted_minute=grafted_minute,
        pressure_kpa=pressure_kpa,
        fresh_ng=three(fresh_ng),
        spendable_ng=three(np.maximum(spendable_ng, 1.0)),
        droop_ng=three(droop_ng),
    )


def _column(figure: Ranged, *, falling: bool = False) -> Floats:
    """Return slow, central, fast; `falling` where more of it dries slower."""
    ends = (figure.high, figure.low) if falling else (figure.low, figure.high)
    return np.array([[ends[0]], [figure.central], [ends[1]]])


def three(values: NDArray[np.int64] | Floats) -> Three:
    """Return slow, central, fast as whole numbers."""
    slow, central, fast = cast("list[float]", values.reshape(3).tolist())
    return int(slow), int(central), int(fast)
