"""InfluxDB, and the process that feeds it, killed while readings go from one to the other."""

from __future__ import annotations

import importlib.util
import json
import os
import random
import subprocess
import sys
import threading
from pathlib import Path

import pytest

pytestmark = [pytest.mark.kill, pytest.mark.service, pytest.mark.slow]

PROCESS = Path(__file__).with_name("spool_process.py")
MINUTES = 1500
AWAY_MINUTES = 60
KILLS = 10


def loaded():
    spec = importlib.util.spec_from_file_location("spool_process", PROCESS)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class Feeder:
    """The process under test; `said` is the last batch that it told to be kept."""

    def __init__(self, path: Path, url: str, bucket: str) -> None:
        self.where = [str(path), url, bucket]
        self.said = -1
        self.done = threading.Event()
        self.process: subprocess.Popen[str] | None = None
        self.listening: threading.Thread | None = None

    def start(self) -> None:
        numbers = [str(self.said + 1), str(MINUTES - 1)]
        self.process = subprocess.Popen(
            [sys.executable, str(PROCESS), *self.where, *numbers], stdout=subprocess.PIPE, text=True
        )
        self.listening = threading.Thread(target=self._listen, args=(self.process,))
        self.listening.start()

    def _listen(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            if line == "done\n":
                self.done.set()
            elif line.endswith("\n"):
                self.said = int(line)
        process.stdout.close()

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
        if self.listening is not None:
            self.listening.join(10)


def archived(server, bucket: str) -> list[tuple[str, int, float]]:
    found = json.loads(server.ask("SELECT value FROM reading GROUP BY sensor", bucket=bucket))
    return sorted(
        (f"{series['tags']['sensor']}/air", at_ms, float(value))
        for series in found["results"][0].get("series", [])
        for at_ms, value in series["values"]
    )


def test_every_reading_reaches_influxdb_once_whoever_is_killed(
    tmp_path, make_influx_server, kill_tally
):
    process = loaded()
    moments = random.Random(int(os.environ.get("KILL_SEED", "3")))
    pause = threading.Event()
    server = make_influx_server()
    bucket = server.make_bucket("readings")
    feeder = Feeder(tmp_path / "readings.db", server.url, bucket)
    feeder.start()
    # The server is away for an hour's traffic and more; the feeder goes on.
    server.kill()
    while feeder.said < AWAY_MINUTES:
        pause.wait(0.01)
    server.start()
    for number in range(KILLS):
        pause.wait(moments.uniform(0.05, 1.2))
        if number % 3 == 2:
            feeder.kill()
            kill_tally("collector")
            feeder.start()
        else:
            server.kill()  # while the feeder writes to it
            kill_tally("influxdb")
            pause.wait(moments.uniform(0, 0.3))
            server.start()
    assert feeder.done.wait(90)
    feeder.kill()
    expected = sorted(
        (r.channel, r.at_ms, r.value) for n in range(MINUTES) for r in process.batch_of(n)
    )
    assert archived(server, bucket) == expected
