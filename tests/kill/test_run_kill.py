"""The whole program killed with messages in flight: what was acknowledged is there, once."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from collector.stores.sqlite import SqliteStore

pytestmark = [pytest.mark.kill, pytest.mark.service, pytest.mark.slow]

ROOT = Path(__file__).parents[2]
MESSAGES = 5_000
CHANNELS = 2


class Program:
    """`graftvigil run` over one data folder, killed and started as often as asked."""

    def __init__(self, data: Path, *, broker_port: int, pages_port: int) -> None:
        self.command = [
            *(sys.executable, "-m", "api.cli", "run", "--json"),
            *("--site", str(ROOT / "demo_data" / "site.toml"), "--data", str(data)),
            *("--broker", f"mqtt://127.0.0.1:{broker_port}"),
            *("--listen", f"127.0.0.1:{pages_port}"),
        ]
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(
            self.command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        assert self.process.stdout is not None
        assert "pages" in json.loads(self.process.stdout.readline())

    def kill(self) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait(10)
        assert self.process.stdout is not None
        self.process.stdout.close()


def kept(path: Path) -> list[tuple[str, int, float]]:
    store = SqliteStore(path)
    try:
        found = store.since(0, 10 * MESSAGES)
    finally:
        store.close()
    return sorted((each.channel, each.at_ms, each.value) for each in found)


def test_five_thousand_messages_in_flight_outlive_two_kills(tmp_path, mosquitto_port, unused_port):
    moments = random.Random(int(os.environ.get("KILL_SEED", "5")))
    pause = threading.Event()
    data = tmp_path / "data"
    program = Program(data, broker_port=mosquitto_port, pages_port=unused_port)
    program.start()  # from now on the broker keeps for us what we have not acknowledged
    first_s = int(time.time()) - MESSAGES
    publisher = paho.Client(paho.CallbackAPIVersion.VERSION2)
    publisher.max_inflight_messages_set(1000)
    publisher.connect("127.0.0.1", mosquitto_port)
    publisher.loop_start()
    sent = []
    kill_at = moments.randrange(500, MESSAGES - 500)
    for number in range(MESSAGES):
        payload = {"t": first_s + number, "temperature": 20 + number % 15, "humidity": 95.0}
        sent.append(publisher.publish("tern-hollow/bag-07", json.dumps(payload), qos=1))
        if number == kill_at:
            pause.wait(moments.uniform(0, 0.1))
            program.kill()
    for each in sent:
        each.wait_for_publish(30)
        assert each.is_published()
    publisher.disconnect()
    publisher.loop_stop()
    program.start()
    pause.wait(moments.uniform(0, 0.2))  # while it drains what waited
    program.kill()
    program.start()
    expected = MESSAGES * CHANNELS
    for _ in range(300):
        if len(kept(data / "readings.sqlite")) >= expected:
            break
        pause.wait(0.1)
    program.kill()
    assert kept(data / "readings.sqlite") == sorted(
        [("bag-07/air", (first_s + n) * 1000, float(20 + n % 15)) for n in range(MESSAGES)]
        + [("bag-07/humidity", (first_s + n) * 1000, 95.0) for n in range(MESSAGES)]
    )
