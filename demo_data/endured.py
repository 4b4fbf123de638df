"""What bags go through minute by minute when something befalls them, and whether it kills them.

A bag's air is warmed by light and dried through its tie; drops on its wall and the leaves give
water back. Three sums of their own tell when a scion is lost: its water, its heat, its cold. Much
simpler than bag.py, so that a hundred bags can be followed for weeks. All figures are chosen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_data.physics import saturation_kpa

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

PPFD_PER_W = 2.02
WATER_MOL_G = 1.0 / 18.015
BAG_M3, WALL_WATER_G, LEAF_M2 = 0.006, 7.0, 0.03
FRESH_G, LETHAL_SHARE, SUPPLY_G_H = 6.15, 0.6, 0.16
HEAT_FROM_C, HEAT_MIN = 46.0, 25.0  # so many minutes at this leaf heat, half as many a degree above
COLD_FROM_C, COLD_C_H = 8.0, 16.0


@dataclass(frozen=True, slots=True)
class Befallen:
    """What befalls each bag, minute by minute, a column a bag, before the sums are done."""

    changes: Floats
    warmer: Floats
    drier: Floats
    passes: Floats
    leaf_mmol: Floats
    lost: Flags


def lived(
    plan: Befallen, grafted: NDArray[np.int64], *, sun: Floats, outside: Floats, damp: Floats
) -> tuple[Floats, Floats, Floats, NDArray[np.int64], list[str]]:
    """Follow all bags; return air, humidity, PPFD, when each died (-1: not) and of what."""
    minutes, count = plan.changes.shape
    air, humid = (np.empty((minutes, count)) for _ in range(2))
    lit = plan.passes * sun[:, None]
    house = outside[:, None] + 0.004 * sun[:, None] + plan.warmer
    vapour = np.maximum(np.minimum(damp[:, None], 0.95 * saturation_kpa(house)) - plan.drier, 0.4)
    excess, wall = np.zeros(count), np.full(count, WALL_WATER_G)
    water = np.full(count, FRESH_G)
    heat, cold = np.zeros(count), np.zeros(count)
    died = np.full(count, -1)
    how = ["" for _ in range(count)]
    leaf_mol_h = plan.leaf_mmol * 1e-3 * 3600 * LEAF_M2 / 101.3
    for minute in range(minutes):
        light = lit[minute]
        excess += (0.032 * light - excess) / 8.0
        air_c = house[minute] + excess
        leaf_c = air_c + 0.013 * light
        tie_mol_h = plan.changes[minute] * BAG_M3 * 0.405  # mol of vapour an hour and kPa
        wet = 0.5 * np.clip(wall / 1.5, 0.0, 1.0)
        within = saturation_kpa(air_c)
        leaf_kpa = saturation_kpa(leaf_c)
        wall_kpa = saturation_kpa(air_c - 0.3)
        held = tie_mol_h + leaf_mol_h + wet
        kpa = (tie_mol_h * vapour[minute] + leaf_mol_h * leaf_kpa + wet * wall_kpa) / held
        fog = np.minimum(kpa, within)
        wall += (
            (leaf_mol_h * (leaf_kpa - fog) - tie_mol_h * (fog - vapour[minute])) / 60 / WATER_MOL_G
        )
        wall = np.clip(wall, 0.0, 12.0)
        air[minute] = air_c
        humid[minute] = 100.0 * fog / within
        alive = (minute >= grafted) & (died < 0)
        fresh = minute == grafted
        water[fresh], heat[fresh], cold[fresh] = FRESH_G, 0.0, 0.0
        wall[fresh] = WALL_WATER_G
        lost = leaf_mol_h * np.maximum(leaf_kpa - fog, 0.0) / 60 / WATER_MOL_G
        water = np.minimum(water - lost + SUPPLY_G_H / 60 * (1.0 - water / FRESH_G), FRESH_G)
        heat += np.where(leaf_c > HEAT_FROM_C - 4, 2.0 ** (leaf_c - HEAT_FROM_C), 0.0)
        cold += np.maximum(COLD_FROM_C - air_c, 0.0) / 60
        for name, over in (
            ("dry", water < LETHAL_SHARE * FRESH_G),
            ("heat", heat > HEAT_MIN),
            ("cold", cold > COLD_C_H),
        ):
            for place in np.flatnonzero(over & alive & (died < 0)).tolist():
                died[place], how[place] = minute, name
    return air, humid, lit * PPFD_PER_W, died, how
