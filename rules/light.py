"""Every light figure as every other: photons a leaf can use, lux, watts of PAR, watts of sunlight.

All roads lead through PPFD, by what lights the sensor. A figure measured by one kind of sensor
means nothing for another until the light source is named: 1000 lx are 18.5 µmol in sun and 12.2
under high-pressure sodium. Numbers in, number out; arrays in, array out; NaN stays missing.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from rules.domain import Figure, Floats, admitted, as_given
from rules.model.quantities import LightSource, SensorKind

if TYPE_CHECKING:
    from collections.abc import Mapping

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

UMOL_PER_PAR_JOULE: Mapping[LightSource, float] = MappingProxyType(
    {
        LightSource.SUN: 4.57,
        LightSource.BLUE_SKY: 4.24,
        LightSource.WHITE_LED: 4.69,
        LightSource.HIGH_PRESSURE_SODIUM: 4.98,
        LightSource.METAL_HALIDE: 4.59,
        LightSource.COOL_WHITE_FLUORESCENT: 4.59,
        LightSource.INCANDESCENT: 5.0,
    }
)
"""µmol in 1 J between 400 and 700 nm: McCree 1972 and Thimijan & Heins 1983, table 3; white LED:
the mean of CIE 15:2018 LED-B1, B3 and B5, which run from 4.49 to 4.89."""

UMOL_PER_JOULE: Mapping[LightSource, float] = MappingProxyType(
    {LightSource.SUN: 2.0, LightSource.BLUE_SKY: 2.4}
)
"""µmol of PAR in 1 J of global radiation: printed factors run from 1.9 to 2.3 in clear sun."""


def ppfd_of_illuminance(illuminance_lx: Figure, source: LightSource) -> Figure:
    """Photons a leaf can use, in µmol m⁻² s⁻¹, from lux.

    illuminance_lx: 0 lx or more, else ValueError. Source: Thimijan & Heins 1983, HortScience
    18:818-822, table 3, within 5 % in sun and 10 % under lamps; white LED within 3 %.

    >>> ppfd_of_illuminance(54_000.0, LightSource.SUN)
    1000.0
    >>> ppfd_of_illuminance(np.array([108_000.0]), LightSource.SUN).tolist()
    [2000.0]
    """
    lit = _light(illuminance_lx, name="illuminance", unit="lx")
    return as_given(lit / LUX_PER_UMOL[source], illuminance_lx)


def ppfd_of_par_irradiance(par_irradiance_w_m2: Figure, source: LightSource) -> Figure:
    """Photons a leaf can use, in µmol m⁻² s⁻¹, from W m⁻² between 400 and 700 nm.

    par_irradiance_w_m2: 0 W m⁻² or more, else ValueError. Source: McCree 1972, Agricultural
    Meteorology 10:443-453; Thimijan & Heins 1983, table 3: within 1.5 % in sun, 5 % under lamps.

    >>> ppfd_of_par_irradiance(100.0, LightSource.SUN)
    457.0
    """
    lit = _light(par_irradiance_w_m2, name="PAR irradiance", unit="W m⁻²")
    return as_given(lit * UMOL_PER_PAR_JOULE[source], par_irradiance_w_m2)


def ppfd_of_irradiance(irradiance_w_m2: Figure, source: LightSource) -> Figure:
    """Photons a leaf can use, in µmol m⁻² s⁻¹, from W m⁻² of global radiation.

    irradiance_w_m2: 0 W m⁻² or more. ValueError under a lamp: no factor holds from one lamp to
    the next. Source: 2.0 for sun lies amid the printed 1.895 (Coombs et al. 1985), 2.114
    (Britton & Dodd 1976) and 2.3; 2.4 for shade under blue sky follows from the ASTM G173 diffuse
    spectrum (2.42). Take either as within 15 %.

    >>> ppfd_of_irradiance(np.array([500.0]), LightSource.SUN).tolist()
    [1000.0]
    """
    lit = _light(irradiance_w_m2, name="irradiance", unit="W m⁻²")
    return as_given(lit * _daylight_factor(source), irradiance_w_m2)


def ppfd_of_reading(measured: Figure, kind: SensorKind, source: LightSource) -> Figure:
    """Photons a leaf can use, in µmol m⁻² s⁻¹, from what a light sensor of any kind measures.

    measured: µmol m⁻² s⁻¹ of a quantum sensor, lx of a photometric one, W m⁻² of global radiation
    of a pyranometer; 0 or more. ValueError below, and for a pyranometer under a lamp.

    >>> ppfd_of_reading(6900.0, SensorKind.PHOTOMETRIC, LightSource.WHITE_LED)
    100.0
    """
    match kind:
        case SensorKind.QUANTUM:
            return as_given(_ppfd(measured), measured)
        case SensorKind.PHOTOMETRIC:
            return ppfd_of_illuminance(measured, source)
        case SensorKind.PYRANOMETER:
            return ppfd_of_irradiance(measured, source)


def illuminance_lx(ppfd_umol_m2_s: Figure, source: LightSource) -> Figure:
    """Light as an eye weighs it, in lx, from PPFD: 0 µmol m⁻² s⁻¹ or more, else ValueError.

    Source: as ppfd_of_illuminance, whose way back this is.

    >>> illuminance_lx(200.0, LightSource.SUN)
    10800.0
    """
    return as_given(_ppfd(ppfd_umol_m2_s) * LUX_PER_UMOL[source], ppfd_umol_m2_s)


def par_irradiance_w_m2(ppfd_umol_m2_s: Figure, source: LightSource) -> Figure:
    """Energy between 400 and 700 nm, in W m⁻², from PPFD: 0 or more, else ValueError.

    Source: as ppfd_of_par_irradiance, whose way back this is.

    >>> round(par_irradiance_w_m2(1000.0, LightSource.SUN), 1)
    218.8
    """
    return as_given(_ppfd(ppfd_umol_m2_s) / UMOL_PER_PAR_JOULE[source], ppfd_umol_m2_s)


def irradiance_w_m2(ppfd_umol_m2_s: Figure, source: LightSource) -> Figure:
    """Global radiation, in W m⁻², from PPFD: 0 or more. ValueError below, and under a lamp.

    Source: as ppfd_of_irradiance, whose way back this is.

    >>> irradiance_w_m2(1000.0, LightSource.SUN)
    500.0
    """
    return as_given(_ppfd(ppfd_umol_m2_s) / _daylight_factor(source), ppfd_umol_m2_s)


def _daylight_factor(source: LightSource) -> float:
    if source not in UMOL_PER_JOULE:
        msg = f"irradiance: no factor from W m⁻² of {source} light; measure ppfd or illuminance"
        raise ValueError(msg)
    return UMOL_PER_JOULE[source]


def _ppfd(ppfd_umol_m2_s: float | Floats) -> Floats:
    return _light(ppfd_umol_m2_s, name="PPFD", unit="µmol m⁻² s⁻¹")


def _light(values: float | Floats, *, name: str, unit: str) -> Floats:
    return admitted(values, lowest=0.0, highest=np.inf, name=name, unit=unit)
