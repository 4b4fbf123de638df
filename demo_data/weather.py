"""Outside air, wind and sky at Tern Hollow, minute by minute.

The sun and the clear sky come from pvlib; clouds, air and vapour are worked out here.

Air temperature is a heap of warm air over the ground, heated by sunlight and drawn back to the
temperature of the sea: dT/dt = gain x sunlight - (T - T_sea) / relaxation.
Vapour pressure follows the breeze in the same way: damp from the sea by day, dry off the hills
at night. Gusts, clouds and eddies are Ornstein-Uhlenbeck noise: a random walk on a spring.
All figures are invented for one warm, dry November night; they are no climate of any place.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from pvlib import atmosphere, clearsky, irradiance, spa

Floats = NDArray[np.float64]

LATITUDE_DEG = -24.0
LONGITUDE_DEG = 160.0
ELEVATION_M = 40
LOCAL_AHEAD_OF_UTC_H = 11
LINKE_TURBIDITY = 3.0
TERRESTRIAL_AHEAD_OF_UTC_S = 69.2

SEA_C = 22.0
WARMING_K_PER_J_M2 = 6.5e-7
RELAXATION_S = 4.0 * 3600
SEA_BREEZE_KPA = 2.38
HILL_BREEZE_KPA = 1.44
BREEZE_TURNS_S = 1.6 * 3600


@dataclass(frozen=True, slots=True)
class Weather:
    """Minute values from one instant on; all arrays have the same length.

    `beam_w_m2` falls on a surface square to the sun, `diffuse_w_m2` on a level one. Azimuth runs
    clockwise from north. `cloud` is the share of the sun's disc that is hidden, 0 to 1.
    """

    start: datetime
    air_c: Floats
    vapour_kpa: Floats
    wind_m_s: Floats
    beam_w_m2: Floats
    diffuse_w_m2: Floats
    zenith_deg: Floats
    azimuth_deg: Floats
    cloud: Floats

    @property
    def sunlight_w_m2(self) -> Floats:
        """Sunlight of all wavelengths on a level surface in the open, W m⁻²."""
        height = np.clip(np.cos(np.radians(self.zenith_deg)), 0.0, 1.0)
        level: Floats = self.beam_w_m2 * height + self.diffuse_w_m2
        return level


def local_hours(start: datetime, minutes: int) -> Floats:
    """Hours since local midnight of the first day, for each minute from `start` on."""
    at = start.astimezone(UTC)
    first = at.hour + at.minute / 60 + LOCAL_AHEAD_OF_UTC_H
    day = 24.0 * np.floor(first / 24.0)
    hours: Floats = first - day + np.arange(minutes) / 60.0
    return hours


def springy_noise(rng: np.random.Generator, steps: int, *, memory: float) -> Floats:
    """Ornstein-Uhlenbeck noise with mean 0 and variance 1; `memory` in steps is its time scale."""
    keep = np.exp(-1.0 / memory)
    kicks = rng.standard_normal(steps) * np.sqrt(1.0 - keep**2)
    out = np.empty(steps)
    value = rng.standard_normal()
    for step in range(steps):
        value = keep * value + kicks[step]
        out[step] = value
    return out


def clear_sky(start: datetime, minutes: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Beam and diffuse light of a cloudless sky (W m⁻²), zenith and azimuth of the sun (degrees).

    Sun by the NREL solar position algorithm, light by the Ineichen and Perez model, both of pvlib.
    """
    unix = start.timestamp() + 60.0 * np.arange(minutes)
    position: Floats = np.asarray(
        spa.solar_position(
            unix,
            LATITUDE_DEG,
            LONGITUDE_DEG,
            ELEVATION_M,
            1009.0,
            20.0,
            TERRESTRIAL_AHEAD_OF_UTC_S,
            0.5667,
        )
    )
    apparent_zenith, azimuth = position[0], position[4]
    zenith = np.asarray(apparent_zenith, dtype=np.float64)
    up = zenith < 89.5
    air_mass = atmosphere.get_relative_airmass(np.where(up, zenith, 89.5))
    absolute = atmosphere.get_absolute_airmass(air_mass, 100_850.0)
    day_of_year = start.astimezone(UTC).timetuple().tm_yday
    sky = clearsky.ineichen(
        np.where(up, zenith, 89.5),
        absolute,
        LINKE_TURBIDITY,
        altitude=ELEVATION_M,
        dni_extra=float(irradiance.get_extra_radiation(day_of_year)),  # pyright: ignore[reportArgumentType]
    )
    beam = np.where(up, np.asarray(sky["dni"], dtype=np.float64), 0.0)
    diffuse = np.where(up, np.asarray(sky["dhi"], dtype=np.float64), 0.0)
    return beam, diffuse, zenith, np.asarray(azimuth, dtype=np.float64)


def hidden_sun(start: datetime, minutes: int, rng: np.random.Generator) -> Floats:
    """Share of the sun's disc behind cloud: fair-weather heaps from late morning to evening."""
    hours = local_hours(start, minutes) % 24.0
    heaps = np.interp(
        hours, [0.0, 10.3, 11.5, 15.0, 18.0, 21.0, 24.0], [0.02, 0.02, 0.30, 0.35, 0.2, 0.02, 0.02]
    )
    wander = 0.6 * springy_noise(rng, minutes, memory=9.0)
    wander += 0.8 * springy_noise(rng, minutes, memory=40.0)
    # A heap hides the sun where the wandering value is above the level left clear on average.
    level = np.interp(heaps, [0.0, 0.02, 0.2, 0.35, 0.5], [4.0, 3.2, 0.85, 0.4, 0.0])
    edge = np.clip((wander - level) * 6.0, -30.0, 30.0)
    return np.asarray(1.0 / (1.0 + np.exp(-edge)), dtype=np.float64)


def _drawn_back(first: float, target: Floats, push: Floats, relaxation_s: float) -> Floats:
    """Solve dx/dt = push - (x - target) / relaxation, minute by minute, exactly for held input."""
    keep = float(np.exp(-60.0 / relaxation_s))
    out = np.empty(len(target))
    value = first
    for step in range(len(target)):
        rest = target[step] + push[step] * relaxation_s
        value = rest + (value - rest) * keep
        out[step] = value
    return out


def weather(start: datetime, minutes: int, rng: np.random.Generator) -> Weather:
    """Make the weather of `minutes` minutes from the aware instant `start`."""
    clear_beam, clear_diffuse, zenith, azimuth = clear_sky(start, minutes)
    cloud = hidden_sun(start, minutes, rng)
    beam = clear_beam * (1.0 - 0.85 * cloud)
    diffuse = clear_diffuse * (1.0 + 0.9 * cloud)
    height = np.clip(np.cos(np.radians(zenith)), 0.0, 1.0)
    sunlight = beam * height + diffuse

    hours = local_hours(start, minutes) % 24.0
    push = WARMING_K_PER_J_M2 * sunlight
    sea = np.full(minutes, SEA_C)
    air = _drawn_back(SEA_C + 0.3, sea, push, RELAXATION_S)
    air += 0.20 * springy_noise(rng, minutes, memory=150.0)
    air += 0.06 * springy_noise(rng, minutes, memory=6.0)

    day = np.clip(np.interp(hours, [0, 6.5, 9.5, 17, 20, 24], [0, 0, 1, 1, 0, 0]), 0.0, 1.0)
    breeze = HILL_BREEZE_KPA + (SEA_BREEZE_KPA - HILL_BREEZE_KPA) * day
    vapour = _drawn_back(HILL_BREEZE_KPA, breeze, np.zeros(minutes), BREEZE_TURNS_S)
    vapour += 0.02 * springy_noise(rng, minutes, memory=90.0)
    vapour += 0.008 * springy_noise(rng, minutes, memory=8.0)

    mean_wind = 0.9 + 1.9 * day
    gusts = 0.30 * springy_noise(rng, minutes, memory=4.0)
    gusts += 0.25 * springy_noise(rng, minutes, memory=60.0)
    wind = mean_wind * np.exp(gusts - 0.08)
    return Weather(start, air, vapour, wind, beam, diffuse, zenith, azimuth, cloud)
