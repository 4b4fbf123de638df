"""What the demonstration's sensors make of the truth."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from demo_data.devices import DEVICES
from demo_data.make import RECORD_FROM, sayings
from demo_data.nursery import BEGINS, HOURS, Truth
from demo_data.physics import HOUSE_STEP_S
from demo_data.sensors import Clock, Device, Probe, lagged, placed, values_sent


def test_after_one_lag_a_probe_has_come_63_percent_of_the_way():
    truth = np.concatenate([np.zeros(1), np.ones(100)])
    seen = lagged(truth, step_s=1.0, lag_s=20.0)
    assert seen[0] == 0.0
    assert seen[20] == pytest.approx(1 - np.exp(-1), abs=1e-12)
    assert seen[-1] == pytest.approx(1.0, abs=0.01)


def test_a_probe_without_lag_follows_at_once():
    truth = np.array([1.0, 5.0, 2.0])
    assert lagged(truth, step_s=20.0, lag_s=0.0).tolist() == [1.0, 5.0, 2.0]


def test_figures_are_rounded_shifted_and_held_within_range():
    probe = Probe("x", "y", 0.0, 0.0, 1, gain=2.0, offset=0.5, lowest=0.0, highest=100.0)
    sent = values_sent(probe, np.array([1.02, -3.0, 80.0]), np.random.default_rng(1))
    assert sent.tolist() == [2.5, 0.0, 100.0]


def test_noise_has_the_declared_spread():
    probe = Probe("x", "y", 0.0, 0.25, 6, noise_share=0.01)
    sent = values_sent(probe, np.full(20_000, 50.0), np.random.default_rng(2))
    assert sent.mean() == pytest.approx(50.0, abs=0.02)
    assert sent.std() == pytest.approx(0.75, rel=0.03)


def test_values_stand_where_the_path_says():
    message: dict = {}
    placed(message, "air.temp", 21.5)
    placed(message, "air.rh", 90.0)
    placed(message, "t", 7)
    assert message == {"air": {"temp": 21.5, "rh": 90.0}, "t": 7}
    with pytest.raises(TypeError, match="air already holds"):
        placed({"air": 1.0}, "air.temp", 2.0)


STEPS = HOURS * 3600 // HOUSE_STEP_S
RISING = Truth({"a/air": np.linspace(10.0, 30.0, STEPS)}, inside=None, sky=None)
DEVICE = Device("here/a", 10, Clock.UNIX_S, (Probe("temperature", "a/air", 0.0, 0.0, 2),))


def test_a_device_tells_what_was_true_when_it_woke():
    said = sayings(DEVICE, RISING, np.random.default_rng(3))
    assert len(said) == 36 * 60
    for message in said[:: 60 * 6]:
        since_s = message.payload["t"] - BEGINS.timestamp()
        step = int(since_s // HOUSE_STEP_S)
        expected = RISING.series["a/air"][step]
        assert message.payload["temperature"] == pytest.approx(expected, abs=0.006)


def test_a_dead_device_says_nothing_more():
    dies = RECORD_FROM + timedelta(hours=2)
    said = sayings(replace(DEVICE, dies_at=dies), RISING, np.random.default_rng(3))
    assert len(said) == pytest.approx(120, abs=1)
    assert all(message.payload["t"] < dies.timestamp() for message in said)


def test_a_stuck_device_repeats_itself():
    sticks = RECORD_FROM + timedelta(hours=3)
    said = sayings(replace(DEVICE, sticks_at=sticks), RISING, np.random.default_rng(3))
    after = {m.payload["temperature"] for m in said if m.payload["t"] >= sticks.timestamp()}
    before = {m.payload["temperature"] for m in said if m.payload["t"] < sticks.timestamp()}
    assert len(after) == 1
    assert len(before) > 60


def test_every_device_speaks_on_its_own_topic():
    assert len({device.topic for device in DEVICES}) == len(DEVICES)
