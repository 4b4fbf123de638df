"""The air sums against what others printed, and against two independent libraries."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from rules.air import (
    absolute_humidity_g_m3,
    dew_point_c,
    leaf_to_air_deficit_kpa,
    saturation_slope_kpa_c,
    saturation_vapour_pressure_kpa,
    vapour_pressure_deficit_kpa,
    vapour_pressure_kpa,
)
from rules.psychrometry import (
    humidity_ratio_kg_kg,
    latent_heat_mj_kg,
    pressure_at_elevation_kpa,
    psychrometric_constant_kpa_c,
    wet_bulb_c,
)

psychrolib.SetUnitSystem(psychrolib.SI)


def one(value: float):
    return np.array([value])


# 15, 18 and 25 °C were read in printed copies of the paper's examples; the other rows are its
# equation 11 rounded to three decimals, as its table 2.3 is said to be (from memory).
@pytest.mark.published("FAO-56 (1998), eq. 11 and annex 2, table 2.3")
@pytest.mark.parametrize(
    ("temperature_c", "printed_kpa"),
    [
        (0, 0.611),
        (1, 0.657),
        (5, 0.872),
        (10, 1.228),
        (15, 1.705),
        (18, 2.064),
        (20, 2.338),
        (25, 3.168),
        (30, 4.243),
        (35, 5.623),
        (40, 7.376),
        (45, 9.582),
    ],
)
def test_saturated_air_holds_what_the_table_prints(temperature_c, printed_kpa):
    saturated = saturation_vapour_pressure_kpa(one(temperature_c))[0]
    assert saturated == pytest.approx(printed_kpa, abs=0.0006)


@pytest.mark.published("FAO-56 (1998), example 3, p. 69")
def test_mean_saturation_of_a_warm_and_a_cool_hour():
    mean = saturation_vapour_pressure_kpa(np.array([24.5, 15.0])).mean()
    assert mean == pytest.approx(2.39, abs=0.005)


@pytest.mark.published("FAO-56 (1998), example 5, p. 72")
def test_vapour_held_by_the_example_day():
    held = vapour_pressure_kpa(np.array([18.0, 25.0]), np.array([82.0, 54.0])).mean()
    assert held == pytest.approx(1.70, abs=0.005)


@pytest.mark.published("FAO-56 (1998), example 6")
def test_deficit_of_the_example_day():
    saturated = saturation_vapour_pressure_kpa(np.array([18.0, 25.0])).mean()
    held = vapour_pressure_kpa(np.array([18.0, 25.0]), np.array([82.0, 54.0])).mean()
    assert saturated - held == pytest.approx(0.91, abs=0.005)


@pytest.mark.published("psychrolib 2.5.0 and CoolProp 8.0.0, air at 101325 Pa")
@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "dew_c", "deficit_kpa"),
    [
        (20.0, 50.0, 9.27, 1.169),
        (25.0, 50.0, 13.86, 1.584),
        (30.0, 70.0, 23.93, 1.274),
        (30.0, 90.0, 28.18, 0.425),
        (30.0, 98.0, 29.65, 0.085),
        (35.0, 60.0, 26.07, 2.251),
    ],
)
def test_dew_point_and_deficit_as_other_libraries_give_them(
    temperature_c, humidity_pct, dew_c, deficit_kpa
):
    held = vapour_pressure_kpa(one(temperature_c), one(humidity_pct))
    assert dew_point_c(held)[0] == pytest.approx(dew_c, abs=0.03)
    deficit = vapour_pressure_deficit_kpa(one(temperature_c), one(humidity_pct))
    assert deficit[0] == pytest.approx(deficit_kpa, abs=0.003)


@pytest.mark.published("ASHRAE / Hyland & Wexler, through psychrolib")
@pytest.mark.parametrize("temperature_c", [1.0, 10.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0])
def test_saturation_agrees_with_ashrae_within_three_in_a_thousand(temperature_c):
    theirs = psychrolib.GetSatVapPres(temperature_c) / 1000.0
    assert saturation_vapour_pressure_kpa(one(temperature_c))[0] == pytest.approx(theirs, rel=0.003)


@pytest.mark.published("IAPWS-95, through CoolProp")
@pytest.mark.parametrize("temperature_c", [1.0, 10.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0])
def test_saturation_agrees_with_iapws_within_three_in_a_thousand(temperature_c):
    theirs = PropsSI("P", "T", temperature_c + 273.15, "Q", 0, "Water") / 1000.0
    assert saturation_vapour_pressure_kpa(one(temperature_c))[0] == pytest.approx(theirs, rel=0.003)


@pytest.mark.published("ASHRAE / Hyland & Wexler, through psychrolib")
@pytest.mark.parametrize("temperature_c", [5.0, 15.0, 25.0, 35.0, 45.0])
@pytest.mark.parametrize("humidity_pct", [30.0, 60.0, 90.0, 99.0])
def test_dew_point_agrees_with_psychrolib(temperature_c, humidity_pct):
    theirs = psychrolib.GetTDewPointFromRelHum(temperature_c, humidity_pct / 100.0)
    held = vapour_pressure_kpa(one(temperature_c), one(humidity_pct))
    # psychrolib goes over to ice below 0 °C, where dew becomes frost.
    if theirs > 0.0:
        assert dew_point_c(held)[0] == pytest.approx(theirs, abs=0.03)
    else:
        assert dew_point_c(held)[0] == pytest.approx(theirs, abs=1.5)


@pytest.mark.published("Campbell & Norman 1998, definition; values recomputed with FAO-56 eq. 11")
@pytest.mark.parametrize(
    ("leaf_c", "deficit_kpa"), [(30.0, 0.212), (32.0, 0.724), (35.0, 1.592), (28.0, -0.251)]
)
def test_a_warm_leaf_dries_in_damp_air_and_a_cool_one_is_wetted(leaf_c, deficit_kpa):
    deficit = leaf_to_air_deficit_kpa(one(leaf_c), one(30.0), one(95.0))[0]
    assert deficit == pytest.approx(deficit_kpa, abs=0.003)


@pytest.mark.published("d(VPD)/dRH = e_s / 100, by definition; values with FAO-56 eq. 11")
@pytest.mark.parametrize(
    ("temperature_c", "per_pct"), [(20.0, 0.0234), (25.0, 0.0317), (30.0, 0.0424), (35.0, 0.0562)]
)
def test_one_percent_of_humidity_is_worth_more_in_warm_air(temperature_c, per_pct):
    both = vapour_pressure_deficit_kpa(np.full(2, temperature_c), np.array([94.0, 95.0]))
    assert both[0] - both[1] == pytest.approx(per_pct, rel=0.01)


@pytest.mark.published("FAO-56 (1998), examples 17 and 18, by eq. 13")
@pytest.mark.parametrize(("temperature_c", "printed"), [(30.2, 0.246), (16.9, 0.122)])
def test_slope_of_the_saturation_curve(temperature_c, printed):
    assert saturation_slope_kpa_c(temperature_c) == pytest.approx(printed, abs=0.0005)


@pytest.mark.published("ASHRAE Handbook - Fundamentals 2017, ch. 1, table 1")
@pytest.mark.parametrize(("elevation_m", "printed_pa"), [(0, 101325), (500, 95461), (1000, 89875)])
def test_pressure_of_the_standard_atmosphere(elevation_m, printed_pa):
    assert 1000.0 * pressure_at_elevation_kpa(elevation_m) == pytest.approx(printed_pa, abs=1.0)


@pytest.mark.published("FAO-56 (1998), example 4, p. 70: 87.9 kPa at 1200 m")
def test_pressure_at_the_example_station():
    assert pressure_at_elevation_kpa(1200.0) == pytest.approx(87.9, abs=0.4)


@pytest.mark.published("FAO-56 (1998), examples 2 and 17, by eq. 8")
@pytest.mark.parametrize(("pressure_kpa", "printed"), [(81.8, 0.054), (101.3, 0.0674)])
def test_psychrometric_constant(pressure_kpa, printed):
    assert psychrometric_constant_kpa_c(pressure_kpa) == pytest.approx(printed, abs=0.0005)


@pytest.mark.published("FAO-56 (1998), annex 3: 2.45 MJ/kg at 20 °C (from memory)")
def test_latent_heat_at_twenty_degrees():
    assert latent_heat_mj_kg(20.0) == pytest.approx(2.45, abs=0.005)


@pytest.mark.published("IAPWS-95, through CoolProp: heat of evaporation")
@pytest.mark.parametrize("temperature_c", [5.0, 20.0, 35.0, 50.0])
def test_latent_heat_as_the_steam_tables_have_it(temperature_c):
    ends = [PropsSI("H", "T", temperature_c + 273.15, "Q", q, "Water") for q in (1, 0)]
    theirs = (ends[0] - ends[1]) / 1e6
    assert latent_heat_mj_kg(temperature_c) == pytest.approx(theirs, rel=0.002)


# Tolerances as in the table of checks: 0.1 °C, 0.5 %, 0.1 %.
@pytest.mark.published("psychrolib 2.5.0 and CoolProp 8.0.0, air at 101325 Pa")
@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "wet_c", "ratio", "dense_g_m3"),
    [
        (20.0, 50.0, 13.78, 0.00726, 8.64),
        (25.0, 50.0, 17.89, 0.00988, 11.52),
        (30.0, 70.0, 25.50, 0.01880, 21.24),
        (30.0, 90.0, 28.59, 0.02438, 27.32),
        (30.0, 98.0, 29.72, 0.02664, 29.74),
        (35.0, 60.0, 28.17, 0.02144, 23.74),
    ],
)
def test_wet_bulb_humidity_ratio_and_absolute_humidity(
    temperature_c, humidity_pct, wet_c, ratio, dense_g_m3
):
    wet = wet_bulb_c(temperature_c, humidity_pct, pressure_kpa=101.325)
    assert wet == pytest.approx(wet_c, abs=0.02)
    held = vapour_pressure_kpa(temperature_c, humidity_pct)
    assert humidity_ratio_kg_kg(held, pressure_kpa=101.325) == pytest.approx(ratio, rel=0.005)
    assert absolute_humidity_g_m3(temperature_c, humidity_pct) == pytest.approx(
        dense_g_m3, rel=0.0015
    )


@pytest.mark.published("ASHRAE through psychrolib 2.5.0; CoolProp 8.0.0 (real moist air)")
@pytest.mark.parametrize("temperature_c", [10.0, 20.0, 30.0, 40.0, 50.0])
@pytest.mark.parametrize("humidity_pct", [30.0, 60.0, 90.0, 99.0])
@pytest.mark.parametrize("pressure_kpa", [101.325, 80.0, 60.0])
def test_wet_bulb_agrees_with_two_libraries_high_and_low(temperature_c, humidity_pct, pressure_kpa):
    ours = wet_bulb_c(temperature_c, humidity_pct, pressure_kpa=pressure_kpa)
    share, pressure_pa = humidity_pct / 100.0, 1000.0 * pressure_kpa
    ashrae = psychrolib.GetTWetBulbFromRelHum(temperature_c, share, pressure_pa)
    real = HAPropsSI("B", "T", temperature_c + 273.15, "R", share, "P", pressure_pa) - 273.15
    if ashrae > 0.0:  # below, both go over to ice
        assert ours == pytest.approx(ashrae, abs=0.01)
        assert ours == pytest.approx(real, abs=0.02)


@pytest.mark.published("ASHRAE Handbook - Fundamentals 2017, ch. 1, example 1")
def test_the_handbooks_example_from_dry_and_wet_bulb():
    """40 °C with a wet bulb of 20 °C at sea level: humidity 14 %, W 0.0065, dew point about 7."""
    assert wet_bulb_c(40.0, 14.0, pressure_kpa=101.325) == pytest.approx(20.0, abs=0.1)
    held = vapour_pressure_kpa(40.0, 14.0)
    assert humidity_ratio_kg_kg(held, pressure_kpa=101.325) == pytest.approx(0.0065, abs=1e-4)
    assert dew_point_c(held) == pytest.approx(7.0, abs=0.5)


# The handbook's values are of real air, ours of ideal gases: 0.5 % for the air's own effect on
# saturation, 0.1 % for the equation.
@pytest.mark.published("ASHRAE Handbook - Fundamentals 2009, ch. 1, table 2 (from memory)")
@pytest.mark.parametrize(
    ("temperature_c", "printed"), [(20.0, 0.014758), (30.0, 0.027329), (35.0, 0.036756)]
)
def test_saturated_humidity_ratio_within_the_effect_of_air(temperature_c, printed):
    ours = humidity_ratio_kg_kg(saturation_vapour_pressure_kpa(temperature_c), pressure_kpa=101.325)
    assert ours == pytest.approx(printed, rel=0.0065)
    assert ours < printed


@pytest.mark.published("WMO-No. 8, annex 4.B, Magnus form, recomputed from its constants")
@pytest.mark.parametrize(
    ("temperature_c", "printed_kpa"),
    [(10, 1.22603), (20, 2.33260), (25, 3.16006), (30, 4.23372), (40, 7.36746), (45, 9.57971)],
)
def test_saturation_agrees_with_the_wmo_equation(temperature_c, printed_kpa):
    assert saturation_vapour_pressure_kpa(temperature_c) == pytest.approx(printed_kpa, rel=0.003)


@pytest.mark.published("Stull 2011, J. Appl. Meteorol. Climatol. 50:2267-2269 (from memory)")
def test_wet_bulb_near_the_worked_example_of_an_empirical_fit():
    # The fit itself is 0.08 °C low here.
    assert wet_bulb_c(20.0, 50.0, pressure_kpa=101.325) == pytest.approx(13.7, abs=0.1)
