"""Light that cannot be told honestly is refused."""

from __future__ import annotations

import numpy as np
import pytest

from rules.light import LUX_PER_UMOL, ppfd_of_illuminance, ppfd_of_irradiance
from rules.model.quantities import DAYLIGHT, LightSource


def test_every_light_source_has_a_factor_for_lux():
    assert set(LUX_PER_UMOL) == set(LightSource)


@pytest.mark.parametrize("source", sorted(set(LightSource) - DAYLIGHT))
def test_watts_under_a_lamp_are_refused_with_a_way_out(source):
    with pytest.raises(ValueError, match="measure ppfd or illuminance"):
        ppfd_of_irradiance(np.array([100.0]), source)


@pytest.mark.parametrize("rule", [ppfd_of_illuminance, ppfd_of_irradiance])
@pytest.mark.parametrize("light", [-1.0, np.nan, np.inf])
def test_light_below_zero_or_no_number_is_refused(rule, light):
    with pytest.raises(ValueError, match="must be 0"):
        rule(np.array([1.0, light]), LightSource.SUN)
