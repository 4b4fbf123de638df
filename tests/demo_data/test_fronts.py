"""The weather of spells repeats by its seed, and differs from the recorded night's as it says."""

from __future__ import annotations

import numpy as np
import pytest

from demo_data.fronts import SPELLS, as_sensed, spell_weather


def test_a_spell_repeats_and_another_seed_is_other_weather():
    first, again, other = (
        spell_weather(SPELLS["fronts"], days=1, seed=seed).air_c for seed in (5, 5, 6)
    )
    assert first.tolist() == again.tolist()
    assert np.abs(first - other).max() > 0.5


def test_spells_differ_as_their_names_say():
    days = 6
    weathers = {name: spell_weather(SPELLS[name], days=days, seed=5) for name in SPELLS}
    daily = {
        name: sky.air_c[: days * 1440].reshape(days, 1440).mean(axis=1).std()
        for name, sky in weathers.items()
    }
    assert daily["fronts"] > 2 * daily["calm"]
    cloud = {name: sky.cloud.mean() for name, sky in weathers.items()}
    assert cloud["overcast"] > 2 * cloud["calm"]
    assert weathers["dry"].vapour_kpa.mean() < weathers["calm"].vapour_kpa.mean() - 0.2


@pytest.mark.parametrize("name", SPELLS)
def test_no_spell_makes_light_at_night_or_more_than_a_clear_sky(name):
    sky = spell_weather(SPELLS[name], days=2, seed=5)
    assert (sky.beam_w_m2[sky.zenith_deg > 90.0] == 0.0).all()
    assert (sky.diffuse_w_m2 >= 0.0).all()
    assert sky.sunlight_w_m2.max() < 1400.0
    assert (sky.vapour_kpa > 0.0).all()


def test_a_probe_rounds_errs_a_little_and_leaves_hours_out():
    truth = np.full(10 * 1440, 20.0)
    told = as_sensed(truth, noise=0.08, step=0.1, seed=1)
    seen = told[np.isfinite(told)]
    assert 0.5 < len(seen) / len(told) < 1.0
    assert np.abs(seen * 10.0 - np.rint(seen * 10.0)).max() < 1e-9
    assert 0.06 < seen.std() < 0.11
