"""Light factors against what others printed."""

from __future__ import annotations

import numpy as np
import pytest

from rules.light import LUX_PER_UMOL, ppfd_of_illuminance, ppfd_of_irradiance
from rules.model.quantities import MEANINGS, LightSource, Quantity

THIMIJAN = "Thimijan & Heins 1983, HortScience 18:818-822, table 3"


@pytest.mark.published(THIMIJAN)
@pytest.mark.parametrize(
    ("source", "lux_per_umol"),
    [
        (LightSource.SUN, 54.0),
        (LightSource.BLUE_SKY, 52.0),
        (LightSource.HIGH_PRESSURE_SODIUM, 82.0),
        (LightSource.METAL_HALIDE, 71.0),
        (LightSource.COOL_WHITE_FLUORESCENT, 74.0),
        (LightSource.INCANDESCENT, 50.0),
    ],
)
def test_lux_that_one_umol_gives(source, lux_per_umol):
    assert ppfd_of_illuminance(np.array([1000.0 * lux_per_umol]), source)[0] == 1000.0


@pytest.mark.published("CIE 15:2018, LED-B1, LED-B3 and LED-B5, recomputed with colour-science")
@pytest.mark.parametrize("lux_per_umol", [67.1, 69.8, 69.4])
def test_white_leds_lie_within_three_percent_of_ours(lux_per_umol):
    assert LUX_PER_UMOL[LightSource.WHITE_LED] == pytest.approx(lux_per_umol, rel=0.03)


@pytest.mark.published(THIMIJAN)
def test_full_sun_in_lux():
    assert ppfd_of_illuminance(np.array([108_000.0]), LightSource.SUN)[0] == 2000.0


@pytest.mark.published("arithmetic with 54 lx/µmol; rejects the much-copied 40,800 lx for 200 µmol")
def test_the_much_copied_misprint_is_not_ours():
    assert ppfd_of_illuminance(np.array([10_800.0]), LightSource.SUN)[0] == 200.0
    assert ppfd_of_illuminance(np.array([40_800.0]), LightSource.SUN)[0] > 700.0


@pytest.mark.published("arithmetic with 54 lx/µmol and 10.7639 lx/fc, as cuttings advice prints it")
@pytest.mark.parametrize(("candles", "umol"), [(602.0, 120.0), (1003.0, 200.0)])
def test_foot_candles_of_cuttings_advice(candles, umol):
    lux = candles * MEANINGS[Quantity.ILLUMINANCE].units["fc"].scale
    assert ppfd_of_illuminance(np.array([lux]), LightSource.SUN)[0] == pytest.approx(umol, rel=0.01)


@pytest.mark.published("Coombs et al. 1985 (1.895), Britton & Dodd 1976 (2.114), bigleaf (2.3)")
@pytest.mark.parametrize("printed", [1.895, 2.114, 2.3])
def test_watts_of_sun_within_fifteen_percent_of_every_printed_factor(printed):
    ours = ppfd_of_irradiance(np.array([1.0]), LightSource.SUN)[0]
    assert ours == pytest.approx(printed, rel=0.15)


@pytest.mark.published("ASTM G173 global and diffuse spectra, recomputed with pvlib: 1.977, 2.421")
@pytest.mark.parametrize(
    ("source", "reference"), [(LightSource.SUN, 1.977), (LightSource.BLUE_SKY, 2.421)]
)
def test_watts_of_sun_and_shade_as_the_reference_spectra_give_them(source, reference):
    ours = ppfd_of_irradiance(np.array([500.0]), source)[0] / 500.0
    assert ours == pytest.approx(reference, rel=0.02)
