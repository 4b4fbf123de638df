"""How fast messages are kept, against a bare paho subscriber that only counts them.

A real mosquitto holds the same queued messages for two persistent sessions. Each round drains one
with `loop_forever`, automatic acknowledgement and a counting callback, and one with our collector,
which writes every value to SQLite with full sync before it acknowledges. Both speak MQTT 5 at
QoS 1 under the same broker settings, each in a fresh process; which goes first alternates.

Run: python tests/bench/ingest.py [--messages 20000] [--rounds 5]
"""

from __future__ import annotations

import argparse
import json
import resource
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from collector.gate import Gate
from collector.ingest import Ingest
from collector.mqtt import MqttCollector
from collector.rejects import RejectLog
from collector.settings import BrokerAddress
from collector.stores.sqlite import SqliteStore
from rules.model.place import Sensor

SENSORS = 20
TOPIC = "bench/shed/bag-{:02d}"


def now_ms() -> int:
    return int(time.time() * 1000)


def sensors() -> list[Sensor]:
    channels = [
        {"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "air.temp"},
        {"id": "rh", "quantity": "relative_humidity", "unit": "%RH", "path": "air.rh"},
        {"id": "par", "quantity": "ppfd", "unit": "umol/m2/s", "path": "light"},
    ]
    return [
        Sensor.model_validate(
            {
                "id": f"bag-{n:02d}",
                "title": f"Bag {n}",
                "topic": TOPIC.format(n),
                "time": "unix_ms",
                "time_path": "ts",
                "channel": channels,
            }
        )
        for n in range(SENSORS)
    ]


def connect_properties() -> Properties:
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600
    properties.ReceiveMaximum = 65535
    return properties


def bare_client() -> mqtt.Client:
    return mqtt.Client(
        mqtt.CallbackAPIVersion.VERSION2, client_id="bench-bare", protocol=mqtt.MQTTv5
    )


def connect_bare(client: mqtt.Client, port: int) -> None:
    client.connect("127.0.0.1", port, clean_start=False, properties=connect_properties())


def drain_bare(port: int, messages: int) -> None:
    """Count `messages` and print the rate."""
    seen = 0
    client = bare_client()

    def on_message(client: mqtt.Client, _userdata: object, _message: mqtt.MQTTMessage) -> None:
        nonlocal seen
        seen += 1
        if seen == messages:
            client.disconnect()

    client.on_message = on_message
    started, worked = time.perf_counter(), time.process_time()
    connect_bare(client, port)
    client.loop_forever()
    say(messages, time.perf_counter() - started, time.process_time() - worked)


def drain_ours(port: int, messages: int, path: Path) -> None:
    """Keep `messages` and print the rate; the last one counts when it is acknowledged."""
    collector, ingest, store = collector_on(port, path)
    before = store.count()
    started, worked = time.perf_counter(), time.process_time()
    collector.start()
    pause = threading.Event()
    while ingest.health().messages < messages:
        pause.wait(0.002)
    took_s, cpu_s = time.perf_counter() - started, time.process_time() - worked
    collector.stop()
    kept = store.count() - before
    store.close()
    if kept != messages * 3:
        sys.exit(f"kept {kept} readings, not {messages * 3}")
    say(messages, took_s, cpu_s)


def collector_on(port: int, path: Path) -> tuple[MqttCollector, Ingest, SqliteStore]:
    store = SqliteStore(path)
    ingest = Ingest(
        Gate(sensors()),
        store,
        rejects=RejectLog(store.file),
        together=store.file.writing,
        clock_ms=now_ms,
    )
    address = BrokerAddress("127.0.0.1", port, tls=False, user=None, password=None)
    collector = MqttCollector(address, ingest, clock_ms=now_ms, jitter=lambda: 0.5)
    return collector, ingest, store


def say(messages: int, took_s: float, cpu_s: float) -> None:
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    cost_us = cpu_s / messages * 1e6
    print(json.dumps({"rate": messages / took_s, "cost_us": cost_us, "peak_mb": peak_mb}))


def publish(port: int, messages: int) -> None:
    """Send the messages of one round; returns when the broker has acknowledged all."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    first_ms = now_ms()
    for n in range(messages):
        payload = {
            "ts": first_ms + n // SENSORS,
            "air": {"temp": 20 + n % 100 / 10, "rh": 90 + n % 90 / 10},
            "light": n % 1500,
        }
        sent = client.publish(TOPIC.format(n % SENSORS), json.dumps(payload), qos=1)
    sent.wait_for_publish(120)
    client.disconnect()
    client.loop_stop()


def subscribe_both(port: int, path: Path) -> None:
    """Make the two sessions, so that the broker queues for them."""
    client = bare_client()
    client.on_connect = lambda client, *_: client.subscribe("#", qos=1)
    client.on_subscribe = lambda client, *_: client.disconnect()
    connect_bare(client, port)
    client.loop_forever()
    collector, _, store = collector_on(port, path)
    collector.start()
    pause = threading.Event()
    while not collector.health().connected:
        pause.wait(0.01)
    collector.stop()
    store.close()


def start_mosquitto(folder: Path) -> tuple[subprocess.Popen[bytes], int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    (folder / "mosquitto.conf").write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\n"
        "max_queued_messages 0\nmax_inflight_messages 0\n"
    )
    broker = subprocess.Popen(
        ["mosquitto", "-c", str(folder / "mosquitto.conf")], stderr=subprocess.DEVNULL
    )
    pause = threading.Event()
    for _ in range(100):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return broker, port
        pause.wait(0.05)
    sys.exit("mosquitto did not start")


def in_process(what: str, port: int, messages: int, path: Path) -> dict[str, float]:
    said = subprocess.run(
        [
            *(sys.executable, __file__, "--do", what, "--port", str(port)),
            *("--messages", str(messages), "--file", str(path)),
        ],
        check=True,
        capture_output=True,
        text=True,
    )
    result: dict[str, float] = json.loads(said.stdout or "{}")
    return result


def compare(messages: int, rounds: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "readings.db"
        broker, port = start_mosquitto(Path(name))
        try:
            subscribe_both(port, path)
            ratios: list[float] = []
            rounds_of: dict[str, list[dict[str, float]]] = {"bare": [], "ours": []}
            for number in range(rounds):
                in_process("publish", port, messages, path)
                order = ("bare", "ours") if number % 2 == 0 else ("ours", "bare")
                got = {what: in_process(what, port, messages, path) for what in order}
                for what in order:
                    rounds_of[what].append(got[what])
                ratios.append(got["ours"]["rate"] / got["bare"]["rate"])
                print(
                    f"round {number + 1}: bare {got['bare']['rate']:7.0f} messages/s, "
                    f"ours {got['ours']['rate']:7.0f}, ratio {ratios[-1]:.2f}",
                    flush=True,
                )
        finally:
            broker.terminate()
            broker.wait(10)
    report(rounds_of, ratios)


def report(rounds_of: dict[str, list[dict[str, float]]], ratios: list[float]) -> None:
    for what, got in rounds_of.items():
        rate = statistics.median(one["rate"] for one in got)
        cost_us = statistics.median(one["cost_us"] for one in got)
        peak_mb = max(one["peak_mb"] for one in got)
        print(
            f"{what}: median {rate:.0f} messages/s, {cost_us:.1f} us of processor a message, "
            f"peak memory {peak_mb:.0f} MB"
        )
    print(
        f"ratio of rates, ours to bare: median {statistics.median(ratios):.2f}, "
        f"from {min(ratios):.2f} to {max(ratios):.2f}; ours keeps three readings a message, synced"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--do", choices=["bare", "ours", "publish"], help=argparse.SUPPRESS)
    parser.add_argument("--port", type=int, default=0, help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, default=Path(), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    match asked.do:
        case "bare":
            drain_bare(asked.port, asked.messages)
        case "ours":
            drain_ours(asked.port, asked.messages, asked.file)
        case "publish":
            publish(asked.port, asked.messages)
        case _:
            compare(asked.messages, asked.rounds)


if __name__ == "__main__":
    main()
