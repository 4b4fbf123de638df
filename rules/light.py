"""Every light reading as PPFD, the photons a leaf can use, by what lights the sensor."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.model.quantities import LightSource

if TYPE_CHECKING:
    from collections.abc import Mapping

Floats = NDArray[np.float64]

LUX_PER_UMOL: Mapping[LightSource, float] = MappingProxyType(
    {
        LightSource.SUN: 54.0,
        LightSource.BLUE_SKY: 52.0,
        LightSource.WHITE_LED: 69.0,
        LightSource.HIGH_PRESSURE_SODIUM: 82.0,
        LightSource.METAL_HALIDE: 71.0,
        LightSource.COOL_WHITE_FLUORESCENT: 74.0,
        LightSource.INCANDESCENT: 50.0,
    }
)
"""lx for 1 µmol m⁻² s⁻¹: Thimijan & Heins 1983, table 3; white LED: CIE 15:2018 LED-B1 to B5."""

UMOL_PER_JOULE: Mapping[LightSource, float] = MappingProxyType(
    {LightSource.SUN: 2.0, LightSource.BLUE_SKY: 2.4}
)
"""µmol of PAR in 1 J of global radiation: printed factors run from 1.9 to 2.3 in clear sun."""


def ppfd_of_illuminance(illuminance_lx: Floats, source: LightSource) -> Floats:
    """Photons a leaf can use, in µmol m⁻² s⁻¹, from lux.

    illuminance_lx: 0 lx or more, else ValueError. Source: Thimijan & Heins 1983, HortScience
    18:818-822, table 3, within 5 % in sun and 10 % under lamps; white LED within 3 %.

    >>> ppfd_of_illuminance(np.array([108_000.0]), LightSource.SUN).tolist()
    [2000.0]
    """
    _demand_no_darkness_below_zero(illuminance_lx, name="illuminance", unit="lx")
    return illuminance_lx / LUX_PER_UMOL[source]


def ppfd_of_irradiance(irradiance_w_m2: Floats, source: LightSource) -> Floats:
    """Photons a leaf can use, in µmol m⁻² s⁻¹, from W m⁻² of global radiation.

    irradiance_w_m2: 0 W m⁻² or more. ValueError under a lamp: no factor holds from one lamp to
    the next. Source: 2.0 for sun lies amid the printed 1.895 (Coombs et al. 1985), 2.114
    (Britton & Dodd 1976) and 2.3; 2.4 for shade under blue sky follows from the ASTM G173 diffuse
    spectrum (2.42). Take either as within 15 %.

    >>> ppfd_of_irradiance(np.array([500.0]), LightSource.SUN).tolist()
    [1000.0]
    """
    _demand_no_darkness_below_zero(irradiance_w_m2, name="irradiance", unit="W m⁻²")
    if source not in UMOL_PER_JOULE:
        msg = f"irradiance: no factor from W m⁻² of {source} light; measure ppfd or illuminance"
        raise ValueError(msg)
    return irradiance_w_m2 * UMOL_PER_JOULE[source]


def _demand_no_darkness_below_zero(values: Floats, *, name: str, unit: str) -> None:
    if not bool(np.all((values >= 0.0) & np.isfinite(values))):
        msg = f"{name}: every value must be 0 {unit} or more"
        raise ValueError(msg)
