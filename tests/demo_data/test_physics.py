"""The demonstration's leaf, cloth and house against printed figures and against their accounts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_data.physics import (
    AIR_HEAT_J_MOL_K,
    AIR_MOL_M3,
    CLOTH_WARMS_HOUSE,
    FLOOR_ABSORBS,
    HOUSE_HEIGHT_M,
    PRESSURE_KPA,
    SKY_COOLING_W_M2,
    WATER_G_MOL,
    WET_FLOOR_MOL_M2,
    Cloth,
    boundary_heat_mol,
    house_air,
    humidity_pct,
    latent_heat_j_mol,
    leaf_balance,
    saturation_kpa,
)


def one(value: float) -> np.ndarray:
    return np.array([value])


@pytest.mark.published("FAO-56 (1998), annex 2, table 2.3")
@pytest.mark.parametrize(
    ("temperature_c", "kpa"), [(10.0, 1.228), (20.0, 2.338), (30.0, 4.243), (40.0, 7.378)]
)
def test_saturated_air_holds_what_the_table_says(temperature_c, kpa):
    assert saturation_kpa(one(temperature_c))[0] == pytest.approx(kpa, rel=0.003)


@pytest.mark.published("FAO-56 (1998), annex 3, eq. 3-1")
@pytest.mark.parametrize(("temperature_c", "mj_kg"), [(20.0, 2.454), (25.0, 2.442), (30.0, 2.430)])
def test_latent_heat(temperature_c, mj_kg):
    per_mol = latent_heat_j_mol(one(temperature_c))[0]
    assert per_mol / WATER_G_MOL / 1000.0 == pytest.approx(mj_kg, abs=0.001)


@pytest.mark.published("Campbell & Norman (1998), eq. 7.30 with factor 1.4 of sect. 7.13")
@pytest.mark.parametrize(("wind", "mol"), [(0.1, 0.267), (0.5, 0.598), (1.0, 0.845)])
def test_boundary_conductance(wind, mol):
    assert boundary_heat_mol(one(wind), 0.05)[0] == pytest.approx(mol, abs=0.001)


@pytest.mark.published(
    "method: Campbell & Norman (1998), chapter 14; figures from an independent root search"
)
@pytest.mark.parametrize(
    ("air_c", "humidity", "light", "wind", "mmol", "leaf_c", "deficit", "lost"),
    [
        pytest.param(30, 70, 150, 0.2, 5, 34.18, 2.40, 0.119, id="open shade, stomata shut"),
        pytest.param(30, 98, 75, 0.05, 5, 33.10, 0.90, 0.045, id="under a bag, shaded"),
        pytest.param(32, 98, 400, 0.05, 5, 47.7, 6.34, 0.313, id="under a bag, direct sun"),
        pytest.param(25, 90, 0, 0.2, 5, 24.98, 0.313, 0.015, id="at night"),
    ],
)
def test_leaf_comes_to_the_worked_temperature(
    air_c, humidity, light, wind, mmol, leaf_c, deficit, lost
):
    vapour = humidity / 100 * saturation_kpa(one(air_c))
    got = leaf_balance(
        one(air_c),
        vapour,
        absorbed_w_m2=one(light),
        wind_m_s=one(wind),
        breadth_m=0.05,
        vapour_mol=one(mmol / 1000),
        pressure_kpa=101.325,
    )
    assert got.leaf_c[0] == pytest.approx(leaf_c, abs=0.06)
    assert got.vapour_deficit_kpa[0] == pytest.approx(deficit, rel=0.008, abs=0.02)
    assert 1000 * got.transpired_mol[0] == pytest.approx(lost, rel=0.03, abs=0.0005)


@given(
    air_c=st.floats(5, 45),
    humidity=st.floats(10, 100),
    light=st.floats(0, 600),
    wind=st.floats(0.02, 3),
    mmol=st.floats(0.01, 300),
)
def test_leaf_gives_off_as_much_heat_as_it_takes_in(air_c, humidity, light, wind, mmol):
    got = leaf_balance(
        one(air_c),
        humidity / 100 * saturation_kpa(one(air_c)),
        absorbed_w_m2=one(light),
        wind_m_s=one(wind),
        breadth_m=0.05,
        vapour_mol=one(mmol / 1000),
    )
    given_off = got.convected_w + got.radiated_w + got.evaporated_w
    assert given_off[0] == pytest.approx(light, abs=1e-6)


def test_saturated_air_is_at_100_percent_and_half_of_it_at_50():
    full = saturation_kpa(one(23.0))
    assert humidity_pct(one(23.0), full)[0] == pytest.approx(100.0)
    assert humidity_pct(one(23.0), full / 2)[0] == pytest.approx(50.0)


TORN = Cloth(
    passes=0.3, west_m=4.5, east_m=5.5, south_m=2.0, north_m=3.0, open_from=0, open_until=1000
)


def lit(x_m: float, y_m: float, *, zenith: float, azimuth: float, cloth: Cloth = TORN) -> float:
    seen = cloth.sunlit(x_m, y_m, z_m=1.0, zenith_deg=one(zenith), azimuth_deg=one(azimuth))
    return float(seen[0])


def test_a_sun_overhead_lights_what_lies_below_the_gap_and_nothing_else():
    assert lit(5.0, 2.5, zenith=0.0, azimuth=0.0) == 1.0
    assert lit(5.6, 2.5, zenith=0.0, azimuth=0.0) == 0.0


def test_the_edge_of_the_patch_is_half_lit():
    assert lit(5.5, 2.5, zenith=0.0, azimuth=0.0) == pytest.approx(0.5)


def test_a_sun_in_the_east_throws_the_patch_to_the_west():
    # At 45 degrees the ray climbs the 2 m to the cloth while it runs 2 m to the east.
    assert lit(3.0, 2.5, zenith=45.0, azimuth=90.0) == 1.0
    assert lit(5.0, 2.5, zenith=45.0, azimuth=90.0) == 0.0
    assert lit(7.0, 2.5, zenith=45.0, azimuth=270.0) == 1.0


def test_a_gap_lets_no_sun_in_before_it_opens_or_after_it_is_mended():
    brief = Cloth(
        passes=0.3, west_m=4.5, east_m=5.5, south_m=2.0, north_m=3.0, open_from=2, open_until=4
    )
    seen = brief.sunlit(5.0, 2.5, z_m=1.0, zenith_deg=np.zeros(6), azimuth_deg=np.zeros(6))
    assert seen.tolist() == [0.0, 0.0, 1.0, 1.0, 0.0, 0.0]


def steady_house(**changed: float):
    # Five days of 20 s steps under one unchanging sky: long enough for the floor to settle.
    steps = 5 * 4320
    held = {
        "outside_c": 25.0,
        "outside_kpa": 1.8,
        "wind_m_s": 1.0,
        "sunlight_w_m2": 0.0,
        "cloud": 0.0,
        "changes_per_h": 30.0,
    } | changed
    passes = held.pop("passes", 0.3)
    return house_air(**{name: np.full(steps, value) for name, value in held.items()}, passes=passes)


def test_a_dark_house_in_saturated_air_is_as_warm_and_damp_as_outside():
    outside = float(saturation_kpa(one(25.0))[0])
    house = steady_house(outside_kpa=outside, passes=0.0)
    assert house.air_c[-1] == pytest.approx(25.0, abs=0.01)
    assert house.vapour_kpa[-1] == pytest.approx(outside, abs=0.01)


def test_a_settled_house_gives_off_the_heat_and_water_it_takes_in():
    house = steady_house(sunlight_w_m2=800.0)
    flow = AIR_MOL_M3 * HOUSE_HEIGHT_M * 30.0 / 3600.0
    evaporated = (
        WET_FLOOR_MOL_M2
        * (saturation_kpa(house.floor_c[-1:]) - house.vapour_kpa[-1:])
        / PRESSURE_KPA
    )
    blown_out = flow * (house.vapour_kpa[-1] - 1.8) / PRESSURE_KPA
    assert evaporated[0] == pytest.approx(blown_out, rel=1e-3)
    taken_in = 800.0 * (FLOOR_ABSORBS * 0.3 + CLOTH_WARMS_HOUSE * 0.7) - SKY_COOLING_W_M2 * 0.3
    latent = latent_heat_j_mol(house.floor_c[-1:])[0] * evaporated[0]
    carried = flow * AIR_HEAT_J_MOL_K * (house.air_c[-1] - 25.0)
    assert carried + latent == pytest.approx(taken_in, rel=1e-3)
