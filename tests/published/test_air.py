"""The air sums against what others printed, and against two independent libraries."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI

from rules.air import (
    dew_point_c,
    leaf_to_air_deficit_kpa,
    saturation_vapour_pressure_kpa,
    vapour_pressure_deficit_kpa,
    vapour_pressure_kpa,
)

psychrolib.SetUnitSystem(psychrolib.SI)


def one(value: float):
    return np.array([value])


# 15, 18 and 25 °C were read in transcriptions of the paper's examples; the other rows are its
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
