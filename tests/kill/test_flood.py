"""A storm of messages, from strangers and from sensors: memory stays bounded, nothing is lost."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from collector.rejects import MOST_KEPT, RejectLog
from collector.stores.sqlite import SqliteStore
from collector.waiting import MOST_NEW, MOST_STEADY, WaitingList

pytestmark = [pytest.mark.service, pytest.mark.slow]

STRANGERS = 12_000
SENT_BY_THE_SENSOR = 3_000
MOST_MORE_KB = 120_000
PAD = b"x" * 6_000


def memory_kb(pid: int) -> tuple[int, int]:
    """Return the memory of a process now and at its highest, in kB."""
    said = Path(f"/proc/{pid}/status").read_text()
    return tuple(int(re.search(rf"{name}:\s+(\d+)", said)[1]) for name in ("VmRSS", "VmHWM"))


@pytest.mark.parametrize("kind", ["mqtt", "broker"])
def test_a_storm_of_strangers_takes_neither_memory_nor_readings(
    kind, tmp_path, mosquitto_port, unused_port
):
    port = mosquitto_port if kind == "mqtt" else unused_port
    file = tmp_path / "readings.db"
    script = Path(__file__).parent / "collector_process.py"
    process = subprocess.Popen(
        [sys.executable, str(script), kind, str(port), str(file)], stdout=subprocess.PIPE
    )
    try:
        assert process.stdout.readline() == b"ready\n"
        before, _ = memory_kb(process.pid)
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
        client.max_inflight_messages_set(200)
        client.connect("127.0.0.1", port)
        client.loop_start()
        sent = []
        stamp = int(time.time() * 1000)
        for number in range(STRANGERS):
            client.publish(
                f"storm/{number}", b'{"temp": 21, "pad": "' + PAD + b'"}', qos=number % 2
            )
            if number * SENT_BY_THE_SENSOR % STRANGERS < SENT_BY_THE_SENSOR:
                said = {"ts": stamp - len(sent), "light": 5}
                sent.append(client.publish("yard/sky", json.dumps(said), qos=1))
        for one in sent:
            one.wait_for_publish(120)
        client.disconnect()
        client.loop_stop()
        deadline = time.monotonic() + 60
        store = SqliteStore(file)
        while store.count() < len(sent) and time.monotonic() < deadline:
            time.sleep(0.1)
        _, highest = memory_kb(process.pid)
        assert store.count() == len(sent) == SENT_BY_THE_SENSOR
        assert highest - before < MOST_MORE_KB
        assert len(WaitingList(store.file).listed()) <= MOST_STEADY + MOST_NEW
        rejects = RejectLog(store.file)
        assert len(rejects.newest(MOST_KEPT * 2)) <= MOST_KEPT
        assert rejects.counts()["unknown topic"] >= STRANGERS // 2  # QoS 0 may be lost on the way
        store.close()
        assert file.stat().st_size < 40_000_000
    finally:
        process.kill()
        process.wait(10)
        process.stdout.close()
