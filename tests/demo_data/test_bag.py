"""A bag in the demonstration keeps its accounts and does what bags are known to do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_data.bag import BAG_STEP_S, Around, Bags, follow
from demo_data.physics import humidity_pct, saturation_kpa

MINUTE = 60 // BAG_STEP_S
BAG = Bags(
    volume_m3=np.array([0.006]),
    wall_m2=np.array([0.25]),
    leaf_m2=np.array([0.03]),
    leaf_day_mol=np.array([0.005]),
    leaf_night_mol=np.array([0.005]),
)
DAMP_WALL = np.array([20.0])


def around(
    minutes: int,
    *,
    air_c: float = 24.0,
    humidity: float = 60.0,
    light: float = 0.0,
    changes_per_h: float = 0.5,
    misted_g: float = 0.0,
) -> Around:
    steps = minutes * MINUTE

    def held(value: float) -> np.ndarray:
        return np.full((steps, 1), value)

    return Around(
        air_c=held(air_c),
        vapour_kpa=humidity / 100 * saturation_kpa(held(air_c)),
        wind_m_s=held(0.2),
        sunlight_w_m2=held(light),
        sky_passes=held(0.0),
        changes_per_h=held(changes_per_h),
        misted_g=held(misted_g / steps),
    )


def humidity_in(inside) -> np.ndarray:
    return humidity_pct(inside.air_c[:, 0], inside.vapour_kpa[:, 0])


@settings(max_examples=30, deadline=None)
@given(
    air_c=st.floats(8, 40),
    humidity=st.floats(15, 100),
    light=st.floats(0, 600),
    changes_per_h=st.floats(0, 150),
    misted_g=st.floats(0, 5),
    wall=st.floats(0, 40),
)
def test_no_water_and_no_heat_from_nothing(air_c, humidity, light, changes_per_h, misted_g, wall):
    inside = follow(
        BAG,
        around(
            20,
            air_c=air_c,
            humidity=humidity,
            light=light,
            changes_per_h=changes_per_h,
            misted_g=misted_g,
        ),
        wall_water_g_m2=np.array([wall]),
    )
    assert abs(inside.water_gap_mol[0]) < 1e-12
    assert abs(inside.heat_gap_j[0]) < 1e-6
    assert inside.wall_water_g.min() >= 0.0


def test_a_sealed_bag_with_nothing_in_it_keeps_its_water():
    bare = replace(BAG, leaf_day_mol=np.zeros(1), leaf_night_mol=np.zeros(1))
    inside = follow(bare, around(240, humidity=100.0, changes_per_h=0.0), wall_water_g_m2=DAMP_WALL)
    vapour_g = 0.006 * 40.9 * 18.015 * inside.vapour_kpa[:, 0] / 101.0
    held_g = inside.wall_water_g[:, 0] + vapour_g
    # The film itself still passes a little towards equally damp air: next to nothing.
    assert np.ptp(held_g) < 0.01


def test_a_tied_bag_stays_near_saturation_all_night():
    inside = follow(BAG, around(600), wall_water_g_m2=DAMP_WALL)
    assert humidity_in(inside)[MINUTE * 30 :].min() > 97.0


def test_an_untied_bag_dries_towards_the_air_of_the_house():
    inside = follow(BAG, around(300, changes_per_h=100.0), wall_water_g_m2=DAMP_WALL)
    humidity = humidity_in(inside)
    assert humidity[-1] < 70.0
    assert humidity[-1] > 60.0
    assert inside.wall_water_g[-1, 0] < 0.05


def test_an_untied_bag_lasts_longer_the_wetter_it_was():
    lasted = []
    for wall in (5.0, 10.0, 20.0):
        inside = follow(BAG, around(420, changes_per_h=60.0), wall_water_g_m2=np.array([wall]))
        lasted.append(int(np.argmax(humidity_in(inside) < 80.0)))
    assert 0 < lasted[0] < lasted[1] < lasted[2]


def test_a_bag_in_full_sun_overheats_while_one_in_shade_does_not():
    sun = follow(BAG, around(60, air_c=30.0, light=900.0), wall_water_g_m2=DAMP_WALL)
    shade = follow(BAG, around(60, air_c=30.0, light=110.0), wall_water_g_m2=DAMP_WALL)
    assert sun.air_c[-1, 0] > 38.0
    assert sun.leaf_c[-1, 0] > 42.0
    assert 30.5 < shade.air_c[-1, 0] < 33.0


def test_a_leaf_in_a_lit_bag_is_warmer_than_its_air_and_the_air_than_the_wall():
    inside = follow(BAG, around(60, air_c=28.0, light=120.0), wall_water_g_m2=DAMP_WALL)
    assert inside.leaf_c[-1, 0] > inside.air_c[-1, 0] > inside.wall_c[-1, 0] > 28.0


def test_a_bag_at_night_is_as_warm_as_the_house():
    inside = follow(BAG, around(240, humidity=95.0), wall_water_g_m2=DAMP_WALL)
    assert inside.air_c[-1, 0] == pytest.approx(24.0, abs=0.3)


def test_a_night_sky_seen_through_thin_cloth_cools_the_wall():
    under = around(240)
    cooled = follow(
        BAG, replace(under, sky_passes=np.full((240 * MINUTE, 1), 0.5)), wall_water_g_m2=DAMP_WALL
    )
    shut = follow(BAG, under, wall_water_g_m2=DAMP_WALL)
    assert cooled.wall_c[-1, 0] < shut.wall_c[-1, 0] - 0.3


def test_a_dry_wall_below_the_dew_point_grows_wet():
    # A lit leaf warms and wets the air; the film beside it is cooler, and dry at first.
    under = around(60, air_c=28.0, humidity=99.0, light=120.0)
    inside = follow(BAG, under, wall_water_g_m2=np.zeros(1))
    settled = slice(30 * MINUTE, None)
    assert inside.wall_water_g[-1, 0] > inside.wall_water_g[30 * MINUTE, 0] > 0.0
    # The wall is hardly wet yet, but it and not the warmer air sets how damp it is.
    assert inside.wall_water_g[settled].max() < 0.1
    wall_holds = saturation_kpa(inside.wall_c[settled])
    air_holds = saturation_kpa(inside.air_c[settled])
    assert (air_holds > wall_holds + 0.05).all()
    assert (inside.vapour_kpa[settled] < wall_holds + 0.2 * (air_holds - wall_holds)).all()


def test_air_never_holds_more_than_saturation_even_when_steam_blows_in():
    steam = around(60, humidity=160.0, changes_per_h=400.0)
    inside = follow(BAG, steam, wall_water_g_m2=np.zeros(1))
    assert humidity_in(inside).max() < 100.0 + 1e-6
    assert abs(inside.water_gap_mol[0]) < 1e-12
    assert inside.wall_water_g[-1, 0] > 1.0


def test_misting_a_dry_bag_makes_it_damp_again():
    dry = around(20, changes_per_h=0.5)
    misted = dry.misted_g.copy()
    misted[:MINUTE] = 4.0 / MINUTE
    before = follow(BAG, dry, wall_water_g_m2=np.zeros(1))
    after = follow(BAG, replace(dry, misted_g=misted), wall_water_g_m2=np.zeros(1))
    assert humidity_in(after)[-1] > 97.0 > humidity_in(before)[-1]


def test_bags_side_by_side_do_not_touch_each_other():
    two = Bags(*(np.repeat(getattr(BAG, name), 2) for name in BAG.__slots__))
    alone = around(60, light=80.0)
    beside = Around(*(np.repeat(getattr(alone, name), 2, axis=1) for name in alone.__slots__))
    beside.changes_per_h[:, 1] = 90.0
    both = follow(two, beside, wall_water_g_m2=np.array([20.0, 20.0]))
    single = follow(BAG, alone, wall_water_g_m2=DAMP_WALL)
    assert np.allclose(both.vapour_kpa[:, 0], single.vapour_kpa[:, 0], rtol=0, atol=1e-12)
    assert both.vapour_kpa[-1, 1] < both.vapour_kpa[-1, 0]
