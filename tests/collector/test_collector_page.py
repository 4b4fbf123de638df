"""What docs/collector.md shows is sent as shown, to a real broker, and kept."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

from collector.mqtt import MqttCollector
from collector.settings import broker_address
from rules.model.place import Sensor

PAGE = (Path(__file__).parents[2] / "docs" / "collector.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"^```toml\n(.*?)^```\n\n```sh [^\n]*\n(.*?)^```", PAGE, re.M | re.S)
KEPT = [
    {"bag-07/air": 21.5, "bag-07/light": 130.2},
    {"b7/air": 21.5, "b7/humidity": 91.0},
    {"door/air": 21.5},
    {"b8/air": 21.5},
]


def test_the_page_shows_every_payload():
    assert len(SHOWN) == len(KEPT)
    assert PAGE.count("mosquitto_pub -h localhost") == len(SHOWN)


@pytest.mark.service
@pytest.mark.parametrize(("shown", "kept_values"), list(zip(SHOWN, KEPT, strict=True)))
def test_a_shown_line_sends_what_the_shown_sensor_reads(
    shown, kept_values, tmp_path, make_mosquitto, make_kept, until
):
    from api.site_files import read_site

    written, command = shown
    site = (Path(__file__).parents[1] / "faulty" / "good" / "site.toml").read_text()
    site = site.replace("bag-07", "another")
    (tmp_path / "site.toml").write_text(site + "\n" + written, encoding="utf-8")
    read, faults = read_site(tmp_path / "site.toml")
    assert read is not None, faults
    own = tomllib.loads(written)["sensor"][0]["id"]
    sensor: Sensor = next(one for one in read.sensor if one.id == own)
    broker, kept = make_mosquitto(), make_kept(sensor)
    clock = subprocess.run(["date", "+%s%3N"], capture_output=True, text=True, check=True)
    kept.now_ms = int(clock.stdout)
    collector = MqttCollector(
        broker_address(f"mqtt://127.0.0.1:{broker.port}", password=None),
        kept.ingest,
        clock_ms=lambda: kept.now_ms,
        jitter=lambda: 0.0,
    )
    collector.start()
    try:
        until(lambda: collector.health().connected)
        line = command.replace("-p 1883", f"-p {broker.port}")
        subprocess.run(["sh", "-c", line], check=True, timeout=20)
        until(lambda: kept.store.count() == len(kept_values))
    finally:
        collector.stop()
    assert {one.channel: one.value for one in kept.store.since(0, 10)} == kept_values
    assert kept.rejects.counts() == {}
