"""How long the server takes for each page of a large nursery, beside an empty page.

Baseline in the same run: /healthz, which reads both stores and answers one word. The nursery is
Tern Hollow's, with its batches and probes copied until there are so many; every channel speaks each
five minutes, and the watch has judged them all.

    deploy/bench.sh pages [--batches 60] [--channels 200] [--hours 3] [--rounds 15] [--json]
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import statistics
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import httpx

from api.book import Book, in_force_of
from api.parts import Parts
from api.records.session import open_records
from api.records.tables import as_ms
from api.settings import Settings
from api.site_files import read_nursery
from api.watch.clock import TurnedClock, milliseconds
from api.watch.loop import Watch
from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog
from collector.stores.sqlite import SqliteStore
from rules.model.reading import Reading

if TYPE_CHECKING:
    from rules.model.batch import Batch
    from rules.model.place import Sensor
    from rules.model.site import Site

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_data"
GOAL_MS = 100.0
USUAL = {
    "air_temperature": 22.0,
    "leaf_temperature": 22.5,
    "relative_humidity": 96.0,
    "ppfd": 0.0,
    "illuminance": 0.0,
    "irradiance": 0.0,
    "air_speed": 0.2,
    "substrate_moisture": 35.0,
    "battery": 3.0,
}


def enlarged(site: Site, batches: int, channels: int) -> Site:
    """Return the site with batches and in-cover probes copied until there are so many."""
    more: list[Batch] = list(site.batch)
    sensors: list[Sensor] = list(site.sensor)
    probes = [one for one in sensors if one.position and one.position[-1].cover_of]
    copied = 0
    while len(more) < batches:
        model = site.batch[copied % len(site.batch)]
        code = f"{model.code}-{copied}"
        more.append(model.model_copy(update={"code": code}))
        probe = next((one for one in probes if one.position[-1].cover_of == model.code), None)
        if probe is not None:
            sensors.append(_copy(probe, copied, code))
        copied += 1
    while sum(len(one.channel) for one in sensors) < channels:
        sensors.append(_copy(probes[copied % len(probes)], copied, None))
        copied += 1
    return site.model_copy(update={"batch": tuple(more), "sensor": tuple(sensors)})


def _copy(probe: Sensor, number: int, code: str | None) -> Sensor:
    last = probe.position[-1]
    place = {"cover_of": code} if code else {"cover_of": None, "bench": "b1"}
    position = () if code is None else (last.model_copy(update=place),)
    return probe.model_copy(
        update={
            "id": f"{probe.id}-{number}",
            "topic": f"{probe.topic}-{number}",
            "position": position,
        }
    )


def fill(store: SqliteStore, site: Site, begin_ms: int, end_ms: int) -> int:
    """Keep a reading of every channel each five minutes; return how many."""
    kept = 0
    for sensor in site.sensor:
        readings = []
        for channel in sensor.channel:
            base = USUAL[channel.quantity.value]
            for n, at_ms in enumerate(range(begin_ms, end_ms, 300_000)):
                value = base + 0.1 * ((n * 7 + len(sensor.id)) % 10)
                readings.append(Reading(f"{sensor.id}/{channel.id}", at_ms, value))
        store.keep(readings)
        kept += len(readings)
    return kept


def measured(client: httpx.Client, path: str, rounds: int) -> tuple[float, float, float, int]:
    """Return the first, median and worst time in ms, and the bytes of the page."""
    times = []
    size = 0
    for _ in range(rounds + 1):
        begun = time.perf_counter()
        answer = client.get(path)
        times.append((time.perf_counter() - begun) * 1000.0)
        assert answer.status_code == 200, (path, answer.status_code)
        size = len(answer.content)
    return times[0], statistics.median(times[1:]), max(times[1:]), size


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--batches", type=int, default=60)
    parser.add_argument("--channels", type=int, default=200)
    parser.add_argument("--hours", type=int, default=3)
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()

    spec = importlib.util.spec_from_file_location(
        "pages_nursery", ROOT / "tests" / "screens" / "nursery.py"
    )
    assert spec is not None
    assert spec.loader is not None
    nursery = importlib.util.module_from_spec(spec)
    sys.modules["pages_nursery"] = nursery
    spec.loader.exec_module(nursery)

    read = read_nursery(DEMO / "site.toml", DEMO / "plans")
    assert read.site is not None
    site = enlarged(read.site, asked.batches, asked.channels)
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteStore(Path(folder) / "readings.db")
        records = open_records(Path(folder) / "records.db")
        clock = TurnedClock(nursery.NIGHT)
        begin = nursery.NIGHT - timedelta(hours=asked.hours)
        book = Book(in_force_of(site, read.versions))
        rejects = RejectLog(store.file)
        ingest = Ingest(
            Gate(site.sensor),
            store,
            rejects=rejects,
            together=store.file.writing,
            clock_ms=lambda: milliseconds(clock),
        )
        parts = Parts(
            book, store, rejects, ingest, records, clock, Settings(push_token=None, accounts="off")
        )
        kept = fill(store, site, as_ms(begin), as_ms(nursery.NIGHT))
        watch = Watch(
            book,
            store,
            records,
            clock,
            lateness_s=90,
            start_minute=int(begin.timestamp()) // 60,
            unwatched_after_min=100_000,
        )
        watch.turn()
        code = site.batch[0].code
        pages = ["/healthz", "/", "/house", "/todo", f"/bench/{code}", f"/batches/{code}"]
        pages += [
            "/alarms",
            "/sensors",
            f"/batches/{code}/charts",
            "/plans",
            "/tonight",
            "/api/v1/batches",
        ]
        with (
            nursery.serving(parts) as address,
            httpx.Client(base_url=address, timeout=120) as client,
        ):
            told = {path: measured(client, path, asked.rounds) for path in pages}
        parts.stopping.set()
        records.dispose()
        store.close()
    channels = sum(len(one.channel) for one in site.sensor)
    empty = told["/healthz"][1]
    if asked.json:
        sys.stdout.write(
            json.dumps(
                {
                    "batches": len(site.batch),
                    "channels": channels,
                    "readings": kept,
                    "cpus": os.cpu_count(),
                    "pages": {
                        path: {"first_ms": a, "median_ms": b, "worst_ms": c, "bytes": size}
                        for path, (a, b, c, size) in told.items()
                    },
                }
            )
            + "\n"
        )
        return
    print(f"{len(site.batch)} batches, {channels} channels, {kept} readings, {asked.rounds} rounds")
    print(f"{'page':<20} {'first ms':>9} {'median':>9} {'worst':>9} {'times':>7} {'kB':>7}  goal")
    for path, (first, median, worst, size) in told.items():
        goal = "" if path == "/healthz" else "met" if median < GOAL_MS else "not met"
        ratio, heavy = median / empty, size / 1000
        figures = f"{first:9.1f} {median:9.1f} {worst:9.1f} {ratio:7.1f} {heavy:7.1f}"
        print(f"{path:<20} {figures}  {goal}")


if __name__ == "__main__":
    main()
