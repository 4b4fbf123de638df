"""Humidity over saturated salts against what others printed."""

from __future__ import annotations

import numpy as np
import pytest

from rules.salt_jar import Salt, fixed_point_pct, fixed_point_uncertainty_pct

TABLE = {
    Salt.LITHIUM_CHLORIDE: ((20, 11.31, 0.31), (25, 11.30, 0.27), (30, 11.28, 0.24)),
    Salt.MAGNESIUM_CHLORIDE: ((20, 33.07, 0.18), (25, 32.78, 0.16), (30, 32.44, 0.14)),
    Salt.SODIUM_CHLORIDE: ((20, 75.47, 0.14), (25, 75.29, 0.12), (30, 75.09, 0.11)),
    Salt.POTASSIUM_CHLORIDE: ((20, 85.11, 0.29), (25, 84.34, 0.26), (30, 83.62, 0.25)),
    Salt.POTASSIUM_SULFATE: ((25, 97.30, 0.45),),
}
NOTES = {
    Salt.LITHIUM_CHLORIDE: (11.3, 11.3, 11.3, 11.3),
    Salt.MAGNESIUM_CHLORIDE: (33.5, 33.3, 33.1, 32.8),
    # The notes print 75.7 for sodium chloride at 20 °C, which Greenspan's table (75.47) does not.
    Salt.SODIUM_CHLORIDE: (75.7, 75.6, None, 75.3),
    Salt.POTASSIUM_CHLORIDE: (86.8, 85.9, 85.1, 84.3),
    Salt.POTASSIUM_SULFATE: (98.2, 97.9, 97.6, 97.3),
}
HANDBOOK = {
    Salt.LITHIUM_CHLORIDE: (14.53, -75.0),
    Salt.MAGNESIUM_CHLORIDE: (29.26, 34.0),
    Salt.SODIUM_CHLORIDE: (69.20, 25.0),
    Salt.POTASSIUM_CHLORIDE: (49.38, 159.0),
    Salt.POTASSIUM_SULFATE: (86.75, 34.0),
}


@pytest.mark.published("Greenspan 1977, J. Res. NBS 81A:89-96, table 2 (values from memory)")
@pytest.mark.parametrize("salt", TABLE)
def test_the_fixed_points_are_those_of_the_table(salt):
    for temperature_c, humidity, uncertain in TABLE[salt]:
        # The printed table is cut, not rounded: up to 0.02 below the equation.
        assert fixed_point_pct(salt, float(temperature_c)) == pytest.approx(humidity, abs=0.02)
        assert fixed_point_uncertainty_pct(salt, float(temperature_c)) == uncertain


@pytest.mark.published("Padfield, notes on saturated salts for conservators, 10, 15, 20, 25 °C")
@pytest.mark.parametrize("salt", NOTES)
def test_the_fixed_points_are_those_of_a_much_read_table(salt):
    for temperature_c, humidity in zip((10.0, 15.0, 20.0, 25.0), NOTES[salt], strict=True):
        if humidity is not None:
            assert fixed_point_pct(salt, temperature_c) == pytest.approx(humidity, abs=0.06)


@pytest.mark.published("CRC Handbook, sect. 15, constant humidity solutions: good to 2 %")
@pytest.mark.parametrize("salt", HANDBOOK)
def test_the_fixed_points_agree_with_another_fit(salt):
    a, b = HANDBOOK[salt]
    at = np.array([20.0, 25.0, 30.0])
    assert fixed_point_pct(salt, at) == pytest.approx(a * np.exp(b / (at + 273.15)), abs=0.3)


@pytest.mark.published("Wexler & Hasegawa 1954, J. Res. NBS 53:19: 74.9 to 75.6 % from 0 to 50 °C")
def test_kitchen_salt_stays_within_half_a_percent_of_the_older_determination():
    over = fixed_point_pct(Salt.SODIUM_CHLORIDE, np.linspace(10.0, 40.0, 31))
    assert over.min() > 74.9 - 0.5
    assert over.max() < 75.6 + 0.5
