"""Damp air under pressure: properties that hold for all air, whatever the weather."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.air import dew_point_c, saturation_vapour_pressure_kpa, vapour_pressure_kpa
from rules.psychrometry import (
    humidity_ratio_kg_kg,
    latent_heat_mj_kg,
    pressure_at_elevation_kpa,
    psychrometric_constant_kpa_c,
    wet_bulb_c,
)

temperatures = st.floats(-20.0, 60.0)
humidities = st.floats(0.0, 100.0)
pressures = st.floats(22.0, 110.0)


@given(temperature_c=temperatures, humidity_pct=humidities, pressure_kpa=pressures)
def test_the_wet_bulb_lies_between_dew_point_and_air(temperature_c, humidity_pct, pressure_kpa):
    wet = wet_bulb_c(temperature_c, humidity_pct, pressure_kpa=pressure_kpa)
    assert wet <= temperature_c
    held = vapour_pressure_kpa(temperature_c, humidity_pct)
    if held >= saturation_vapour_pressure_kpa(-20.0):
        assert wet >= dew_point_c(held) - 1e-6


@given(temperature_c=temperatures, pressure_kpa=pressures)
def test_saturated_air_is_as_cool_as_it_gets(temperature_c, pressure_kpa):
    wet = wet_bulb_c(temperature_c, 100.0, pressure_kpa=pressure_kpa)
    assert wet == pytest.approx(temperature_c, abs=1e-9)


@given(temperature_c=temperatures, humidity_pct=humidities, pressure_kpa=pressures)
def test_the_wet_bulb_balances_its_own_equation(temperature_c, humidity_pct, pressure_kpa):
    """ASHRAE 2017, ch. 1, eq. 33, written out anew: heat given up is heat taken."""
    wet = wet_bulb_c(temperature_c, humidity_pct, pressure_kpa=pressure_kpa)
    held = vapour_pressure_kpa(temperature_c, humidity_pct)
    ratio = 0.621945 * held / (pressure_kpa - held)
    top = 0.6108 * np.exp(17.27 * wet / (wet + 237.3))
    saturated = 0.621945 * top / (pressure_kpa - top)
    taken = saturated * (2501.0 - 2.326 * wet) - ratio * (
        2501.0 + 1.86 * temperature_c - 4.186 * wet
    )
    assert taken == pytest.approx(1.006 * (temperature_c - wet), abs=1e-6)


@given(
    temperature_c=temperatures,
    pair=st.tuples(humidities, humidities).map(sorted),
    pressure_kpa=pressures,
)
def test_damper_air_has_a_warmer_wet_bulb(temperature_c, pair, pressure_kpa):
    dry, damp = (wet_bulb_c(temperature_c, one, pressure_kpa=pressure_kpa) for one in pair)
    assert dry <= damp + 1e-12


@given(
    values=st.lists(st.tuples(temperatures, humidities), min_size=1, max_size=30),
    pressure_kpa=pressures,
)
def test_one_by_one_is_all_at_once_to_the_last_bit(values, pressure_kpa):
    warm, damp = (np.array(column) for column in zip(*values, strict=True))
    together = wet_bulb_c(warm, damp, pressure_kpa=pressure_kpa)
    assert together.tolist() == [
        wet_bulb_c(one, other, pressure_kpa=pressure_kpa) for one, other in values
    ]
    held = vapour_pressure_kpa(warm, damp)
    assert humidity_ratio_kg_kg(held, pressure_kpa=pressure_kpa).tolist() == [
        humidity_ratio_kg_kg(one, pressure_kpa=pressure_kpa) for one in held.tolist()
    ]
    assert latent_heat_mj_kg(warm).tolist() == [latent_heat_mj_kg(one) for one in warm.tolist()]


@given(pair=st.tuples(st.floats(-500.0, 11_000.0), st.floats(-500.0, 11_000.0)).map(sorted))
def test_higher_up_the_air_presses_less(pair):
    low, high = pair
    assert pressure_at_elevation_kpa(low) >= pressure_at_elevation_kpa(high)
    # And every elevation's pressure is one that the other sums admit.
    assert psychrometric_constant_kpa_c(pressure_at_elevation_kpa(high)) > 0.0


def test_misting_a_house_in_the_hills_cools_it_further():
    shore = wet_bulb_c(35.0, 40.0, pressure_kpa=pressure_at_elevation_kpa(0.0))
    hills = wet_bulb_c(35.0, 40.0, pressure_kpa=pressure_at_elevation_kpa(1500.0))
    assert hills < shore


def test_a_missing_value_stays_missing():
    found = wet_bulb_c(
        np.array([np.nan, 25.0, 25.0]), np.array([50.0, np.nan, 50.0]), pressure_kpa=101.325
    )
    assert np.isnan(found).tolist() == [True, True, False]
    assert np.isnan(humidity_ratio_kg_kg(np.nan, pressure_kpa=101.325))
    assert np.isnan(pressure_at_elevation_kpa(np.nan))


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: wet_bulb_c(61.0, 50.0, pressure_kpa=101.0), "temperature: 61 .* -20 and 60 °C"),
        (lambda: wet_bulb_c(25.0, 101.0, pressure_kpa=101.0), "humidity: 101 .* 0 and 100 %"),
        (lambda: wet_bulb_c(25.0, 50.0, pressure_kpa=1013.25), "1013.25 .* 22 and 110 kPa"),
        (lambda: humidity_ratio_kg_kg(21.0, pressure_kpa=101.0), "21 .* 0 and 20 kPa"),
        (lambda: pressure_at_elevation_kpa(11_001.0), "11001 .* -500 and 11000 m"),
        (lambda: psychrometric_constant_kpa_c(0.0), "0 .* 22 and 110 kPa"),
        (lambda: latent_heat_mj_kg(-21.0), "-21 .* -20 and 60 °C"),
    ],
)
def test_what_is_out_of_range_is_refused_with_the_range(ask, said):
    with pytest.raises(ValueError, match=said):
        ask()
