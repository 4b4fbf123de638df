"""How fast a season of a whole nursery is replayed, with every limit, dose and the drying.

Ninety days of forty batches at one reading a minute and channel, judged by the demonstration's own
care plans through all their stages: twenty leafy batches under bags, twenty leafless ones in film.
Prints the time of the array form as a ratio to the row-by-row form (the live `step`, folded over a
part of the same cells and scaled up), and to the time of turning raw readings into cells, and the
highest memory this process ever held.

Run: python tests/bench/replay.py [--batches 40] [--days 90] [--rounds 3] [--folded-minutes 1440]
"""

from __future__ import annotations

import argparse
import resource
import statistics
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from api.site_files import read_plans
from rules.cells import CellBlock, cell_in
from rules.evaluator import start, step, sweep, watchlist
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


def rows_of(block: CellBlock, start_row: int, end_row: int) -> CellBlock:
    return CellBlock(
        block.first_minute + start_row,
        block.channels,
        block.means[start_row:end_row],
        block.present[start_row:end_row],
    )


def swept(watched, block: CellBlock) -> tuple[float, int]:
    """Return how long the season takes, a few weeks at a time, and how much was said."""
    began = time.perf_counter()
    state, said = start(watched), 0
    for row in range(0, len(block.means), BLOCK_DAYS * 1440):
        state, events, _ = sweep(watched, state, rows_of(block, row, row + BLOCK_DAYS * 1440))
        said += len(events)
    return time.perf_counter() - began, said


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
    asked.add_argument("--folded-minutes", type=int, default=1440)
    given = asked.parse_args()
    plans, faults = read_plans(PLANS)
    if faults:
        raise SystemExit("\n".join(str(fault) for fault in faults))
    site = nursery(given.batches)
    watched = watchlist(site, {name: (plan,) for name, plan in plans.items()})
    minutes = given.days * 1440
    block = season(site, minutes)
    print(f"{given.batches} batches, {given.days} days, {len(block.channels)} channels")
    ratios = []
    for round_number in range(given.rounds):
        array_s, said = swept(watched, block)
        part = min(given.folded_minutes, minutes)
        fold_s = folded(watched, block, part) * minutes / part
        ratios.append(fold_s / array_s)
        print(
            f"round {round_number + 1}: at once {array_s:.1f} s, {said} events; row by row "
            f"{fold_s:.0f} s (scaled up from {part} minutes); ratio {ratios[-1]:.0f}"
        )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"ratio row by row / at once: median {statistics.median(ratios):.0f} "
        f"({min(ratios):.0f} to {max(ratios):.0f}); peak memory {peak_mb:.0f} MB"
    )


if __name__ == "__main__":
    main()
