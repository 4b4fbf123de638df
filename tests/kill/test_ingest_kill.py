"""Kill the collector when it cannot foresee it: nothing acknowledged is lost, nothing doubled."""

from __future__ import annotations

import contextlib
import json
import os
import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from collector.stores.sqlite import SqliteStore

pytestmark = [pytest.mark.kill, pytest.mark.service]

MESSAGES = 5_000
PROCESS = Path(__file__).with_name("collector_process.py")


class Collector:
    """The process under test."""

    def __init__(self, kind: str, port: int, path: Path, *, tally: Callable[[str], None]) -> None:
        self.tally = tally
        self.command = [sys.executable, str(PROCESS), kind, str(port), str(path)]
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(self.command, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == "ready\n"

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.tally("collector")
            assert self.process.stdout is not None
            self.process.stdout.close()
            self.process = None


@pytest.fixture
def collector_of(tmp_path, kill_tally) -> Iterator[Callable[[str, int], Collector]]:
    made: list[Collector] = []

    def make(kind: str, port: int) -> Collector:
        made.append(Collector(kind, port, tmp_path / "readings.db", tally=kill_tally))
        return made[-1]

    yield make
    for collector in made:
        collector.kill()


def payload(first_ms: int, number: int) -> bytes:
    return json.dumps({"ts": first_ms + number, "light": number % 3000}).encode()


def expected(first_ms: int) -> list[tuple[str, int, float]]:
    return [("sky/par", first_ms + n, float(n % 3000)) for n in range(MESSAGES)]


def kept(path: Path) -> list[tuple[str, int, float]]:
    store = SqliteStore(path)
    try:
        found = store.since(0, 10 * MESSAGES)
        assert store.count() == len(found)
        return sorted((r.channel, r.at_ms, r.value) for r in found)
    finally:
        store.close()


def sequence_in(path: Path) -> int:
    store = SqliteStore(path)
    try:
        return store.last_sequence()
    finally:
        store.close()


@pytest.mark.parametrize("seed", [1, 2])
def test_a_killed_collector_keeps_every_message_once(seed, tmp_path, mosquitto_port, collector_of):
    moments = random.Random(seed + int(os.environ.get("KILL_SEED", "0")))
    pause = threading.Event()
    collector = collector_of("mqtt", mosquitto_port)
    path = tmp_path / "readings.db"
    collector.start()  # its session must exist before the first message
    first_ms = int(time.time() * 1000) - MESSAGES
    publisher = paho.Client(paho.CallbackAPIVersion.VERSION2)
    publisher.max_inflight_messages_set(500)
    publisher.connect("127.0.0.1", mosquitto_port)
    publisher.loop_start()
    sent = []
    kills_at = sorted(moments.sample(range(100, MESSAGES), 5))
    for number in range(MESSAGES):
        sent.append(publisher.publish("yard/sky", payload(first_ms, number), qos=1))
        if kills_at and number == kills_at[0]:
            kills_at.pop(0)
            pause.wait(moments.uniform(0, 0.05))
            collector.kill()
            collector.start()
    for each in sent:
        each.wait_for_publish(20)
    publisher.disconnect()
    publisher.loop_stop()
    for _ in range(3):  # and while it drains what waited
        pause.wait(moments.uniform(0, 0.1))
        collector.kill()
        collector.start()
    for _ in range(1000):
        if sequence_in(path) >= MESSAGES and len(kept(path)) >= MESSAGES:
            break
        pause.wait(0.02)
    collector.kill()
    assert kept(path) == expected(first_ms)


class Device:
    """A sensor that sends again whatever was not acknowledged, one connection after another."""

    def __init__(self, port: int, first_ms: int) -> None:
        self.port = port
        self.first_ms = first_ms
        self.acknowledged: set[int] = set()

    def send_until_cut_off(self, numbers: list[int]) -> None:
        waiting: dict[int, int] = {}
        over = threading.Event()
        client = paho.Client(
            paho.CallbackAPIVersion.VERSION2, clean_session=True, reconnect_on_failure=False
        )
        client.max_inflight_messages_set(300)

        def on_publish(_client, _userdata, mid, _reason, _properties) -> None:
            number = waiting.get(mid)
            if number is not None:
                self.acknowledged.add(number)
            if len(self.acknowledged) == MESSAGES:
                over.set()

        client.on_publish = on_publish
        client.on_disconnect = lambda *_: over.set()
        with contextlib.suppress(OSError):
            client.connect("127.0.0.1", self.port)
            for number in numbers:  # before the loop starts: no receipt can come too early
                sent = client.publish("yard/sky", payload(self.first_ms, number), qos=1)
                waiting[sent.mid] = number
            client.loop_start()
            over.wait(30)
            client.disconnect()
            client.loop_stop()


def test_what_the_built_in_broker_acknowledged_survives_every_kill(
    tmp_path, collector_of, unused_port
):
    moments = random.Random(int(os.environ.get("KILL_SEED", "7")))
    port = unused_port
    path = tmp_path / "readings.db"
    collector = collector_of("broker", port)
    first_ms = int(time.time() * 1000) - MESSAGES
    device = Device(port, first_ms)
    kills = 0
    for turn in range(12):
        left = [number for number in range(MESSAGES) if number not in device.acknowledged]
        if not left:
            break
        collector.start()
        sending = threading.Thread(target=device.send_until_cut_off, args=(left,))
        sending.start()
        if turn < 6:
            sending.join(moments.uniform(0.1, 0.5))
            collector.kill()
            kills += 1
            promised = {first_ms + number for number in device.acknowledged}
            stored = {at_ms for _, at_ms, _ in kept(path)}
            assert promised <= stored
        sending.join(40)
    collector.kill()
    assert kills >= 3
    assert len(device.acknowledged) == MESSAGES
    assert kept(path) == expected(first_ms)
