"""A collector in a process of its own, for tests that kill it.

Usage: collector_process.py (mqtt | broker) PORT FILE. Says "ready" and runs until killed.
"""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog
from collector.settings import BrokerAddress, ListenAddress
from collector.stores.sqlite import SqliteStore
from rules.model.place import Sensor

CHANNEL = {"id": "par", "quantity": "ppfd", "unit": "umol/m2/s", "path": "light"}
SENSOR = {"id": "sky", "title": "Open sky", "topic": "yard/sky", "channel": [CHANNEL]}
CLOCK = {"time": "unix_ms", "time_path": "ts"}


def now_ms() -> int:
    return int(time.time() * 1000)


def main() -> None:
    kind, port, path = sys.argv[1], int(sys.argv[2]), Path(sys.argv[3])
    store = SqliteStore(path)
    ingest = Ingest(
        Gate([Sensor.model_validate(SENSOR | CLOCK)]),
        store,
        rejects=RejectLog(store.file),
        together=store.file.writing,
        clock_ms=now_ms,
    )
    if kind == "broker":
        from collector.broker import EmbeddedBroker

        EmbeddedBroker(ListenAddress("127.0.0.1", port), ingest, clock_ms=now_ms).start()
    else:
        from collector.mqtt import MqttCollector

        address = BrokerAddress("127.0.0.1", port, tls=False, user=None, password=None)
        collector = MqttCollector(address, ingest, clock_ms=now_ms, jitter=lambda: 0.0)
        collector.start()
        pause = threading.Event()
        while not collector.health().connected:
            pause.wait(0.005)
    print("ready", flush=True)
    threading.Event().wait()


if __name__ == "__main__":
    main()
