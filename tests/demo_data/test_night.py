"""The recorded night is what the generator makes, and what the site file can read."""

from __future__ import annotations

import gzip
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from demo_data.make import SEED, packed, recorded_night


def sent_at(message: dict) -> datetime:
    return datetime.strptime(message["at"], "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)


def value_at(payload: dict, path: str):
    for name in path.split("."):
        payload = payload[name]
    return payload


@pytest.fixture(scope="module")
def made_again() -> list[str]:
    return recorded_night(SEED)


def test_the_generator_makes_the_committed_night(made_again, night_lines):
    assert made_again == night_lines


def test_the_bytes_repeat_and_carry_no_time_of_making(made_again):
    once = packed(made_again[:500])
    assert once == packed(made_again[:500])
    assert once[4:8] == b"\0\0\0\0"
    assert gzip.decompress(once).decode().splitlines() == made_again[:500]


def test_it_is_small_enough_to_ship(night_path, night_lines):
    assert night_path.stat().st_size < 1_000_000
    assert 20_000 < len(night_lines) < 40_000


def test_the_page_about_the_demonstration_counts_right(night_lines):
    page = (Path(__file__).parents[2] / "docs" / "demo.md").read_text(encoding="utf-8")
    assert f"{len(night_lines):,} messages" in page


def test_messages_stand_in_order_of_sending_and_fill_36_hours(night):
    at = [sent_at(message) for message in night]
    assert at == sorted(at)
    assert at[0] - datetime(2026, 11, 14, 1, 0, tzinfo=UTC) < timedelta(minutes=1)
    assert timedelta(0) <= datetime(2026, 11, 15, 13, 3, tzinfo=UTC) - at[-1] < timedelta(minutes=4)


def test_every_message_is_one_the_site_file_can_read(night, site_text):
    by_topic = {sensor["topic"]: sensor for sensor in site_text["sensor"]}
    for message in night:
        sensor = by_topic[message["topic"]]
        for channel in sensor["channel"]:
            assert isinstance(value_at(message["payload"], channel["path"]), (int, float))
        stamp = value_at(message["payload"], sensor["time_path"])
        if sensor["time"] == "unix_s":
            device_time = datetime.fromtimestamp(stamp, UTC)
        else:
            device_time = datetime.fromisoformat(stamp)
        assert timedelta(0) < sent_at(message) - device_time < timedelta(minutes=3)


def test_every_sensor_but_the_hand_probe_speaks(night, site_text):
    heard = {message["topic"] for message in night}
    declared = {sensor["topic"] for sensor in site_text["sensor"]}
    assert declared - heard == {"tern-hollow/hand-probe"}
    assert heard <= declared


def test_a_few_messages_are_held_up_and_one_comes_twice(night, site_text):
    time_path = {sensor["topic"]: sensor.get("time_path") for sensor in site_text["sensor"]}
    stamps = Counter(
        (message["topic"], value_at(message["payload"], time_path[message["topic"]]))
        for message in night
    )
    assert sorted(stamps.values())[-2:] == [1, 2]
    held_up = 0
    for message in night:
        stamp = value_at(message["payload"], time_path[message["topic"]])
        if isinstance(stamp, int):
            device_time = datetime.fromtimestamp(stamp, UTC)
        else:
            device_time = datetime.fromisoformat(stamp)
        held_up += sent_at(message) - device_time > timedelta(seconds=30)
    assert held_up == 6


def test_one_probe_goes_silent_in_the_evening_and_the_rest_keep_talking(night):
    silent_from = datetime(2026, 11, 14, 11, 30, tzinfo=UTC)
    later = Counter(
        message["topic"]
        for message in night
        if sent_at(message) > silent_from + timedelta(minutes=5)
    )
    assert "tern-hollow/bag-15" not in later
    assert min(later.values()) > 600
