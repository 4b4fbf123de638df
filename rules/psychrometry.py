"""Damp air at the pressure of the site: wet bulb, humidity ratio, what evaporating water costs.

Ideal gases throughout: the enhancement of saturation by the presence of air, about 0.5 % at sea
level, is left out, as it is in FAO-56. Numbers in, number out; arrays in, array out.
"""

from __future__ import annotations

import numpy as np

from rules.air import HIGHEST_C, LOWEST_C, saturation_kpa
from rules.domain import Figure, Floats, admitted, as_given

LOWEST_M = -500.0
HIGHEST_M = 11_000.0
LOWEST_KPA = 22.0
HIGHEST_KPA = 110.0
SEA_LEVEL_KPA = 101.325

_WATER_TO_DRY_AIR = 0.621945
"""Molar mass of water over that of dry air: ASHRAE 2017, ch. 1."""

_WET_BULB_FLOOR_C = -70.0
"""Below every wet bulb of admitted air: bone-dry air of -20 °C at 22 kPa reaches -25.5 °C."""

_HALVINGS = 52
"""130 °C halved so often is less than the spacing of floats near 30 °C."""


def pressure_at_elevation_kpa(elevation_m: Figure) -> Figure:
    r"""Pressure of the standard atmosphere at an elevation, in kPa.

    .. math:: p = 101.325\,(1 - 2.25577 \cdot 10^{-5} z)^{5.2559}

    elevation_m: -500 to 11000 m, else ValueError. Weather moves it by about 2 %, which moves
    the wet bulb of ordinary air by about 0.05 °C.
    Source: ASHRAE Handbook - Fundamentals 2017, ch. 1, eq. 3.

    >>> round(pressure_at_elevation_kpa(1000.0), 3)
    89.875
    """
    high = admitted(elevation_m, lowest=LOWEST_M, highest=HIGHEST_M, name="elevation", unit="m")
    return as_given(SEA_LEVEL_KPA * (1.0 - 2.25577e-5 * high) ** 5.2559, elevation_m)


def latent_heat_mj_kg(temperature_c: Figure) -> Figure:
    r"""Heat that a kilogram of water takes with it when it evaporates, in MJ kg⁻¹.

    .. math:: \lambda = 2.501 - 0.002361\,T

    temperature_c: -20 to 60 °C, else ValueError.
    Source: Harrison 1963, as in FAO-56 annex 3 (from memory).

    >>> round(latent_heat_mj_kg(20.0), 3)
    2.454
    """
    warm = admitted(
        temperature_c, lowest=LOWEST_C, highest=HIGHEST_C, name="temperature", unit="°C"
    )
    return as_given(2.501 - 0.002361 * warm, temperature_c)


def psychrometric_constant_kpa_c(pressure_kpa: Figure) -> Figure:
    r"""Vapour that air takes up while evaporation cools it by one degree, in kPa °C⁻¹.

    .. math:: \gamma = 0.665 \cdot 10^{-3} p

    pressure_kpa: 22 to 110 kPa, else ValueError. Source: FAO-56, eq. 8.

    >>> round(psychrometric_constant_kpa_c(81.8), 3)
    0.054
    """
    pressed = _pressure(pressure_kpa)
    return as_given(0.665e-3 * pressed, pressure_kpa)


def humidity_ratio_kg_kg(vapour_pressure_kpa: Figure, *, pressure_kpa: float) -> Figure:
    r"""Mass of water vapour that goes with a kilogram of dry air, in kg kg⁻¹.

    .. math:: w = 0.621945\,e / (p - e)

    vapour_pressure_kpa: 0 to 20 kPa; pressure_kpa, one for all: 22 to 110 kPa, else ValueError.
    Source: ASHRAE Handbook - Fundamentals 2017, ch. 1, eq. 20.

    >>> from rules.air import vapour_pressure_kpa
    >>> round(humidity_ratio_kg_kg(vapour_pressure_kpa(30.0, 70.0), pressure_kpa=101.325), 4)
    0.0188
    """
    held = admitted(
        vapour_pressure_kpa, lowest=0.0, highest=20.0, name="vapour pressure", unit="kPa"
    )
    return as_given(_ratio(held, _pressure(pressure_kpa)), vapour_pressure_kpa)


def wet_bulb_c(
    temperature_c: Figure, relative_humidity_pct: Figure, *, pressure_kpa: float
) -> Figure:
    r"""Temperature to which evaporating water can cool the air, in °C: as cool as misting gets it.

    The thermodynamic wet bulb, the t* at which

    .. math:: w = \frac{(2501 - 2.326\,t^*)\,w_s(t^*) - 1.006\,(t - t^*)}
                       {2501 + 1.86\,t - 4.186\,t^*}

    found by halving a range that holds it, so it is found in all admitted air, and every value
    takes the same steps alone or in an array. Below 0 °C over supercooled water, not ice.
    temperature_c: -20 to 60 °C; relative_humidity_pct: 0 to 100 %; pressure_kpa, one for all: 22
    to 110 kPa, else ValueError. Source: ASHRAE Handbook - Fundamentals 2017, ch. 1, eq. 33.

    >>> round(wet_bulb_c(25.0, 50.0, pressure_kpa=101.325), 2)
    17.89
    """
    warm = admitted(
        temperature_c, lowest=LOWEST_C, highest=HIGHEST_C, name="temperature", unit="°C"
    )
    damp = admitted(
        relative_humidity_pct, lowest=0.0, highest=100.0, name="relative humidity", unit="%"
    )
    pressed = _pressure(pressure_kpa)
    warm, damp = np.broadcast_arrays(warm, damp)
    ratio = _ratio(saturation_kpa(warm) * (damp / 100.0), pressed)
    low = np.full(warm.shape, _WET_BULB_FLOOR_C)
    high = warm.copy()
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        below = _ratio_of_wet_bulb(middle, warm, pressed) < ratio
        low = np.where(below, middle, low)
        high = np.where(below, high, middle)
    found = np.where(np.isnan(ratio), np.nan, high)
    return as_given(found, temperature_c, relative_humidity_pct)


def _ratio_of_wet_bulb(wet_c: Floats, dry_c: Floats, pressure_kpa: Floats) -> Floats:
    saturated = _ratio(saturation_kpa(wet_c), pressure_kpa)
    given_up = (2501.0 - 2.326 * wet_c) * saturated - 1.006 * (dry_c - wet_c)
    return given_up / (2501.0 + 1.86 * dry_c - 4.186 * wet_c)


def _ratio(held_kpa: Floats, pressure_kpa: Floats) -> Floats:
    return _WATER_TO_DRY_AIR * held_kpa / (pressure_kpa - held_kpa)


def _pressure(pressure_kpa: float | Floats) -> Floats:
    return admitted(
        pressure_kpa, lowest=LOWEST_KPA, highest=HIGHEST_KPA, name="pressure", unit="kPa"
    )
