"""The energy balance of one leaf or stick: how warm light makes it, above the air around it.

Light in; heat out by air and by long waves, both ways of it growing with the warmth, and by the
water that leaves. The warmth at which they meet is found by a straight line through the air's
temperature and one correction, so that a season needs no search. Arrays in, arrays out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.air import HIGHEST_C, LOWEST_C, saturation_kpa
from rules.psychrometry import latent_heat_mj_kg

Floats = NDArray[np.float64]

STEFAN_BOLTZMANN = 5.670374e-8
"""W m⁻² K⁻⁴."""
AIR_HEAT_J_MOL_K = 29.3
"""Heat that a mole of air takes up per kelvin. Source: Campbell & Norman 1998, table A1."""
EMISSIVITY = 0.97
"""Of leaves and bark for long waves. Source: Campbell & Norman 1998, table 11.3, from memory."""
OUTDOORS = 1.4
"""Moving air in the open takes more than in a wind tunnel. Source: the same, sect. 7.13."""
WATER_G_MOL = 18.015
KELVIN = 273.15

_SLOPE_KPA_C = 4098.0  # FAO-56 eq. 13, the derivative of eq. 11
_OFFSET_C = 237.3


def boundary_heat_mol_m2_s(air_speed_m_s: Floats, breadth_m: Floats) -> Floats:
    r"""Conductance for heat of the air at one side of a leaf, in mol m⁻² s⁻¹.

    .. math:: g_{Ha} = 1.4 \times 0.135 \sqrt{u / d}

    air_speed_m_s: 0 or more; breadth_m: along the wind, above 0 (0.72 × the breadth of a leaf; the
    thickness of a stick, from memory within 30 %). Source: Campbell & Norman 1998, eq. 7.30.

    >>> boundary_heat_mol_m2_s(np.array([0.1, 0.5]), np.array([0.05])).round(3).tolist()
    [0.267, 0.598]
    """
    return OUTDOORS * 0.135 * np.sqrt(air_speed_m_s / breadth_m)


def boundary_vapour_mol_m2_s(air_speed_m_s: Floats, breadth_m: Floats) -> Floats:
    r"""Conductance for vapour of the air at one side of a leaf, in mol m⁻² s⁻¹.

    .. math:: g_{va} = 1.4 \times 0.147 \sqrt{u / d}

    Ranges and source as for heat; table 7.6 of the same book.

    >>> boundary_vapour_mol_m2_s(np.array([0.1, 0.5]), np.array([0.05])).round(3).tolist()
    [0.291, 0.651]
    """
    return OUTDOORS * 0.147 * np.sqrt(air_speed_m_s / breadth_m)


def in_series(first_mol_m2_s: Floats, second_mol_m2_s: Floats) -> Floats:
    r"""Conductance of two layers, one behind the other, in the unit of both.

    .. math:: g = g_1 g_2 / (g_1 + g_2)

    Both above 0. Source: definition; Campbell & Norman 1998, ch. 6.

    >>> in_series(np.array([5.0]), np.array([0.0109])).round(4).tolist()
    [0.0109]
    """
    return first_mol_m2_s * second_mol_m2_s / (first_mol_m2_s + second_mol_m2_s)


def latent_heat_j_mol(temperature_c: Floats) -> Floats:
    r"""Heat that a mole of water takes up as it evaporates, in J/mol.

    .. math:: \lambda = 18.015\,(2501 - 2.361\,T)

    temperature_c: -20 to 60 °C. Source: FAO-56 (1998), annex 3, eq. 3-1.

    >>> latent_heat_j_mol(np.array([25.0])).round(-2).tolist()
    [44000.0]
    """
    return (WATER_G_MOL * 1000.0) * latent_heat_mj_kg(temperature_c)


def radiative_mol_m2_s(temperature_c: Floats) -> Floats:
    r"""Long waves written as a conductance for heat of one side, in mol m⁻² s⁻¹.

    .. math:: g_r = 4 \varepsilon \sigma T^3 / c_p

    Source: Campbell & Norman 1998, eq. 12.7.

    >>> radiative_mol_m2_s(np.array([20.0, 30.0])).round(3).tolist()
    [0.189, 0.209]
    """
    kelvin = temperature_c + KELVIN
    return (4.0 * EMISSIVITY * STEFAN_BOLTZMANN / AIR_HEAT_J_MOL_K) * (kelvin * kelvin * kelvin)


def leaf_temperature_c(
    air_temperature_c: Floats,
    vapour_kpa: Floats,
    *,
    absorbed_w_m2: Floats,
    heat_mol_m2_s: Floats,
    vapour_mol_m2_s: Floats,
    pressure_kpa: float,
    sides: int,
) -> tuple[Floats, Floats]:
    r"""Temperature of a leaf in light, in °C, and the vapour pressure at saturation there, in kPa.

    .. math:: R = n c_p g_{Ha} (T - T_a) + n \varepsilon \sigma (T^4 - T_a^4)
              + \lambda g_v (e_s(T) - e) / P

    `absorbed_w_m2` and `vapour_mol_m2_s` are per area of leaf seen from one side (n, `sides`, is 2)
    or of bark all round (1); `heat_mol_m2_s` is of one side. What is around is as warm as the air.
    air_temperature_c: -20 to 60 °C, for the caller to admit; a leaf beyond counts as at the end.
    Source: Campbell & Norman 1998, ch. 14; their straight line, then one step of Newton's method:
    within 0.05 °C of the exact root for air of 10 to 45 °C, 0 to 450 W m⁻² taken up, 0.02 m/s or
    more, and a conductance for vapour up to 0.02 mol m⁻² s⁻¹.

    >>> air, held = np.array([30.0]), 0.98 * saturation_kpa(np.array([30.0]))
    >>> leaf, _ = leaf_temperature_c(
    ...     air, held, absorbed_w_m2=np.array([75.0]), heat_mol_m2_s=np.array([0.189]),
    ...     vapour_mol_m2_s=np.array([0.005]), pressure_kpa=101.325, sides=2)
    >>> float(leaf[0].round(1))
    33.1
    """
    at_air = saturation_kpa(air_temperature_c)
    latent = latent_heat_j_mol(air_temperature_c) * (vapour_mol_m2_s / pressure_kpa)
    by_air = (sides * AIR_HEAT_J_MOL_K) * heat_mol_m2_s
    slope = at_air * (_SLOPE_KPA_C / (air_temperature_c + _OFFSET_C) ** 2)
    by_waves = (sides * AIR_HEAT_J_MOL_K) * radiative_mol_m2_s(air_temperature_c)
    rise = (absorbed_w_m2 - latent * (at_air - vapour_kpa)) / (by_air + by_waves + latent * slope)
    first = np.clip(air_temperature_c + rise, LOWEST_C, HIGHEST_C)

    at_first = saturation_kpa(first)
    steep = _SLOPE_KPA_C / (first + _OFFSET_C) ** 2
    air_square = (air_temperature_c + KELVIN) ** 2
    first_square = (first + KELVIN) ** 2
    both_fourth = first_square * first_square - air_square * air_square
    waves = (sides * EMISSIVITY * STEFAN_BOLTZMANN) * both_fourth
    short = (
        absorbed_w_m2
        - by_air * (first - air_temperature_c)
        - waves
        - latent * (at_first - vapour_kpa)
    )
    by_waves = (sides * AIR_HEAT_J_MOL_K) * radiative_mol_m2_s(first)
    step = short / (by_air + by_waves + latent * at_first * steep)
    leaf = np.clip(first + step, LOWEST_C, HIGHEST_C)
    moved = leaf - first
    # The step is small: the curve's own bend carries saturation there without another exponential.
    bend = 0.5 * steep * (steep - 2.0 / (first + _OFFSET_C))
    saturated = at_first * (1.0 + moved * (steep + moved * bend))
    return leaf, saturated
