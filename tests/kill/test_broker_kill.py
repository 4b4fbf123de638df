"""The broker killed at random moments: the collector comes back by itself, and keeps what it kept.

A broker that is killed may lose what it had acknowledged to a sensor and not yet handed on: that is
its promise, not ours. Ours is that whatever reached us stays, once, and that listening goes on.
"""

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

PROCESS = Path(__file__).with_name("collector_process.py")
KILLS = 5
# What the broker acknowledged this long before it was killed had long been handed on to a
# collector that was there.
HANDED_ON_S = 1.0


class Sender:
    """A sensor that numbers its messages and remembers when the broker acknowledged each."""

    def __init__(self, port: int) -> None:
        self.sent = 0
        self._identifiers: list[int] = []  # of message n; none comes twice in so short a time
        self._acknowledged_at: dict[int, float] = {}
        self.first_ms = int(time.time() * 1000) - 1_000_000
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="sensor")
        self.client.reconnect_delay_set(min_delay=1, max_delay=1)
        self.client.on_publish = self._acknowledged
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def _acknowledged(self, _client, _userdata, mid, _reason, _properties) -> None:
        self._acknowledged_at[mid] = time.monotonic()

    def send(self) -> None:
        payload = json.dumps({"ts": self.first_ms + self.sent, "light": self.sent % 3000})
        self._identifiers.append(self.client.publish("yard/sky", payload, qos=1).mid)
        self.sent += 1

    def acknowledged_between(self, start: float, end: float) -> set[int]:
        return {
            number
            for number, mid in enumerate(self._identifiers)
            if start <= self._acknowledged_at.get(mid, end) < end
        }


def kept(path: Path, first_ms: int) -> set[int]:
    store = SqliteStore(path)
    try:
        found = store.since(0, 10**6)
        assert len({(r.channel, r.at_ms) for r in found}) == len(found) <= store.count()
        assert all(r.value == (r.at_ms - first_ms) % 3000 for r in found)
        return {r.at_ms - first_ms for r in found}
    finally:
        store.close()


def await_handed_on(path: Path, sender: Sender, pause: threading.Event) -> None:
    """Send until the collector has come back and keeps what is sent now, and all before it."""
    first = sender.sent
    for _ in range(1500):
        sender.send()
        pause.wait(0.02)
        if sender.sent % 10 == 0 and max(kept(path, sender.first_ms), default=-1) >= first:
            return
    pytest.fail("the collector did not come back")


def test_a_killed_broker_costs_nothing_that_had_reached_us(
    tmp_path, start_mosquitto, unused_port, kill_tally
):
    moments = random.Random(int(os.environ.get("KILL_SEED", "17")))
    pause = threading.Event()
    path = tmp_path / "readings.db"
    broker = start_mosquitto(unused_port)
    collector = subprocess.Popen(
        [sys.executable, str(PROCESS), "mqtt", str(unused_port), str(path)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert collector.stdout is not None
    assert collector.stdout.readline() == "ready\n"
    sender = Sender(unused_port)
    before: set[int] = set()
    try:
        for _ in range(KILLS):
            await_handed_on(path, sender, pause)
            back = time.monotonic()
            until = time.monotonic() + moments.uniform(0.0, 2.5)
            while time.monotonic() < until:
                sender.send()
                pause.wait(0.001)
            moment = time.monotonic()
            broker.kill()
            broker.wait(10)
            kill_tally("broker")
            now = kept(path, sender.first_ms)
            assert before <= now
            before = now | sender.acknowledged_between(back, moment - HANDED_ON_S)
            broker = start_mosquitto(unused_port)
        settled = sender.sent
        for _ in range(200):  # these are sent to a broker that lives on: all must come
            sender.send()
            pause.wait(0.01)
        wanted = before | set(range(settled, sender.sent))
        for _ in range(600):
            if wanted <= kept(path, sender.first_ms):
                break
            pause.wait(0.05)
        assert wanted <= kept(path, sender.first_ms)
        assert collector.poll() is None
    finally:
        sender.client.disconnect()
        sender.client.loop_stop()
        broker.kill()
        broker.wait(10)
        collector.kill()
        collector.wait(10)
        collector.stdout.close()
