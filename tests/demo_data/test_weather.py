"""The demonstration's sky and air."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from demo_data.nursery import BEGINS
from demo_data.weather import (
    LATITUDE_DEG,
    clear_sky,
    local_hours,
    springy_noise,
    weather,
)

DAY = 1440


@pytest.mark.published("spherical astronomy: at upper transit the zenith distance is |φ - δ|")
def test_the_december_sun_crosses_the_meridian_where_it_should():
    start = datetime(2026, 12, 20, 13, 0, tzinfo=UTC)
    _, _, zenith, _ = clear_sky(start, DAY)
    # At the December solstice the sun stands 23.44 degrees south; refraction is below 0.01 here.
    assert zenith.min() == pytest.approx(abs(LATITUDE_DEG + 23.44), abs=0.05)


def test_the_sun_rises_in_the_east_and_no_light_falls_at_night():
    beam, diffuse, zenith, azimuth = clear_sky(BEGINS, DAY)
    rises = int(np.argmax(zenith < 90.0))
    assert 5.0 < local_hours(BEGINS, DAY)[rises] < 6.0
    assert 90.0 < azimuth[rises] < 120.0
    night = zenith > 90.0
    assert night.sum() > 600
    assert not beam[night].any()
    assert not diffuse[night].any()


def test_a_clear_sky_passes_less_than_arrives_from_the_sun():
    beam, diffuse, zenith, _ = clear_sky(BEGINS, DAY)
    level = beam * np.clip(np.cos(np.radians(zenith)), 0, 1) + diffuse
    assert 950.0 < level.max() < 1367.0
    assert beam.max() < 1100.0
    assert diffuse.min() >= 0.0


def test_local_hours_count_from_local_midnight():
    assert local_hours(BEGINS, 2).tolist() == [0.0, pytest.approx(1 / 60)]
    assert local_hours(datetime(2026, 11, 14, 1, 0, tzinfo=UTC), 1)[0] == 12.0


def test_springy_noise_has_mean_nought_and_spread_one():
    noise = springy_noise(np.random.default_rng(5), 40_000, memory=10.0)
    assert abs(noise.mean()) < 0.08
    assert noise.std() == pytest.approx(1.0, abs=0.06)
    together = np.corrcoef(noise[:-10], noise[10:])[0, 1]
    assert together == pytest.approx(np.exp(-1), abs=0.06)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_cloud_only_ever_takes_from_the_beam(seed):
    sky = weather(BEGINS, 2 * DAY, np.random.default_rng(seed))
    clear, _, _, _ = clear_sky(BEGINS, 2 * DAY)
    assert (sky.beam_w_m2 <= clear + 1e-9).all()
    assert (sky.sunlight_w_m2 >= 0).all()
    assert ((sky.cloud >= 0) & (sky.cloud <= 1)).all()
    assert sky.wind_m_s.min() > 0
    assert 18.0 < sky.air_c.min() < sky.air_c.max() < 34.0
    # Afternoons are warmer than the hour before dawn.
    hours = local_hours(BEGINS, 2 * DAY) % 24
    dawn = sky.air_c[(hours > 4) & (hours < 5)].mean()
    assert sky.air_c[(hours > 13) & (hours < 15)].mean() > dawn + 3.0
