"""What is believed of a sensor against the published plausible ranges."""

from __future__ import annotations

import numpy as np
import pytest

from rules.model.quantities import Quantity
from rules.quality import PLAUSIBLE, brought_within, can_be_believed

ZAHUMENSKY = "Zahumensky 2004, WMO CBS guidelines on quality control of AWS data"


@pytest.mark.published(ZAHUMENSKY)
@pytest.mark.parametrize(
    ("quantity", "lowest", "highest"),
    [(Quantity.AIR_TEMPERATURE, -80.0, 60.0), (Quantity.IRRADIANCE, None, 1600.0)],
)
def test_nothing_outside_the_wmo_range_is_believed(quantity, lowest, highest):
    ours = PLAUSIBLE[quantity]
    assert ours.highest == highest
    assert lowest is None or ours.lowest >= lowest
    assert can_be_believed(quantity, np.array([highest, highest + 0.1])).tolist() == [True, False]


@pytest.mark.published("WMO CBS ET-AWS-1 Doc. 9(2), 2002: accept below 104 % and call it 100")
def test_a_wet_humidity_sensor_is_believed_to_104_and_read_as_100():
    values = np.array([99.0, 100.0, 102.5, 104.0, 104.01, -0.01])
    believed = can_be_believed(Quantity.RELATIVE_HUMIDITY, values)
    assert believed.tolist() == [True, True, True, True, False, False]
    kept = brought_within(Quantity.RELATIVE_HUMIDITY, values[believed])
    assert kept.tolist() == [99.0, 100.0, 100.0, 100.0]


@pytest.mark.published("MesoWest criteria: -5 W m-2 at night is a normal offset")
def test_a_little_light_below_zero_at_night_is_darkness():
    values = np.array([-5.0, -1.0, 0.0, -5.1])
    assert can_be_believed(Quantity.IRRADIANCE, values).tolist() == [True, True, True, False]
    assert brought_within(Quantity.IRRADIANCE, values[:3]).tolist() == [0.0, 0.0, 0.0]
