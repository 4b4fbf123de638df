"""How fast a season of a whole nursery is replayed, with every limit, dose and the drying.

Ninety days of forty batches at one reading a minute and channel, judged by the demonstration's own
care plans through all their stages: twenty leafy batches under bags, twenty leafless ones in film.
The season is kept in a store of its own and packed there, as past days are; that is not timed.
Then, in each round:
- reading: all of it out of the store as arrays, and cut into cells, in one process;
- at once: two processes, with half of the batches each, read, cut and judge it bit by bit;
- row by row: the live form over part of the same cells, in one process, scaled up to the season.
Prints what each took, the ratios, and the most memory that any of the processes held.

Run: python tests/bench/replay.py [--batches 40] [--days 90] [--rounds 3] [--folded-minutes 720]
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import statistics
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from api.site_files import read_plans
from collector.stores.packing import pack_some
from collector.stores.sqlite import SqliteStore
from rules.cells import CellBlock, block_of_series, cell_in
from rules.evaluator import start, step, sweep, watchlist
from rules.model.reading import MINUTE_MS, Reading
from rules.model.site import Site

BEGINS = datetime(2026, 8, 31, 17, 0, tzinfo=UTC)
FIRST = int(BEGINS.timestamp()) // 60
PLANS = Path(__file__).parents[2] / "demo_data" / "plans"
BLOCK_DAYS = 15
STAGES = (("healing", 0), ("new_growth", 30), ("easing", 40), ("hardening", 55))
QUANTITIES = {
    "air": ("air_temperature", "degC"),
    "damp": ("relative_humidity", "%RH"),
    "light": ("ppfd", "umol/m2/s"),
}


def nursery(batches: int) -> Site:
    since = BEGINS - timedelta(hours=1)
    benches = {"id": "b", "house": "h", "title": "B", "x_m": 1, "y_m": 1}
    leafy = batches // 2
    sensors = [
        sensor(f"bag{i}", ("air", "damp"), {"since": since, "cover_of": f"b{i}"})
        for i in range(leafy)
    ]
    sensors.append(sensor("house", ("air", "damp", "light"), {"since": since, "house": "h"}))
    return Site.model_validate(
        {
            "site": {
                "title": "A nursery",
                "latitude_deg": 14.0,
                "longitude_deg": 100.5,
                "elevation_m": 20.0,
                "time_zone": "Asia/Bangkok",
            },
            "lead": "lead",
            "house": [
                {"id": "h", "title": "H", "shade_fraction": 0.85, "length_m": 50, "width_m": 9}
            ],
            "bench": [{**benches, "length_m": 40, "width_m": 2}],
            "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
            "sensor": sensors,
            "batch": [batch(i, leafy=i < leafy) for i in range(batches)],
        }
    )


def sensor(name: str, channels, position) -> dict:
    return {
        "id": name,
        "title": "S",
        "topic": f"site/{name}",
        "channel": [
            {"id": one, "quantity": QUANTITIES[one][0], "unit": QUANTITIES[one][1], "path": one}
            for one in channels
        ],
        "position": [position],
    }


def batch(i: int, *, leafy: bool) -> dict:
    return {
        "code": f"b{i}",
        "species": "mango",
        "cultivar": "any",
        "rootstock": "any",
        "method": "cleft",
        "scion": "leafy" if leafy else "leafless",
        "wrap": "stretch_film",
        "cover": "tied_bag" if leafy else "none",
        "count": 10,
        "grafter": "QX",
        "grafted_on": BEGINS.date(),
        "bench": "b",
        "plan": "leafy-bag" if leafy else "leafless-film",
        "stage": [
            {"stage": stage, "since": BEGINS + timedelta(days=day), "because": "seen"}
            for stage, day in STAGES
        ],
        "observation": [{"at": BEGINS + timedelta(days=55), "seen": "cover_off"}] if leafy else [],
    }


def season(site: Site, minutes: int) -> CellBlock:
    """Days that are warm and dry at noon, differ from each other, and have gaps and noise."""
    chance = np.random.default_rng(20261125)
    keys = tuple(site.channels)
    at = np.arange(minutes)
    hour = at % 1440 / 60.0
    bright = np.clip(np.sin((hour - 6.0) / 12.0 * np.pi), 0.0, None)
    day = 0.4 + 0.6 * chance.random(minutes // 1440 + 1)[at // 1440]
    light = 300.0 * bright * day
    columns = []
    for key in keys:
        of_bag = key.startswith("bag")
        noise = chance.normal(0.0, 1.0, minutes)
        if key.endswith("air"):
            values = 22.0 + light / (30.0 if of_bag else 50.0) + 0.1 * noise
        elif key.endswith("damp"):
            level = 99.0 if of_bag else 92.0
            values = level - light / (60.0 if of_bag else 8.0) + 0.4 * noise
        else:
            values = light * (1.0 + 0.05 * noise)
        top = 100.0 if key.endswith("damp") else 3000.0
        columns.append(np.rint(np.clip(values, 0.0, top) * 100.0).astype(np.int64) * 10_000)
    present = chance.random((minutes, len(keys))) > 0.01
    means = np.stack(columns, axis=1)
    return CellBlock(FIRST, keys, np.where(present, means, 0), present)


def kept(site: Site, minutes: int, path: Path) -> None:
    """Keep the season day by day, and pack every day that is over."""
    block = season(site, minutes)
    store = SqliteStore(path)
    for begin in range(0, minutes, 1440):
        rows = slice(begin, min(begin + 1440, minutes))
        for column, key in enumerate(block.channels):
            there = np.flatnonzero(block.present[rows, column]) + begin
            values = (block.means[there, column] / 1e6).tolist()
            at_ms = ((FIRST + there) * MINUTE_MS + 20_000).tolist()
            store.keep([Reading(key, at, value) for at, value in zip(at_ms, values, strict=True)])
        while pack_some(store.file, before_ms=(FIRST + rows.stop) * MINUTE_MS):
            pass
    store.close()


def read(site: Site, path: Path, first: int, minutes: int, keys=None) -> CellBlock:
    store = SqliteStore(path)
    start_ms, end_ms = first * MINUTE_MS, (first + minutes) * MINUTE_MS
    told = store.series(tuple(site.channels) if keys is None else keys, start_ms, end_ms)
    series = {key: (one.at_ms, one.value) for key, one in told.items()}
    store.close()
    return block_of_series(site, first, minutes, series)


def replayed(task) -> tuple[int, float]:
    """Judge some of the batches over the whole season; return what was said and memory held."""
    site, plans, path, minutes, part = task
    watched = watchlist(site, plans)
    watched = replace(watched, batches=watched.batches[part])
    state, said = start(watched), 0
    for begin in range(0, minutes, BLOCK_DAYS * 1440):
        length = min(BLOCK_DAYS * 1440, minutes - begin)
        block = read(site, path, FIRST + begin, length)
        state, events, _ = sweep(watched, state, block)
        said += len(events)
    return said, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def folded(watched, block: CellBlock, minutes: int) -> float:
    state = start(watched)
    began = time.perf_counter()
    for minute in range(block.first_minute, block.first_minute + minutes):
        state, _ = step(watched, state, cell_in(block, minute))
    return time.perf_counter() - began


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--batches", type=int, default=40)
    asked.add_argument("--days", type=int, default=90)
    asked.add_argument("--rounds", type=int, default=3)
    asked.add_argument("--folded-minutes", type=int, default=720)
    given = asked.parse_args()
    read_in, faults = read_plans(PLANS)
    if faults:
        raise SystemExit("\n".join(str(fault) for fault in faults))
    plans = {name: (plan,) for name, plan in read_in.items()}
    site, minutes = nursery(given.batches), given.days * 1440
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.db"
        kept(site, minutes, path)
        measure(site, plans, path, minutes, rounds=given.rounds, part=given.folded_minutes)


def measure(site, plans, path: Path, minutes: int, *, rounds: int, part: int) -> None:
    readings = SqliteStore(path).count()
    print(f"{len(site.batch)} batches, {minutes // 1440} days, {readings} readings")
    half = len(site.batch) // 2
    # Every other batch: leafy and leafless ones cost unlike.
    tasks = [(site, plans, path, minutes, slice(first, None, 2)) for first in range(min(2, half))]
    by_row, by_reading = [], []
    for round_number in range(rounds):
        began = time.perf_counter()
        for begin in range(0, minutes, BLOCK_DAYS * 1440):
            read(site, path, FIRST + begin, min(BLOCK_DAYS * 1440, minutes - begin))
        reading_s = time.perf_counter() - began
        began = time.perf_counter()
        with multiprocessing.get_context("fork").Pool(len(tasks)) as pool:
            told = pool.map(replayed, tasks)
        array_s = time.perf_counter() - began
        length = min(part, minutes)
        block = read(site, path, FIRST, length)
        fold_s = folded(watchlist(site, plans), block, length) * minutes / length
        by_row.append(fold_s / array_s)
        by_reading.append(array_s / reading_s)
        print(
            f"round {round_number + 1}: reading {reading_s:.1f} s; at once {array_s:.1f} s, "
            f"{sum(said for said, _ in told)} events, {max(held for _, held in told):.0f} MB a "
            f"process; row by row {fold_s:.0f} s (scaled up from {length} minutes)"
        )
    print(
        f"row by row / at once: median {statistics.median(by_row):.0f} "
        f"({min(by_row):.0f} to {max(by_row):.0f}); at once / reading: "
        f"{statistics.median(by_reading):.1f} ({min(by_reading):.1f} to {max(by_reading):.1f})"
    )


if __name__ == "__main__":
    main()
