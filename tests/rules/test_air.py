"""Out of its range a sum says so, and there is a way back from the dew point."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.air import (
    absolute_humidity_g_m3,
    dew_point_c,
    leaf_to_air_deficit_kpa,
    saturation_slope_kpa_c,
    saturation_vapour_pressure_kpa,
    vapour_pressure_deficit_kpa,
    vapour_pressure_kpa,
)

OF_TEMPERATURE = (saturation_vapour_pressure_kpa, saturation_slope_kpa_c)
OF_BOTH = (vapour_pressure_kpa, vapour_pressure_deficit_kpa, absolute_humidity_g_m3)

temperatures = st.floats(-20.0, 60.0)
humidities = st.floats(0.0, 100.0)


@pytest.mark.parametrize("temperature_c", [-20.01, 60.01, np.inf, -np.inf])
def test_air_outside_the_equation_is_refused_with_the_range(temperature_c):
    with pytest.raises(ValueError, match="between -20 and 60 °C"):
        saturation_vapour_pressure_kpa(np.array([20.0, temperature_c]))


@pytest.mark.parametrize("humidity_pct", [-0.1, 100.1, np.inf])
@pytest.mark.parametrize("rule", [vapour_pressure_kpa, vapour_pressure_deficit_kpa])
def test_humidity_outside_its_scale_is_refused_with_the_range(rule, humidity_pct):
    with pytest.raises(ValueError, match="between 0 and 100 %"):
        rule(np.array([20.0]), np.array([humidity_pct]))


@pytest.mark.parametrize("pressure_kpa", [0.0, 0.12, 20.0, np.inf])
def test_a_vapour_pressure_no_air_holds_is_refused_with_the_range(pressure_kpa):
    with pytest.raises(ValueError, match=r"between 0\.124\d and 19\.\d+ kPa"):
        dew_point_c(np.array([pressure_kpa]))


@given(temperature_c=temperatures)
def test_the_dew_point_of_saturated_air_is_its_temperature(temperature_c):
    held = saturation_vapour_pressure_kpa(np.array([temperature_c]))
    assert dew_point_c(held)[0] == pytest.approx(temperature_c, abs=1e-9)


@given(temperature_c=temperatures, humidity_pct=humidities)
def test_what_air_holds_and_what_it_lacks_make_up_saturation(temperature_c, humidity_pct):
    warm, damp = np.array([temperature_c]), np.array([humidity_pct])
    whole = vapour_pressure_kpa(warm, damp) + vapour_pressure_deficit_kpa(warm, damp)
    assert whole[0] == pytest.approx(saturation_vapour_pressure_kpa(warm)[0], rel=1e-12)


@given(temperature_c=temperatures, humidity_pct=humidities)
def test_a_leaf_as_warm_as_the_air_feels_the_deficit_of_the_air(temperature_c, humidity_pct):
    warm, damp = np.array([temperature_c]), np.array([humidity_pct])
    leaf = leaf_to_air_deficit_kpa(warm, warm, damp)[0]
    assert leaf == pytest.approx(vapour_pressure_deficit_kpa(warm, damp)[0], abs=1e-12)


@given(temperature_c=temperatures, humidity_pct=st.floats(5.0, 100.0))
def test_the_dew_point_leads_back_to_the_humidity(temperature_c, humidity_pct):
    held = vapour_pressure_kpa(temperature_c, humidity_pct)
    if held >= saturation_vapour_pressure_kpa(-20.0):
        back = saturation_vapour_pressure_kpa(dew_point_c(held))
        assert 100.0 * back / saturation_vapour_pressure_kpa(temperature_c) == pytest.approx(
            humidity_pct, rel=1e-9
        )


@given(pair=st.tuples(temperatures, temperatures).map(sorted), humidity_pct=humidities)
def test_warmer_air_never_holds_less_nor_pulls_less(pair, humidity_pct):
    cool, warm = pair
    for rule in OF_TEMPERATURE:
        assert rule(cool) <= rule(warm)
    for rule in (vapour_pressure_kpa, vapour_pressure_deficit_kpa):
        assert rule(cool, humidity_pct) <= rule(warm, humidity_pct)


@given(pair=st.tuples(humidities, humidities).map(sorted), temperature_c=temperatures)
def test_damper_air_holds_more_and_pulls_less(pair, temperature_c):
    dry, damp = pair
    assert vapour_pressure_kpa(temperature_c, dry) <= vapour_pressure_kpa(temperature_c, damp)
    assert absolute_humidity_g_m3(temperature_c, dry) <= absolute_humidity_g_m3(temperature_c, damp)
    assert vapour_pressure_deficit_kpa(temperature_c, dry) >= vapour_pressure_deficit_kpa(
        temperature_c, damp
    )


@given(temperature_c=st.floats(-19.0, 59.0))
def test_the_slope_is_that_of_the_curve(temperature_c):
    step = 1e-3
    rise = saturation_vapour_pressure_kpa(temperature_c + step) - saturation_vapour_pressure_kpa(
        temperature_c - step
    )
    assert saturation_slope_kpa_c(temperature_c) == pytest.approx(rise / (2 * step), rel=1e-4)


@given(values=st.lists(st.tuples(temperatures, humidities), min_size=1, max_size=40))
def test_one_by_one_is_all_at_once_to_the_last_bit(values):
    warm = np.array([temperature for temperature, _ in values])
    damp = np.array([humidity for _, humidity in values])
    for rule in OF_TEMPERATURE:
        assert rule(warm).tolist() == [rule(one) for one in warm.tolist()]
    for rule in OF_BOTH:
        assert rule(warm, damp).tolist() == [rule(one, other) for one, other in values]
    held = np.maximum(vapour_pressure_kpa(warm, damp), 0.2)
    assert dew_point_c(held).tolist() == [dew_point_c(one) for one in held.tolist()]
    leaf = warm[::-1]  # not a row of memory, and yet the same
    assert leaf_to_air_deficit_kpa(leaf, warm, damp).tolist() == [
        leaf_to_air_deficit_kpa(one, *both) for one, both in zip(leaf.tolist(), values, strict=True)
    ]


def test_one_number_gives_one_number_and_a_table_a_table():
    assert type(vapour_pressure_deficit_kpa(25.0, 60.0)) is float
    table = np.full((3, 2), 25.0)
    assert vapour_pressure_deficit_kpa(table, np.full((3, 2), 60.0)).shape == (3, 2)
    assert saturation_vapour_pressure_kpa(np.array(25)).shape == ()


def test_a_missing_value_stays_missing_and_leaves_the_others():
    warm, damp = np.array([np.nan, 25.0, 25.0]), np.array([60.0, np.nan, 60.0])
    for rule in OF_BOTH:
        assert np.isnan(rule(warm, damp)).tolist() == [True, True, False]
    for rule in OF_TEMPERATURE:
        assert np.isnan(rule(warm)).tolist() == [True, False, False]
    assert np.isnan(dew_point_c(np.nan))
    assert np.isnan(leaf_to_air_deficit_kpa(np.nan, 25.0, 60.0))


def test_the_refusal_names_what_was_wrong_and_the_range():
    with pytest.raises(
        ValueError, match=r"^relative humidity: 140 does not lie between 0 and 100 %$"
    ):
        vapour_pressure_kpa(25.0, 140.0)
    with pytest.raises(
        ValueError, match=r"^leaf temperature: 61 does not lie between -20 and 60 °C$"
    ):
        leaf_to_air_deficit_kpa(61.0, 25.0, 50.0)
