"""Bags through several days, some tied and some not, with what is truly left in their scions.

For holding an estimate against a truth: the same physics as the recorded night, other weather, and
scions whose leaves and ties differ. Nothing of it is sent anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from demo_data.bag import BAG_STEP_S, Around, Bags, follow
from demo_data.nursery import HEALING_CLOTH, PPFD_PER_W
from demo_data.physics import HOUSE_STEP_S, HouseAir, house_air, humidity_pct
from demo_data.scion import scion_water_g
from demo_data.weather import Weather, local_hours, weather

Floats = NDArray[np.float64]

BEGINS = datetime(2026, 11, 20, 13, 0, tzinfo=UTC)  # local midnight
SPARE_MINUTES = 2
LEAF_M2 = 0.03
LEAF_WATER_G_M2 = 155.0
WOOD_WATER_G = 1.5
FRESH_G = LEAF_M2 * LEAF_WATER_G_M2 + WOOD_WATER_G
CRITICAL_SHARE = 0.6
SUPPLY_G_H = 0.16  # through a wet cut to an empty scion; chosen so that a tied bag holds


@dataclass(frozen=True, slots=True)
class Kind:
    """One bag of a trial: how fast its leaves let water go, and how its tie holds.

    `leaf_mol_m2_s` is with stomata shut. `changes_per_h` is air through the tie from `slips_h`
    hours after the start on, 0.4 before.
    """

    leaf_mol_m2_s: float
    changes_per_h: float
    slips_h: float


@dataclass(frozen=True, slots=True)
class Trial:
    """Minute means in every bag, minutes by bags, and the water truly left after each minute.

    `house_c` and `ppfd_umol_m2_s` are of the house, one entry a minute.
    """

    air_c: Floats
    humidity_pct: Floats
    leaf_c: Floats
    water_g: Floats
    house_c: Floats
    ppfd_umol_m2_s: Floats


def trial(kinds: tuple[Kind, ...], *, days: int, seed: int) -> Trial:
    """Follow bags of these kinds side by side in the healing house for some days."""
    sky = weather(BEGINS, days * 1440 + SPARE_MINUTES, np.random.default_rng(seed))
    return trial_under(sky, kinds, days=days)


def trial_under(sky: Weather, kinds: tuple[Kind, ...], *, days: int) -> Trial:
    """Follow bags under a given weather from BEGINS on, `SPARE_MINUTES` longer than the days."""
    house = _house(sky, days)
    steps = days * 86_400 // BAG_STEP_S
    count = len(kinds)

    def each(series: Floats, step_s: int) -> Floats:
        at = np.arange(steps) * (BAG_STEP_S / step_s)
        return np.repeat(np.interp(at, np.arange(len(series)), series)[:, None], count, axis=1)

    hours = np.arange(steps) * BAG_STEP_S / 3600.0
    slipped = hours[:, None] >= np.array([kind.slips_h for kind in kinds])
    tied = np.where(slipped, np.array([kind.changes_per_h for kind in kinds]), 0.4)
    wind = each(house.wind_m_s, HOUSE_STEP_S)
    leaf_mol = np.array([kind.leaf_mol_m2_s for kind in kinds])
    light = HEALING_CLOTH.passes * sky.sunlight_w_m2
    inside = follow(
        Bags(
            volume_m3=np.full(count, 0.006),
            wall_m2=np.full(count, 0.25),
            leaf_m2=np.full(count, LEAF_M2),
            leaf_day_mol=leaf_mol,
            leaf_night_mol=leaf_mol,
        ),
        Around(
            air_c=each(house.air_c, HOUSE_STEP_S),
            vapour_kpa=each(house.vapour_kpa, HOUSE_STEP_S),
            wind_m_s=wind,
            sunlight_w_m2=each(light, 60),
            sky_passes=each(HEALING_CLOTH.passes * (1.0 - 0.8 * sky.cloud), 60),
            changes_per_h=tied * (0.6 + 2.0 * wind),
            misted_g=np.zeros((steps, count)),
        ),
        wall_water_g_m2=np.full(count, 20.0),
    )
    supply = np.full(steps, SUPPLY_G_H)
    water = [
        scion_water_g(inside.leaf_drawn_g[:, bag], fresh_g=FRESH_G, supply_g_h=supply)
        for bag in range(count)
    ]
    damp = np.minimum(humidity_pct(inside.air_c, inside.vapour_kpa), 100.0)
    last = 60 // BAG_STEP_S - 1
    return Trial(
        air_c=_minute_means(inside.air_c),
        humidity_pct=_minute_means(damp),
        leaf_c=_minute_means(inside.leaf_c),
        water_g=np.stack(water, axis=1)[last :: last + 1],
        house_c=house.air_c.reshape(days * 1440, -1).mean(axis=1),
        ppfd_umol_m2_s=PPFD_PER_W * light[: days * 1440],
    )


def _house(sky: Weather, days: int) -> HouseAir:
    steps = days * 86_400 // HOUSE_STEP_S

    def finer(series: Floats) -> Floats:
        at = np.arange(steps) * HOUSE_STEP_S / 60.0
        return np.interp(at, np.arange(len(series)), series)

    hours = finer(local_hours(sky.start, len(sky.air_c))) % 24.0
    wind = finer(sky.wind_m_s)
    share = np.interp(hours, [0, 6.3, 6.7, 18.3, 18.7, 24], [0, 0, 1, 1, 0, 0])
    return house_air(
        outside_c=finer(sky.air_c),
        outside_kpa=finer(sky.vapour_kpa),
        wind_m_s=wind,
        sunlight_w_m2=finer(sky.sunlight_w_m2),
        cloud=finer(sky.cloud),
        changes_per_h=(22.0 + 23.0 * share) * (0.4 + 0.3 * wind),
        passes=HEALING_CLOTH.passes,
    )


def _minute_means(series: Floats) -> Floats:
    per = 60 // BAG_STEP_S
    means: Floats = series.reshape(-1, per, series.shape[1]).mean(axis=1)
    return means
