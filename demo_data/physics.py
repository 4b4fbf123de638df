"""The sums the demonstration is made from: moist air, one leaf, a shade house, a bag.

Written for the demonstration alone; it shares no line with the part of the program that judges
readings, so that the one can be held against the other. Every balance is an account: what a
store gains in a step is what flowed in less what flowed out, and the tests add it up.

Sources. Saturation: Buck (1981). Leaf energy balance and boundary layer: Campbell and Norman
(1998), chapters 7, 12 and 14. Latent heat: FAO-56 (1998), annex 3, eq. 3-1. Film permeance and
minimum leaf conductance: the ranges printed beside the parameters. Where it says *chosen*, the
figure is set by eye for a believable nursery and has no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PRESSURE_KPA = 101.0
STEFAN_BOLTZMANN = 5.67e-8
AIR_HEAT_J_MOL_K = 29.3
AIR_MOL_M3 = 40.9
WATER_G_MOL = 18.015
LEAF_EMISSIVITY = 0.97


def saturation_kpa(temperature_c: Floats) -> Floats:
    """Vapour pressure over liquid water, kPa. Buck (1981), -20 to 60 °C."""
    return np.asarray(
        0.61121 * np.exp(17.502 * temperature_c / (240.97 + temperature_c)), dtype=np.float64
    )


def latent_heat_j_mol(temperature_c: Floats) -> Floats:
    """Heat taken up by one mole of water as it evaporates. FAO-56 (1998), annex 3, eq. 3-1."""
    return (2.501e6 - 2361.0 * temperature_c) * WATER_G_MOL / 1000.0


def humidity_pct(temperature_c: Floats, vapour_kpa: Floats) -> Floats:
    """Relative humidity of air at `temperature_c` holding `vapour_kpa`, in percent."""
    return 100.0 * vapour_kpa / saturation_kpa(temperature_c)


def boundary_heat_mol(wind_m_s: Floats, breadth_m: float) -> Floats:
    """Conductance for heat of one side of a leaf, mol m⁻² s⁻¹.

    Campbell and Norman (1998), eq. 7.30, with their factor 1.4 for outdoor turbulence.
    """
    return 1.4 * 0.135 * np.sqrt(wind_m_s / breadth_m)


@dataclass(frozen=True, slots=True)
class LeafBalance:
    """What became of the light a leaf took in: temperature, and watts per square metre of leaf."""

    leaf_c: Floats
    vapour_deficit_kpa: Floats
    transpired_mol: Floats
    convected_w: Floats
    radiated_w: Floats
    evaporated_w: Floats


def leaf_balance(
    air_c: Floats,
    vapour_kpa: Floats,
    *,
    absorbed_w_m2: Floats,
    wind_m_s: Floats,
    breadth_m: float,
    vapour_mol: Floats,
    pressure_kpa: float = PRESSURE_KPA,
) -> LeafBalance:
    """Find the temperature at which a leaf gives off as much heat as it takes in.

    Both sides convect and radiate; the surroundings are as warm as the air. `vapour_mol` is the
    leaf's whole conductance for vapour, mol m⁻² s⁻¹. Campbell and Norman (1998), chapter 14,
    solved by Newton's method without their straight-line shortcut.
    """
    heat_mol = boundary_heat_mol(wind_m_s, breadth_m)
    leaf_c = air_c + 0.0
    for _ in range(12):
        convected, radiated, evaporated, deficit = _leaf_flows(
            leaf_c, air_c, vapour_kpa, heat_mol, vapour_mol, pressure_kpa
        )
        spare = absorbed_w_m2 - convected - radiated - evaporated
        saturated = saturation_kpa(leaf_c)
        slope = (
            2.0 * AIR_HEAT_J_MOL_K * heat_mol
            + 8.0 * LEAF_EMISSIVITY * STEFAN_BOLTZMANN * (leaf_c + 273.15) ** 3
            + latent_heat_j_mol(leaf_c)
            * vapour_mol
            * saturated
            * (17.502 * 240.97 / (240.97 + leaf_c) ** 2)
            / pressure_kpa
        )
        leaf_c = leaf_c + spare / slope
    convected, radiated, evaporated, deficit = _leaf_flows(
        leaf_c, air_c, vapour_kpa, heat_mol, vapour_mol, pressure_kpa
    )
    transpired = vapour_mol * deficit / pressure_kpa
    return LeafBalance(leaf_c, deficit, transpired, convected, radiated, evaporated)


def _leaf_flows(
    leaf_c: Floats,
    air_c: Floats,
    vapour_kpa: Floats,
    heat_mol: Floats,
    vapour_mol: Floats,
    pressure_kpa: float,
) -> tuple[Floats, Floats, Floats, Floats]:
    convected = 2.0 * AIR_HEAT_J_MOL_K * heat_mol * (leaf_c - air_c)
    radiated = (
        2.0 * LEAF_EMISSIVITY * STEFAN_BOLTZMANN * ((leaf_c + 273.15) ** 4 - (air_c + 273.15) ** 4)
    )
    deficit = saturation_kpa(leaf_c) - vapour_kpa
    evaporated = latent_heat_j_mol(leaf_c) * vapour_mol * deficit / pressure_kpa
    return convected, radiated, evaporated, deficit


@dataclass(frozen=True, slots=True)
class Cloth:
    """A shade cloth with, perhaps, one gap: a rectangle in the roof, open for part of the time.

    Lengths in metres from the house's south-west corner, x to the east, y to the north.
    `open_from` and `open_until` count steps of the arrays the cloth is asked about.
    """

    passes: float
    roof_m: float = 3.0
    west_m: float = 0.0
    east_m: float = 0.0
    south_m: float = 0.0
    north_m: float = 0.0
    open_from: int = 0
    open_until: int = 0

    def sunlit(
        self, x_m: float, y_m: float, *, z_m: float, zenith_deg: Floats, azimuth_deg: Floats
    ) -> Floats:
        """Share of the sun's disc seen through the gap from a point in the house, 0 to 1.

        The ray to the sun is followed up to the roof; the edge is as soft as the disc is wide
        (0.53°).
        """
        lit: Floats = np.zeros(len(zenith_deg))
        up = zenith_deg < 80.0
        rise = self.roof_m - z_m
        zenith = np.radians(np.where(up, zenith_deg, 0.0))
        azimuth = np.radians(azimuth_deg)
        reach = rise * np.tan(zenith)
        at_x = x_m + reach * np.sin(azimuth)
        at_y = y_m + reach * np.cos(azimuth)
        blur = np.radians(0.53) * rise / np.cos(zenith)
        inside_x = _soft_between(at_x, self.west_m, self.east_m, blur)
        inside_y = _soft_between(at_y, self.south_m, self.north_m, blur)
        step = np.arange(len(zenith_deg))
        torn = (step >= self.open_from) & (step < self.open_until)
        lit[up & torn] = (inside_x * inside_y)[up & torn]
        return lit


def _soft_between(value: Floats, low: float, high: float, blur: Floats) -> Floats:
    over = np.clip((value - low) / blur + 0.5, 0.0, 1.0)
    under = np.clip((high - value) / blur + 0.5, 0.0, 1.0)
    return over * under


@dataclass(frozen=True, slots=True)
class HouseAir:
    """Air and floor of a house over time, and the wind that is left inside."""

    air_c: Floats
    floor_c: Floats
    vapour_kpa: Floats
    wind_m_s: Floats


HOUSE_STEP_S = 20
HOUSE_HEIGHT_M = 3.0
FLOOR_HEAT_J_M2_K = 60_000.0  # the top hand's breadth of damp gravel and the pots; chosen
FLOOR_TO_AIR_W_M2_K = 8.0  # still to lightly moving air, convection only: 3 to 10; chosen
FLOOR_ABSORBS = 0.8
CLOTH_WARMS_HOUSE = 0.06  # share of the light stopped by the cloth that warms the air; chosen
WET_FLOOR_MOL_M2 = 0.08  # vapour conductance of a half-wet floor; chosen
SKY_COOLING_W_M2 = 70.0  # a clear night sky against surfaces at 20 °C: 60 to 90


def house_air(
    *,
    outside_c: Floats,
    outside_kpa: Floats,
    wind_m_s: Floats,
    sunlight_w_m2: Floats,
    cloud: Floats,
    changes_per_h: Floats,
    passes: float,
) -> HouseAir:
    """Follow the air of one house through series in steps of HOUSE_STEP_S.

    Air: heat by air changes, from the floor and from the warm cloth. Floor: light through the
    cloth, less evaporation, less what the night sky draws through the cloth. Vapour: from the wet
    floor, out by air changes.
    """
    steps = len(outside_c)
    air_out, floor_out, vapour_out = np.empty(steps), np.empty(steps), np.empty(steps)
    air_heat = AIR_MOL_M3 * AIR_HEAT_J_MOL_K * HOUSE_HEIGHT_M
    flow_mol = AIR_MOL_M3 * HOUSE_HEIGHT_M * changes_per_h / 3600.0
    store_mol = AIR_MOL_M3 * HOUSE_HEIGHT_M
    air, floor, vapour = float(outside_c[0]), float(outside_c[0]), float(outside_kpa[0]) + 0.1
    for step in range(steps):
        saturated = 0.61121 * np.exp(17.502 * floor / (240.97 + floor))
        evaporated = WET_FLOOR_MOL_M2 * (saturated - vapour) / PRESSURE_KPA
        light = sunlight_w_m2[step]
        to_air = FLOOR_TO_AIR_W_M2_K * (floor - air)
        air_gain = (
            flow_mol[step] * AIR_HEAT_J_MOL_K * (outside_c[step] - air)
            + to_air
            + CLOTH_WARMS_HOUSE * (1.0 - passes) * light
        )
        floor_gain = (
            FLOOR_ABSORBS * passes * light
            - to_air
            - (2.501e6 - 2361.0 * floor) * WATER_G_MOL / 1000.0 * evaporated
            - SKY_COOLING_W_M2 * passes * (1.0 - 0.8 * cloud[step])
        )
        vapour_gain = evaporated - flow_mol[step] * (vapour - outside_kpa[step]) / PRESSURE_KPA
        air += HOUSE_STEP_S * air_gain / air_heat
        floor += HOUSE_STEP_S * floor_gain / FLOOR_HEAT_J_M2_K
        vapour += HOUSE_STEP_S * vapour_gain * PRESSURE_KPA / store_mol
        air_out[step], floor_out[step], vapour_out[step] = air, floor, vapour
    return HouseAir(air_out, floor_out, vapour_out, 0.03 + 0.12 * wind_m_s)
