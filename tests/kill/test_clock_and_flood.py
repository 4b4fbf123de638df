"""The machine's clock jumps an hour, and a broker pours out all it has: nothing is lost."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from collector.rejects import RejectLog
from collector.stores.sqlite import SqliteStore

pytestmark = [pytest.mark.kill, pytest.mark.service, pytest.mark.slow]

PROCESS = Path(__file__).with_name("collector_process.py")
ROOT = Path(__file__).parents[2]
FLOOD = 40_000
# What the collector may hold beyond its resting size, whatever the broker pours out.
MOST_GROWTH_KB = 40 * 1024


def publisher_on(port: int) -> paho.Client:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(2000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


def peak_kb(pid: int) -> int:
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return int(status.split("VmHWM:")[1].split()[0])


def test_a_flood_from_the_broker_is_kept_whole_in_bounded_memory(tmp_path, mosquitto_port):
    path = tmp_path / "readings.db"
    process = subprocess.Popen(
        [sys.executable, str(PROCESS), "mqtt", str(mosquitto_port), str(path)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    resting_kb = peak_kb(process.pid)
    process.send_signal(signal.SIGSTOP)  # so that the broker holds everything at once
    client = publisher_on(mosquitto_port)
    first_ms = int(time.time() * 1000) - FLOOD
    sent = [
        client.publish("yard/sky", json.dumps({"ts": first_ms + n, "light": n % 3000}), qos=1)
        for n in range(FLOOD)
    ]
    for each in sent:
        each.wait_for_publish(60)
    client.disconnect()
    client.loop_stop()
    process.send_signal(signal.SIGCONT)
    store = SqliteStore(path)
    pause = threading.Event()
    for _ in range(600):
        if store.count() >= FLOOD:
            break
        pause.wait(0.1)
    grown_kb = peak_kb(process.pid) - resting_kb
    process.kill()
    process.wait(10)
    process.stdout.close()
    found = sorted(r.at_ms - first_ms for r in store.since(0, 2 * FLOOD))
    store.close()
    assert found == list(range(FLOOD))
    assert grown_kb < MOST_GROWTH_KB


def test_a_clock_that_jumps_an_hour_loses_no_message(tmp_path, mosquitto_port, unused_port):
    """The whole program under libfaketime: its clock jumps on, back, and right again.

    A reading that seems to come from the future is refused, as the gate promises, and stands in
    the log of rejects with its reason: nothing that was acknowledged is without a trace.
    """
    library = sorted(Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"))
    assert library, "faketime is not installed"
    offset = tmp_path / "offset"
    offset.write_text("+0\n", encoding="ascii")
    data = tmp_path / "data"
    log = (tmp_path / "log").open("w+", encoding="utf-8")
    program = subprocess.Popen(
        [
            *(sys.executable, "-m", "api.cli", "run", "--json"),
            *("--site", str(ROOT / "demo_data" / "site.toml"), "--data", str(data)),
            *("--broker", f"mqtt://127.0.0.1:{mosquitto_port}"),
            *("--listen", f"127.0.0.1:{unused_port}"),
        ],
        stdout=subprocess.PIPE,
        stderr=log,
        text=True,
        env=os.environ
        | {
            "LD_PRELOAD": str(library[0]),
            "FAKETIME_TIMESTAMP_FILE": str(offset),
            "FAKETIME_NO_CACHE": "1",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        },
    )
    assert program.stdout is not None
    assert "pages" in json.loads(program.stdout.readline())
    client = publisher_on(mosquitto_port)
    pause = threading.Event()
    path = data / "readings.sqlite"
    first_s = int(time.time()) - 1000
    number = 0
    for jump in ("+0", "+3600", "-3600", "+0"):
        offset.write_text(f"{jump}\n", encoding="ascii")
        pause.wait(1.5)  # the watch turns under this clock too
        sent = []
        for _ in range(100):
            payload = {"t": first_s + number, "temperature": 20 + number % 15, "humidity": 95.0}
            sent.append(client.publish("tern-hollow/bag-07", json.dumps(payload), qos=1))
            number += 1
        for each in sent:
            each.wait_for_publish(20)
        accounted_for(path, number, pause)
    client.disconnect()
    client.loop_stop()
    assert program.poll() is None
    program.terminate()
    assert program.wait(20) in {0, -signal.SIGTERM}
    program.stdout.close()
    store = SqliteStore(path)
    found = {r.at_ms // 1000 - first_s for r in store.since(0, 10_000) if r.channel == "bag-07/air"}
    rejects = RejectLog(store.file)
    counts = dict(rejects.counts())
    refused = {json.loads(one.payload)["t"] - first_s for one in rejects.newest(1000)}
    store.close()
    # Back an hour, all that is younger than an hour seems to be ahead: refused, and said.
    assert counts == {"clock ahead": 100}
    assert refused == set(range(200, 300))
    assert found == set(range(400)) - refused
    log.seek(0)
    assert "Traceback" not in log.read()
    log.close()


def accounted_for(path: Path, messages: int, pause: threading.Event) -> None:
    store = SqliteStore(path)
    try:
        for _ in range(300):
            refused = sum(RejectLog(store.file).counts().values())
            if store.count() // 2 + refused >= messages:
                return
            pause.wait(0.05)
    finally:
        store.close()
    pytest.fail("some messages are neither kept nor refused")
