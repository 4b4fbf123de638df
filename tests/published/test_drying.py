"""A leaf's warmth, its drying and a film's barrier against figures worked out elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from rules.air import leaf_to_air_deficit_kpa, saturation_kpa
from rules.drying import FRESH, in_one_minute, spend
from rules.leaf import (
    STEFAN_BOLTZMANN,
    WATER_G_MOL,
    boundary_heat_mol_m2_s,
    boundary_vapour_mol_m2_s,
    in_series,
    latent_heat_j_mol,
    leaf_temperature_c,
    radiative_mol_m2_s,
)
from rules.model.drying import Drying
from rules.scion import CENTRAL, drying_figures


def one(value: float) -> np.ndarray:
    return np.array([value])


def exactly(value: float) -> dict:
    return {"central": value, "low": value, "high": value, "source": "given"}


def given(**changes) -> Drying:
    """Figures without doubt: no uptake, still air that hardly counts, no light taken up."""
    return Drying.model_validate(
        {
            "conductance_mmol_m2_s": exactly(5.0),
            "absorbed_share": exactly(0.0),
            "air_speed_m_s": exactly(20.0),
            "critical_share": exactly(0.6),
            "turgor_loss_share": exactly(0.82),
            "uptake_first_mg_h": exactly(0.0),
            "uptake_full_mg_h": exactly(0.0),
            "uptake_from_d": exactly(10.0),
            "uptake_full_d": exactly(30.0),
            "humidity_error_pct": exactly(0.0),
            "leaf_temperature_error_c": exactly(0.0),
            **changes,
        }
    )


LEAF = {
    "area_cm2": exactly(10_000.0),
    "breadth_cm": exactly(1.0),
    "water_g_m2": exactly(150.0),
    "wood_water_g": exactly(0.0),
}
STICK = {
    "diameter_mm": exactly(6.0),
    "length_mm": exactly(100.0),
    "water_g_cm3": exactly(0.552),
    "film_conductance_mmol_m2_s": exactly(0.0109),
}


def lost_ng_a_minute(drying: Drying, deficit_kpa: float, *, film_open: bool = False) -> int:
    """Let a scion at 25 °C, measured, stand for a minute in air of a deficit."""
    figures = drying_figures(drying, 0, pressure_kpa=101.325, scion_diameter_mm=None)
    humidity = 100.0 * (1.0 - deficit_kpa / float(saturation_kpa(one(25.0))[0]))
    now = in_one_minute(
        0,
        air_temperature_c=25.0,
        relative_humidity_pct=humidity,
        ppfd_umol_m2_s=0.0,
        leaf_temperature_c=25.0,
        air_speed_m_s=None,
        sun_up=False,
        film_open=film_open,
    )
    return int(spend(figures, FRESH, now).lost_ng[CENTRAL, 0])


@pytest.mark.published("definition, Campbell & Norman (1998); worked with FAO-56 eq. 11")
@pytest.mark.parametrize(
    ("leaf_c", "kpa"), [(30.0, 0.212), (32.0, 0.724), (35.0, 1.592), (28.0, -0.251)]
)
def test_two_degrees_of_leaf_warmth_triple_the_deficit(leaf_c, kpa):
    assert leaf_to_air_deficit_kpa(leaf_c, 30.0, 95.0) == pytest.approx(kpa, abs=0.003)


@pytest.mark.published("Campbell & Norman (1998), eq. 7.30 and p. 101, factor 1.4 of sect. 7.13")
@pytest.mark.parametrize(
    ("speed", "heat", "vapour"), [(0.1, 0.267, 0.291), (0.5, 0.598, 0.651), (1.0, 0.845, 0.920)]
)
def test_the_air_layer_of_a_leaf(speed, heat, vapour):
    assert boundary_heat_mol_m2_s(one(speed), one(0.05))[0] == pytest.approx(heat, abs=0.001)
    assert boundary_vapour_mol_m2_s(one(speed), one(0.05))[0] == pytest.approx(vapour, abs=0.001)


@pytest.mark.published("Campbell & Norman (1998), eq. 12.7")
@pytest.mark.parametrize(("warm_c", "mol"), [(20.0, 0.189), (30.0, 0.209)])
def test_long_waves_as_a_conductance(warm_c, mol):
    assert radiative_mol_m2_s(one(warm_c))[0] == pytest.approx(mol, abs=0.001)


@pytest.mark.published("FAO-56 (1998), annex 3, eq. 3-1")
@pytest.mark.parametrize(("warm_c", "mj_kg"), [(20.0, 2.454), (25.0, 2.442), (30.0, 2.430)])
def test_heat_taken_up_by_evaporation(warm_c, mj_kg):
    per_kg = latent_heat_j_mol(one(warm_c))[0] / WATER_G_MOL / 1000.0
    assert per_kg == pytest.approx(mj_kg, abs=0.001)


@pytest.mark.published(
    "method: Campbell & Norman (1998), ch. 14; figures from a root search of another program"
)
@pytest.mark.parametrize(
    ("air_c", "humidity", "light", "wind", "mmol", "leaf_c", "deficit", "lost"),
    [
        pytest.param(30, 70, 150, 0.2, 5, 34.18, 2.40, 0.119, id="open shade, stomata shut"),
        pytest.param(30, 98, 75, 0.05, 5, 33.10, 0.90, 0.045, id="under a bag, shaded"),
        pytest.param(32, 98, 400, 0.05, 5, 47.7, 6.34, 0.313, id="under a bag, direct sun"),
        pytest.param(25, 90, 0, 0.2, 5, 24.98, 0.313, 0.0155, id="at night"),
    ],
)
def test_a_leaf_comes_to_the_worked_temperature(
    air_c, humidity, light, wind, mmol, leaf_c, deficit, lost
):
    air, held = one(air_c), humidity / 100.0 * saturation_kpa(one(air_c))
    got, saturated = leaf_temperature_c(
        air,
        held,
        absorbed_w_m2=one(light),
        heat_mol_m2_s=boundary_heat_mol_m2_s(one(wind), one(0.05)),
        vapour_mol_m2_s=one(mmol / 1000.0),
        pressure_kpa=101.325,
        sides=2,
    )
    pull = float((saturated - held)[0])
    assert got[0] == pytest.approx(leaf_c, abs=0.05)
    assert pull == pytest.approx(deficit, abs=0.02)
    assert mmol * pull / 101.325 == pytest.approx(lost, rel=0.02)
    assert saturated[0] == pytest.approx(saturation_kpa(got)[0], rel=1e-4)


def test_the_quick_leaf_agrees_with_a_root_search():
    chance = np.random.default_rng(8)
    worst = 0.0
    for _ in range(400):
        air_c, humidity = chance.uniform(10, 40), chance.uniform(0.2, 1.0)
        light, wind = chance.uniform(0, 450), 10 ** chance.uniform(-1.7, 0.5)
        mol = 10 ** chance.uniform(-5, -1.7)
        held = humidity * float(saturation_kpa(one(air_c))[0])
        heat = float(boundary_heat_mol_m2_s(one(wind), one(0.05))[0])

        def spare(leaf_c, air_c=air_c, held=held, heat=heat, mol=mol, light=light) -> float:
            waves = 2 * 0.97 * STEFAN_BOLTZMANN * ((leaf_c + 273.15) ** 4 - (air_c + 273.15) ** 4)
            latent = float(latent_heat_j_mol(one(air_c))[0]) * mol / 101.0
            pull = 0.6108 * np.exp(17.27 * leaf_c / (leaf_c + 237.3)) - held
            return light - 2 * 29.3 * heat * (leaf_c - air_c) - waves - latent * pull

        low, high = -20.0, 90.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if spare(middle) > 0 else (low, middle)
        if low > 59.0:
            continue  # beyond the range of the sums
        got, _ = leaf_temperature_c(
            one(air_c),
            one(held),
            absorbed_w_m2=one(light),
            heat_mol_m2_s=one(heat),
            vapour_mol_m2_s=one(mol),
            pressure_kpa=101.0,
            sides=2,
        )
        worst = max(worst, abs(float(got[0]) - low))
    assert 0.0 < worst < 0.05


@pytest.mark.published("E = g D / P, Campbell & Norman (1998), ch. 6; worked hours")
@pytest.mark.parametrize(
    ("deficit", "mmol", "hours"), [(1.27, 5, 14.8), (0.21, 5, 89), (1.27, 12, 6.2)]
)
def test_hours_in_which_a_cut_leaf_loses_two_fifths(deficit, mmol, hours):
    drying = given(leaves=LEAF, conductance_mmol_m2_s=exactly(float(mmol)))
    grams_an_hour = lost_ng_a_minute(drying, deficit) * 60 / 1e9
    assert 150.0 * 0.4 / grams_an_hour == pytest.approx(hours, rel=0.03)


@pytest.mark.published("worked from E = g dp / P at 38 degC, 90 % against 0 %")
@pytest.mark.parametrize(
    ("grams", "mmol"), [(1.0, 0.0109), (10.0, 0.109), (15.5, 0.169), (31, 0.338)]
)
def test_a_film_that_passes_so_much_a_day_conducts_so_much(grams, mmol):
    moles = grams / WATER_G_MOL / 86_400
    pull = 0.9 * float(saturation_kpa(one(38.0))[0])
    assert moles * 101.325 / pull * 1000 == pytest.approx(mmol, rel=0.01)


@pytest.mark.published("P / (R T); Campbell & Norman (1998), ch. 6")
@pytest.mark.parametrize(("warm_c", "mmol"), [(20.0, 41.6), (25.0, 40.9), (30.0, 40.2)])
def test_a_millimetre_a_second_in_our_unit(warm_c, mmol):
    assert 101_325 / (8.314 * (warm_c + 273.15)) == pytest.approx(mmol, abs=0.1)


@pytest.mark.published("g1 g2 / (g1 + g2); film figures of the row above")
@pytest.mark.parametrize(("film", "both"), [(0.0109, 0.0109), (0.169, 0.164)])
def test_the_film_is_the_barrier(film, both):
    assert in_series(one(5.0), one(film))[0] == pytest.approx(both, rel=0.01)


@pytest.mark.published("geometry and E = g D / P; worked per day for a stick of 6 by 100 mm")
@pytest.mark.parametrize(
    ("deficit", "film_open", "per_day"),
    [(1.0, False, 0.02), (2.0, False, 0.04), (1.0, True, 9.3), (2.0, True, 18.6)],
)
def test_a_wrapped_stick_hardly_feels_the_air_and_a_bare_one_does(deficit, film_open, per_day):
    lost = lost_ng_a_minute(given(stick=STICK), deficit, film_open=film_open)
    assert 100.0 * lost * 1440 / 1e9 / 1.56 == pytest.approx(per_day, rel=0.2)
