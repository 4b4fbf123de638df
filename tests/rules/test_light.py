"""Light that cannot be told honestly is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.light import (
    LUX_PER_UMOL,
    UMOL_PER_PAR_JOULE,
    illuminance_lx,
    irradiance_w_m2,
    par_irradiance_w_m2,
    ppfd_of_illuminance,
    ppfd_of_irradiance,
    ppfd_of_par_irradiance,
    ppfd_of_reading,
)
from rules.model.quantities import DAYLIGHT, LightSource, SensorKind


def test_every_light_source_has_a_factor_for_lux():
    assert set(LUX_PER_UMOL) == set(LightSource)


@pytest.mark.parametrize("source", sorted(set(LightSource) - DAYLIGHT))
def test_watts_under_a_lamp_are_refused_with_a_way_out(source):
    with pytest.raises(ValueError, match="measure ppfd or illuminance"):
        ppfd_of_irradiance(np.array([100.0]), source)


@pytest.mark.parametrize("rule", [ppfd_of_illuminance, ppfd_of_irradiance])
@pytest.mark.parametrize("light", [-1.0, -1e-9, np.inf])
def test_light_below_zero_or_no_number_is_refused(rule, light):
    with pytest.raises(ValueError, match="must be 0"):
        rule(np.array([1.0, light]), LightSource.SUN)


lights = st.floats(0.0, 200_000.0)


@given(ppfd=st.floats(0.0, 3500.0), source=st.sampled_from(LightSource))
def test_every_road_leads_back(ppfd, source):
    assert ppfd_of_illuminance(illuminance_lx(ppfd, source), source) == pytest.approx(ppfd)
    assert ppfd_of_par_irradiance(par_irradiance_w_m2(ppfd, source), source) == pytest.approx(ppfd)
    if source in DAYLIGHT:
        assert ppfd_of_irradiance(irradiance_w_m2(ppfd, source), source) == pytest.approx(ppfd)


@given(values=st.lists(lights, min_size=1, max_size=30), source=st.sampled_from(LightSource))
def test_one_by_one_is_all_at_once_to_the_last_bit(values, source):
    many = np.array(values)
    rules = [ppfd_of_illuminance, ppfd_of_par_irradiance, illuminance_lx, par_irradiance_w_m2]
    for rule in rules + ([ppfd_of_irradiance, irradiance_w_m2] if source in DAYLIGHT else []):
        assert rule(many, source).tolist() == [rule(one, source) for one in values]


@given(
    pair=st.tuples(lights, lights).map(sorted),
    source=st.sampled_from(LightSource),
    kind=st.sampled_from(SensorKind),
)
def test_more_light_is_never_less(pair, source, kind):
    if kind is SensorKind.PYRANOMETER and source not in DAYLIGHT:
        return
    dim, bright = pair
    assert ppfd_of_reading(dim, kind, source) <= ppfd_of_reading(bright, kind, source)


def test_a_reading_goes_the_way_of_its_sensor():
    sun = LightSource.SUN
    assert ppfd_of_reading(540.0, SensorKind.QUANTUM, sun) == 540.0
    assert ppfd_of_reading(540.0, SensorKind.PHOTOMETRIC, sun) == 10.0
    assert ppfd_of_reading(540.0, SensorKind.PYRANOMETER, sun) == 1080.0
    with pytest.raises(ValueError, match="must be 0"):
        ppfd_of_reading(-1.0, SensorKind.QUANTUM, sun)


def test_every_source_has_a_factor_for_watts_of_par():
    assert set(UMOL_PER_PAR_JOULE) == set(LightSource)


def test_a_missing_reading_stays_missing():
    lux = np.array([np.nan, 54.0])
    assert np.isnan(ppfd_of_illuminance(lux, LightSource.SUN)).tolist() == [True, False]
    assert np.isnan(ppfd_of_reading(np.nan, SensorKind.QUANTUM, LightSource.SUN))


@pytest.mark.parametrize("source", sorted(set(LightSource) - DAYLIGHT))
def test_the_way_back_to_watts_under_a_lamp_is_refused_too(source):
    with pytest.raises(ValueError, match="no factor"):
        irradiance_w_m2(100.0, source)
