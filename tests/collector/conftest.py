"""A site of two sensors, a store in a fresh folder, and a real mosquitto on a port of its own."""

from __future__ import annotations

import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog
from collector.stores.sqlite import SqliteStore
from rules.model.place import Sensor

NOW_MS = 1_772_000_000_000


@dataclass
class Kept:
    """A store with the ingest in front of it; the clock stands still at `now_ms`."""

    path: Path
    store: SqliteStore
    rejects: RejectLog
    ingest: Ingest
    now_ms: int = NOW_MS


@pytest.fixture
def make_sensor() -> Callable[..., Sensor]:
    """A sensor under a bag that tells its time in milliseconds; any field can be changed."""

    def make(**changes: object) -> Sensor:
        written: dict[str, object] = {
            "id": "bag-07",
            "title": "Under the bag of batch 7",
            "topic": "shed/bag-07",
            "time": "unix_ms",
            "time_path": "ts",
            "channel": [
                {"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "air.temp"},
                {"id": "rh", "quantity": "relative_humidity", "unit": "%RH", "path": "air.rh"},
                {"id": "par", "quantity": "ppfd", "unit": "umol/m2/s", "path": "light.0"},
            ],
        }
        return Sensor.model_validate(written | changes)

    return make


@pytest.fixture
def make_kept(tmp_path: Path) -> Iterator[Callable[..., Kept]]:
    made: list[Kept] = []

    def make(*sensors: Sensor, path: Path | None = None) -> Kept:
        where = path or tmp_path / "readings.db"
        store = SqliteStore(where)
        rejects = RejectLog(store.file)
        ingest = Ingest(
            Gate(sensors),
            store,
            rejects=rejects,
            together=store.file.writing,
            clock_ms=lambda: NOW_MS,
        )
        made.append(Kept(where, store, rejects, ingest))
        return made[-1]

    yield make
    for kept in made:
        kept.store.close()


@dataclass
class Mosquitto:
    """A running mosquitto. `restart` stops and starts it; queued messages survive."""

    folder: Path
    port: int
    more: str
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        (self.folder / "mosquitto.conf").write_text(
            f"listener {self.port} 127.0.0.1\n"
            f"persistence true\npersistence_location {self.folder}/\n"
            "max_queued_messages 0\nmax_inflight_messages 0\n" + self.more,
            encoding="utf-8",
        )
        # Started as root it would become another user, who may not read the test's folder.
        user = "user root\n"
        with (self.folder / "mosquitto.conf").open("a", encoding="utf-8") as conf:
            conf.write(user)
        self.process = subprocess.Popen(
            ["/usr/sbin/mosquitto", "-c", str(self.folder / "mosquitto.conf")],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        pause = threading.Event()
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            pause.wait(0.02)
        pytest.fail("mosquitto did not start")

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None

    def restart(self) -> None:
        self.stop()
        self.start()


@pytest.fixture
def make_mosquitto(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    started: list[Mosquitto] = []

    def make(more: str = "allow_anonymous true\n") -> Mosquitto:
        folder = tmp_path / f"mosquitto-{len(started)}"
        folder.mkdir()
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = int(probe.getsockname()[1])
        broker = Mosquitto(folder, port, more)
        broker.start()
        started.append(broker)
        return broker

    yield make
    for broker in started:
        broker.stop()


@pytest.fixture
def until() -> Callable[..., None]:
    """Wait until something holds, and fail if it never does."""

    def wait(holds: Callable[[], bool], within_s: float = 10.0) -> None:
        pause = threading.Event()
        for _ in range(int(within_s / 0.01)):
            if holds():
                return
            pause.wait(0.01)
        pytest.fail(f"did not come about within {within_s} s")

    return wait
