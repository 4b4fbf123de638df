"""Light factors against what others printed."""

from __future__ import annotations

import numpy as np
import pytest

from rules.light import (
    LUX_PER_UMOL,
    UMOL_PER_PAR_JOULE,
    illuminance_lx,
    irradiance_w_m2,
    par_irradiance_w_m2,
    ppfd_of_illuminance,
    ppfd_of_irradiance,
    ppfd_of_par_irradiance,
)
from rules.light_day import light_sum_umol_m2
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


@pytest.mark.published(f"{THIMIJAN}; sun: McCree 1972, Agric. Meteorol. 10:443-453")
@pytest.mark.parametrize(
    ("source", "umol_per_joule"),
    [
        (LightSource.SUN, 4.57),
        (LightSource.BLUE_SKY, 4.24),
        (LightSource.HIGH_PRESSURE_SODIUM, 4.98),
        (LightSource.METAL_HALIDE, 4.59),
        (LightSource.COOL_WHITE_FLUORESCENT, 4.59),
        (LightSource.INCANDESCENT, 5.0),
    ],
)
def test_umol_in_one_joule_of_par(source, umol_per_joule):
    assert ppfd_of_par_irradiance(1.0, source) == umol_per_joule


@pytest.mark.published("CIE 15:2018, LED-B1, LED-B3 and LED-B5, recomputed with colour-science")
@pytest.mark.parametrize("umol_per_joule", [4.893, 4.679, 4.492])
def test_par_watts_of_white_leds_lie_within_five_percent_of_ours(umol_per_joule):
    ours = UMOL_PER_PAR_JOULE[LightSource.WHITE_LED]
    assert ours == pytest.approx(umol_per_joule, rel=0.05)


@pytest.mark.published("ASTM G173 global spectrum, recomputed: 4.602 µmol/J of PAR, 55.36 lx/µmol")
def test_sun_as_the_reference_spectrum_gives_it():
    assert ppfd_of_par_irradiance(1.0, LightSource.SUN) == pytest.approx(4.602, rel=0.015)
    assert illuminance_lx(1.0, LightSource.SUN) == pytest.approx(55.36, rel=0.05)


@pytest.mark.published("E = hc/λ: no light between 400 and 700 nm gives less or more, CODATA")
def test_no_factor_lies_outside_what_photons_can_carry():
    for factor in UMOL_PER_PAR_JOULE.values():
        assert 3.344 < factor < 5.852


@pytest.mark.published("Coombs et al. 1985: 950 W/m², 95,000 lx, 1800 µmol, 399 W/m² of PAR")
def test_full_sun_in_every_unit_within_ten_percent():
    assert ppfd_of_irradiance(950.0, LightSource.SUN) == pytest.approx(1800.0, rel=0.10)
    assert ppfd_of_illuminance(95_000.0, LightSource.SUN) == pytest.approx(1800.0, rel=0.10)
    assert par_irradiance_w_m2(1800.0, LightSource.SUN) == pytest.approx(399.0, rel=0.10)
    assert irradiance_w_m2(1800.0, LightSource.SUN) == pytest.approx(950.0, rel=0.10)


@pytest.mark.published("arithmetic, printed in encyclopedias: 1 µmol m⁻² s⁻¹ for 24 h, 1000 for 12")
@pytest.mark.parametrize(("ppfd", "hours", "mol"), [(1.0, 24, 0.0864), (1000.0, 12, 43.2)])
def test_light_sum_of_steady_light(ppfd, hours, mol):
    assert light_sum_umol_m2(0, np.full(hours * 60, ppfd))[-1] / 1e6 == pytest.approx(mol)


@pytest.mark.published("integral of a half sine: peak 2000 µmol over 12 h, 2000 x 43200 s x 2/π")
def test_light_sum_of_a_half_sine_day():
    ppfd = 2000.0 * np.sin(np.pi * (np.arange(720) + 0.5) / 720)
    assert light_sum_umol_m2(0, ppfd)[-1] / 1e6 == pytest.approx(55.0, abs=0.1)
