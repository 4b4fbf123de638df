"""A tied bag over grafted plants: heat and water of its air, its wall and the leaves inside.

Three stores of heat (leaf, wall; the air's own is too small to matter and follows the others at
once) and two of water (vapour in the air, drops on the wall); leaves draw theirs from the stock.
Several bags are followed side by side; every array runs over bags.

    leaf   C_leaf dT/dt = light - convection to bag air - radiation to wall - latent heat
    wall   C_wall dT/dt = light + convection in and out + radiation in and out - latent heat - sky
    air    0 = convection from leaf and wall + inflow through the tie
    vapour n de/dt / P = from leaves + from wet wall - through film - through the tie
    wall water: what the vapour account takes from the wall, and what a hand mists in
    drawn from leaves: what the vapour account takes from them, once any dew on them is gone
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_data.physics import (
    AIR_HEAT_J_MOL_K,
    AIR_MOL_M3,
    LEAF_EMISSIVITY,
    PRESSURE_KPA,
    SKY_COOLING_W_M2,
    STEFAN_BOLTZMANN,
    WATER_G_MOL,
    Floats,
    latent_heat_j_mol,
    saturation_kpa,
)

BAG_STEP_S = 5
LEAF_HEAT_J_M2_K = 650.0  # 155 g of water a square metre of leaf
WALL_HEAT_J_M2_K = 250.0  # film, drops and ties; chosen
LEAF_CONVECTS_W_M2_K = 5.0  # one side, nearly still air: 3 to 6, from u = 0.05 to 0.2 m/s
WALL_INSIDE_W_M2_K = 4.0  # free convection: 2 to 6; chosen
FILM_EMISSIVITY = 0.8  # wet film is nearly black to long waves; dry thin film much less
LEAF_ABSORBS = 0.5  # of all sunlight: 0.45 to 0.55
FILM_PASSES = 0.85
FILM_ABSORBS = 0.06
WALL_SEES_SKY = 0.3  # share of the wall that looks up; chosen
WALL_FACES_SUN = 0.35  # shadow of the bag over its wall area; chosen
FILM_MOL_M2 = 0.25e-3  # thin polyethylene passes 0.2e-3 to 0.3e-3 mol m⁻² s⁻¹ of vapour
FULLY_WET_MOL_M2 = 12.0 / WATER_G_MOL  # drops everywhere: some 10 to 20 g a square metre; chosen


@dataclass(frozen=True, slots=True)
class Bags:
    """What the bags are made of. One entry a bag.

    `leaf_day_mol` and `leaf_night_mol` are leaf conductances for vapour, mol m⁻² s⁻¹: about 0.005
    with closed stomata (1 to 20 thousandths over many species), more once new leaves work.
    """

    volume_m3: Floats
    wall_m2: Floats
    leaf_m2: Floats
    leaf_day_mol: Floats
    leaf_night_mol: Floats


@dataclass(frozen=True, slots=True)
class Around:
    """What surrounds the bags, one row a step of BAG_STEP_S and one column a bag.

    `changes_per_h` is the air exchanged through the tie; `misted_g` water sprayed in this step.
    """

    air_c: Floats
    vapour_kpa: Floats
    wind_m_s: Floats
    sunlight_w_m2: Floats
    sky_passes: Floats
    changes_per_h: Floats
    misted_g: Floats


@dataclass(frozen=True, slots=True)
class Inside:
    """What it was like in the bags, one row a step, and the two accounts.

    `leaf_drawn_g` is the water drawn out of the leaves since the start: dew that settles on them
    goes first, and never goes in. `water_gap_mol` is what the stores gained less what flowed in:
    nothing, but for rounding.
    `heat_gap_j` is the same account for heat.
    """

    air_c: Floats
    vapour_kpa: Floats
    leaf_c: Floats
    wall_c: Floats
    wall_water_g: Floats
    leaf_drawn_g: Floats
    water_gap_mol: Floats
    heat_gap_j: Floats


def follow(bags: Bags, around: Around, *, wall_water_g_m2: Floats) -> Inside:
    """Follow the bags through all steps, starting damp and as warm as the house."""
    steps, count = around.air_c.shape
    out = [np.empty((steps, count)) for _ in range(6)]
    air = around.air_c[0] + 0.0
    leaf, wall = air + 0.0, air + 0.0
    vapour = 0.97 * saturation_kpa(air)
    water = wall_water_g_m2 / WATER_G_MOL * bags.wall_m2
    store = AIR_MOL_M3 * bags.volume_m3
    leaf_heat = LEAF_HEAT_J_M2_K * bags.leaf_m2
    wall_heat = WALL_HEAT_J_M2_K * bags.wall_m2
    to_leaf = 2.0 * LEAF_CONVECTS_W_M2_K * bags.leaf_m2
    to_wall = WALL_INSIDE_W_M2_K * bags.wall_m2
    wall_mol = 1.09 * WALL_INSIDE_W_M2_K / AIR_HEAT_J_MOL_K * bags.wall_m2
    film_mol = FILM_MOL_M2 * bags.wall_m2
    first_water = water + store * vapour / PRESSURE_KPA
    first_heat = leaf_heat * leaf + wall_heat * wall
    flowed_water, flowed_heat = np.zeros(count), np.zeros(count)
    dew, drawn = np.zeros(count), np.zeros(count)
    for step in range(steps):
        house_c, house_kpa = around.air_c[step], around.vapour_kpa[step]
        light = around.sunlight_w_m2[step]
        tie_mol = store * around.changes_per_h[step] / 3600.0
        air = (to_leaf * leaf + to_wall * wall + tie_mol * AIR_HEAT_J_MOL_K * house_c) / (
            to_leaf + to_wall + tie_mol * AIR_HEAT_J_MOL_K
        )
        # Vapour, solved for the end of the step so that the small store of air stays steady.
        awake = np.clip(light / 40.0, 0.0, 1.0)
        leaf_mol = bags.leaf_m2 * (
            bags.leaf_night_mol + (bags.leaf_day_mol - bags.leaf_night_mol) * awake
        )
        leaf_sat, wall_sat = saturation_kpa(leaf), saturation_kpa(wall)
        wet = np.clip(water / (FULLY_WET_MOL_M2 * bags.wall_m2), 0.0, 1.0)
        wet_mol = wall_mol * np.where(vapour > wall_sat, 1.0, wet)
        out_mol = film_mol + tie_mol
        held = store / BAG_STEP_S
        after = (held * vapour + leaf_mol * leaf_sat + wet_mol * wall_sat + out_mol * house_kpa) / (
            held + leaf_mol + wet_mol + out_mol
        )
        from_leaf = leaf_mol * (leaf_sat - after) / PRESSURE_KPA
        from_wall = wet_mol * (wall_sat - after) / PRESSURE_KPA
        through = out_mol * (after - house_kpa) / PRESSURE_KPA
        # Air cannot hold more than saturation: the rest is fog, and settles on the wall.
        fog = np.maximum(after - saturation_kpa(air), 0.0) * store / PRESSURE_KPA / BAG_STEP_S
        from_wall = from_wall - fog
        gain_mol = (from_leaf + from_wall - through) * BAG_STEP_S
        vapour = vapour + gain_mol * PRESSURE_KPA / store
        misted = around.misted_g[step] / WATER_G_MOL
        water = water - from_wall * BAG_STEP_S + misted
        flowed_water += misted + (from_leaf - through) * BAG_STEP_S
        drawn += np.maximum(from_leaf * BAG_STEP_S - dew, 0.0)
        dew = np.maximum(dew - from_leaf * BAG_STEP_S, 0.0)
        # Heat.
        exchange = (
            bags.leaf_m2
            * 2.0
            * LEAF_EMISSIVITY
            * FILM_EMISSIVITY
            * STEFAN_BOLTZMANN
            * ((leaf + 273.15) ** 4 - (wall + 273.15) ** 4)
        )
        leaf_light = LEAF_ABSORBS * FILM_PASSES * light * bags.leaf_m2
        leaf_latent = latent_heat_j_mol(leaf) * from_leaf
        leaf_air = to_leaf * (leaf - air)
        leaf_gain = leaf_light - leaf_air - exchange - leaf_latent
        outside_w = (3.5 + 4.0 * np.sqrt(around.wind_m_s[step])) * bags.wall_m2 * (wall - house_c)
        radiated = (
            FILM_EMISSIVITY
            * STEFAN_BOLTZMANN
            * bags.wall_m2
            * ((wall + 273.15) ** 4 - (house_c + 273.15) ** 4)
        )
        sky = SKY_COOLING_W_M2 * WALL_SEES_SKY * around.sky_passes[step] * bags.wall_m2
        wall_light = FILM_ABSORBS * WALL_FACES_SUN * light * bags.wall_m2
        wall_latent = latent_heat_j_mol(wall) * from_wall
        wall_gain = (
            wall_light
            + to_wall * (air - wall)
            + exchange
            - outside_w
            - radiated
            - sky
            - wall_latent
        )
        tie_w = tie_mol * AIR_HEAT_J_MOL_K * (air - house_c)
        flowed_heat += BAG_STEP_S * (
            leaf_light + wall_light - outside_w - radiated - sky - tie_w - leaf_latent - wall_latent
        )
        leaf = leaf + BAG_STEP_S * leaf_gain / leaf_heat
        wall = wall + BAG_STEP_S * wall_gain / wall_heat
        weighed = (water * WATER_G_MOL, drawn * WATER_G_MOL)
        for series, value in zip(out, (air, vapour, leaf, wall, *weighed), strict=True):
            series[step] = value
    water_gap = water + store * vapour / PRESSURE_KPA - first_water - flowed_water
    heat_gap = leaf_heat * leaf + wall_heat * wall - first_heat - flowed_heat
    return Inside(
        air_c=out[0],
        vapour_kpa=out[1],
        leaf_c=out[2],
        wall_c=out[3],
        wall_water_g=out[4],
        leaf_drawn_g=out[5],
        water_gap_mol=water_gap,
        heat_gap_j=heat_gap,
    )
