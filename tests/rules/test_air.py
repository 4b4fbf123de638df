"""Out of its range a sum says so, and there is a way back from the dew point."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.air import (
    dew_point_c,
    leaf_to_air_deficit_kpa,
    saturation_vapour_pressure_kpa,
    vapour_pressure_deficit_kpa,
    vapour_pressure_kpa,
)

temperatures = st.floats(-20.0, 60.0)
humidities = st.floats(0.0, 100.0)


@pytest.mark.parametrize("temperature_c", [-20.01, 60.01, np.nan, np.inf])
def test_air_outside_the_equation_is_refused_with_the_range(temperature_c):
    with pytest.raises(ValueError, match="between -20 and 60 °C"):
        saturation_vapour_pressure_kpa(np.array([20.0, temperature_c]))


@pytest.mark.parametrize("humidity_pct", [-0.1, 100.1, np.nan])
@pytest.mark.parametrize("rule", [vapour_pressure_kpa, vapour_pressure_deficit_kpa])
def test_humidity_outside_its_scale_is_refused_with_the_range(rule, humidity_pct):
    with pytest.raises(ValueError, match="between 0 and 100 %"):
        rule(np.array([20.0]), np.array([humidity_pct]))


@pytest.mark.parametrize("pressure_kpa", [0.0, 0.12, 20.0, np.nan])
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


@given(values=st.lists(st.tuples(temperatures, humidities), min_size=1, max_size=40))
def test_one_by_one_is_all_at_once_to_the_last_bit(values):
    warm = np.array([temperature for temperature, _ in values])
    damp = np.array([humidity for _, humidity in values])
    together = vapour_pressure_deficit_kpa(warm, damp)
    alone = [
        vapour_pressure_deficit_kpa(warm[i : i + 1].copy(), damp[i : i + 1].copy())[0]
        for i in range(len(values))
    ]
    assert together.tolist() == alone
