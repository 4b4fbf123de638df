"""The air around a plant: saturation, vapour pressure, deficit and dew point.

One equation for saturation throughout, FAO-56 eq. 11, which agrees with the reference equations of
ASHRAE and IAPWS within 0.3 % from 0 to 45 °C. Arrays in, arrays out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LOWEST_C = -20.0
HIGHEST_C = 60.0

_E0_KPA = 0.6108
_SLOPE = 17.27
_OFFSET_C = 237.3


def saturation_vapour_pressure_kpa(temperature_c: Floats) -> Floats:
    r"""Vapour pressure over liquid water at saturation, in kPa.

    .. math:: e_s = 0.6108 \exp(17.27\,T / (T + 237.3))

    temperature_c: -20 to 60 °C, else ValueError; below 0 °C over supercooled water.
    Source: Allen et al. 1998, FAO-56, eq. 11.

    >>> float(saturation_vapour_pressure_kpa(np.array([25.0]))[0].round(3))
    3.168
    """
    _demand(temperature_c, lowest=LOWEST_C, highest=HIGHEST_C, name="temperature", unit="°C")
    return _E0_KPA * np.exp(_SLOPE * temperature_c / (temperature_c + _OFFSET_C))


def vapour_pressure_kpa(temperature_c: Floats, relative_humidity_pct: Floats) -> Floats:
    """Pressure of the water vapour that the air holds, in kPa.

    temperature_c: -20 to 60 °C; relative_humidity_pct: 0 to 100 %, else ValueError.

    >>> float(vapour_pressure_kpa(np.array([25.0]), np.array([54.0]))[0].round(3))
    1.711
    """
    _demand_humidity(relative_humidity_pct)
    return saturation_vapour_pressure_kpa(temperature_c) * (relative_humidity_pct / 100.0)


def vapour_pressure_deficit_kpa(temperature_c: Floats, relative_humidity_pct: Floats) -> Floats:
    """How strongly the air pulls water from a leaf at air temperature, in kPa.

    temperature_c: -20 to 60 °C; relative_humidity_pct: 0 to 100 %, else ValueError.
    Source: FAO-56, es - ea as in example 6.

    >>> vpd = vapour_pressure_deficit_kpa(np.array([30.0, 30.0]), np.array([95.0, 70.0]))
    >>> vpd.round(3).tolist()
    [0.212, 1.273]
    """
    _demand_humidity(relative_humidity_pct)
    dryness = 1.0 - relative_humidity_pct / 100.0
    return saturation_vapour_pressure_kpa(temperature_c) * dryness


def leaf_to_air_deficit_kpa(
    leaf_temperature_c: Floats, air_temperature_c: Floats, relative_humidity_pct: Floats
) -> Floats:
    """How strongly the air pulls water from a leaf at the leaf's own temperature, in kPa.

    Negative: water condenses on the leaf. Temperatures: -20 to 60 °C; humidity: 0 to 100 %, else
    ValueError. Source: definition, e_s(leaf) - e(air); Campbell & Norman 1998.

    >>> leaf = np.array([30.0, 32.0, 28.0])
    >>> air = np.full(3, 30.0)
    >>> leaf_to_air_deficit_kpa(leaf, air, np.full(3, 95.0)).round(3).tolist()
    [0.212, 0.724, -0.251]
    """
    held = vapour_pressure_kpa(air_temperature_c, relative_humidity_pct)
    return saturation_vapour_pressure_kpa(leaf_temperature_c) - held


def dew_point_c(pressure_kpa: Floats) -> Floats:
    r"""Temperature at which air with this vapour pressure begins to wet the leaf, in °C.

    .. math:: T_d = 237.3\,y / (17.27 - y), \quad y = \ln(e / 0.6108)

    pressure_kpa: what saturated air holds from -20 to 60 °C, 0.1247 to 19.93 kPa, else ValueError.
    Source: FAO-56 eq. 11 solved for the temperature.

    >>> held = vapour_pressure_kpa(np.array([30.0]), np.array([90.0]))
    >>> float(dew_point_c(held)[0].round(2))
    28.18
    """
    ends = saturation_vapour_pressure_kpa(np.array([LOWEST_C, HIGHEST_C]))
    lowest, highest = float(ends[0]), float(ends[1])
    _demand(pressure_kpa, lowest=lowest, highest=highest, name="vapour pressure", unit="kPa")
    log_ratio = np.log(pressure_kpa / _E0_KPA)
    return _OFFSET_C * log_ratio / (_SLOPE - log_ratio)


def _demand_humidity(relative_humidity_pct: Floats) -> None:
    _demand(relative_humidity_pct, lowest=0.0, highest=100.0, name="relative humidity", unit="%")


def _demand(values: Floats, *, lowest: float, highest: float, name: str, unit: str) -> None:
    """Raise ValueError unless every value lies within; NaN does not."""
    if not bool(np.all((values >= lowest) & (values <= highest))):
        msg = f"{name}: every value must lie between {lowest:.4g} and {highest:.4g} {unit}"
        raise ValueError(msg)
