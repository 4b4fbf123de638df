"""The air around a plant: saturation, vapour pressure, deficit, dew point.

One equation for saturation throughout, FAO-56 eq. 11, which agrees with the reference equations of
ASHRAE and IAPWS within 0.3 % from 0 to 45 °C. Numbers in, number out; arrays in, array out. A
missing value (NaN) stays missing; a value outside the range of a sum is a ValueError that names the
range. What depends on the pressure of the site stands in rules.psychrometry.
"""

from __future__ import annotations

import numpy as np

from rules.domain import Figure, Floats, admitted, as_given

LOWEST_C = -20.0
HIGHEST_C = 60.0

_E0_KPA = 0.6108
_SLOPE = 17.27
_OFFSET_C = 237.3
_ZERO_C_IN_K = 273.15
_VAPOUR_J_KG_K = 461.5
"""Gas constant of water vapour, J kg⁻¹ K⁻¹: 8.3145 / 0.018015."""


def saturation_vapour_pressure_kpa(temperature_c: Figure) -> Figure:
    r"""Vapour pressure over liquid water at saturation, in kPa.

    .. math:: e_s = 0.6108 \exp(17.27\,T / (T + 237.3))

    temperature_c: -20 to 60 °C, else ValueError; below 0 °C over supercooled water.
    Source: Allen et al. 1998, FAO-56, eq. 11.

    >>> round(saturation_vapour_pressure_kpa(25.0), 3)
    3.168
    >>> saturation_vapour_pressure_kpa(np.array([15.0, 25.0])).round(3).tolist()
    [1.705, 3.168]
    """
    return as_given(saturation_kpa(_temperature(temperature_c)), temperature_c)


def saturation_slope_kpa_c(temperature_c: Figure) -> Figure:
    r"""How much more vapour the air can hold for one degree more, in kPa °C⁻¹.

    .. math:: \Delta = 4098\,e_s / (T + 237.3)^2

    temperature_c: -20 to 60 °C, else ValueError. Source: FAO-56, eq. 13.

    >>> round(saturation_slope_kpa_c(30.2), 3)
    0.246
    """
    warm = _temperature(temperature_c)
    return as_given(4098.0 * saturation_kpa(warm) / (warm + _OFFSET_C) ** 2, temperature_c)


def vapour_pressure_kpa(temperature_c: Figure, relative_humidity_pct: Figure) -> Figure:
    """Pressure of the water vapour that the air holds, in kPa.

    temperature_c: -20 to 60 °C; relative_humidity_pct: 0 to 100 %, else ValueError.
    Source: definition of relative humidity, FAO-56 eq. 10.

    >>> round(vapour_pressure_kpa(25.0, 54.0), 3)
    1.711
    """
    damp = _humidity(relative_humidity_pct)
    held = saturation_kpa(_temperature(temperature_c)) * (damp / 100.0)
    return as_given(held, temperature_c, relative_humidity_pct)


def vapour_pressure_deficit_kpa(temperature_c: Figure, relative_humidity_pct: Figure) -> Figure:
    """How strongly the air pulls water from a leaf at air temperature, in kPa.

    temperature_c: -20 to 60 °C; relative_humidity_pct: 0 to 100 %, else ValueError.
    Source: FAO-56, es - ea as in example 6.

    >>> round(vapour_pressure_deficit_kpa(25.0, 60.0), 3)
    1.267
    >>> vpd = vapour_pressure_deficit_kpa(np.array([30.0, 30.0]), np.array([95.0, 70.0]))
    >>> vpd.round(3).tolist()
    [0.212, 1.273]
    """
    dryness = 1.0 - _humidity(relative_humidity_pct) / 100.0
    lacking = saturation_kpa(_temperature(temperature_c)) * dryness
    return as_given(lacking, temperature_c, relative_humidity_pct)


def leaf_to_air_deficit_kpa(
    leaf_temperature_c: Figure, air_temperature_c: Figure, relative_humidity_pct: Figure
) -> Figure:
    """How strongly the air pulls water from a leaf at the leaf's own temperature, in kPa.

    Negative: water condenses on the leaf. Temperatures: -20 to 60 °C; humidity: 0 to 100 %, else
    ValueError. Source: definition, e_s(leaf) - e(air); Campbell & Norman 1998.

    >>> round(leaf_to_air_deficit_kpa(32.0, 30.0, 95.0), 3)
    0.724
    >>> round(leaf_to_air_deficit_kpa(28.0, 30.0, 95.0), 3)
    -0.251
    """
    leaf = admitted(
        leaf_temperature_c, lowest=LOWEST_C, highest=HIGHEST_C, name="leaf temperature", unit="°C"
    )
    air = _temperature(air_temperature_c)
    held = saturation_kpa(air) * (_humidity(relative_humidity_pct) / 100.0)
    return as_given(
        saturation_kpa(leaf) - held, leaf_temperature_c, air_temperature_c, relative_humidity_pct
    )


def dew_point_c(pressure_kpa: Figure) -> Figure:
    r"""Temperature at which air with this vapour pressure begins to wet the leaf, in °C.

    .. math:: T_d = 237.3\,y / (17.27 - y), \quad y = \ln(e / 0.6108)

    pressure_kpa: what saturated air holds from -20 to 60 °C, 0.1246 to 19.93 kPa, else ValueError.
    Source: FAO-56 eq. 11 solved for the temperature.

    >>> round(dew_point_c(vapour_pressure_kpa(30.0, 90.0)), 2)
    28.18
    """
    lowest, highest = saturation_kpa(np.array([LOWEST_C, HIGHEST_C])).tolist()
    held = admitted(
        pressure_kpa, lowest=lowest, highest=highest, name="vapour pressure", unit="kPa"
    )
    log_ratio = np.log(held / _E0_KPA)
    return as_given(_OFFSET_C * log_ratio / (_SLOPE - log_ratio), pressure_kpa)


def absolute_humidity_g_m3(temperature_c: Figure, relative_humidity_pct: Figure) -> Figure:
    r"""Water vapour in a cubic metre of air, in g m⁻³.

    .. math:: a = 10^6\,e / (461.5\,(T + 273.15))

    temperature_c: -20 to 60 °C; relative_humidity_pct: 0 to 100 %, else ValueError.
    Source: the gas law for water vapour, as in WMO-No. 8, Annex 4.A (from memory).

    >>> round(absolute_humidity_g_m3(30.0, 70.0), 2)
    21.23
    """
    warm = _temperature(temperature_c)
    held = saturation_kpa(warm) * (_humidity(relative_humidity_pct) / 100.0)
    dense = 1e6 * held / (_VAPOUR_J_KG_K * (warm + _ZERO_C_IN_K))
    return as_given(dense, temperature_c, relative_humidity_pct)


def saturation_kpa(temperature_c: Floats) -> Floats:
    """FAO-56 eq. 11 alone, for sums that have admitted their own temperatures, NaN as NaN."""
    saturated: Floats = _E0_KPA * np.exp(_SLOPE * temperature_c / (temperature_c + _OFFSET_C))
    return saturated


def _temperature(temperature_c: float | Floats) -> Floats:
    return admitted(
        temperature_c, lowest=LOWEST_C, highest=HIGHEST_C, name="temperature", unit="°C"
    )


def _humidity(relative_humidity_pct: float | Floats) -> Floats:
    return admitted(
        relative_humidity_pct, lowest=0.0, highest=100.0, name="relative humidity", unit="%"
    )
