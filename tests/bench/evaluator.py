"""How fast a day of a whole nursery is judged at once, against folding `step` over its cells.

Both run in this process on the same cells: one probe of temperature and humidity under each bag,
twelve limits a batch. Prints each round's ratio, and what one live minute takes.

Run: python tests/bench/evaluator.py [--batches 40] [--hours 24] [--rounds 5]
"""

from __future__ import annotations

import argparse
import statistics
import time

import numpy as np

from rules.cells import CellBlock, cell_in
from rules.evaluator import EvaluatorState, outlook, start, step, sweep, watchlist
from rules.model.plan import CarePlan
from rules.model.site import Site

FIRST = 29_631_660
WORDS = {"en": "words", "es": "palabras"}
LIMITS = (
    ("relative_humidity", "low", 90.0),
    ("relative_humidity", "low", 85.0),
    ("relative_humidity", "low", 80.0),
    ("vapour_pressure_deficit", "high", 0.3),
    ("vapour_pressure_deficit", "high", 0.45),
    ("vapour_pressure_deficit", "high", 0.6),
    ("air_temperature", "high", 32.0),
    ("air_temperature", "high", 35.0),
    ("air_temperature", "high", 38.0),
    ("air_temperature", "low", 20.0),
    ("air_temperature", "low", 16.0),
    ("air_temperature", "low", 12.0),
)


def nursery(batches: int) -> Site:
    since = "2026-01-01T00:00:00Z"
    quantities = (("air", "air_temperature", "degC"), ("damp", "relative_humidity", "%RH"))
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
                {"id": "h", "title": "H", "shade_fraction": 0.5, "length_m": 50, "width_m": 9}
            ],
            "bench": [
                {
                    "id": "b",
                    "house": "h",
                    "title": "B",
                    "x_m": 1,
                    "y_m": 1,
                    "length_m": 40,
                    "width_m": 2,
                }
            ],
            "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
            "sensor": [
                {
                    "id": f"s{i}",
                    "title": "S",
                    "topic": f"site/s{i}",
                    "channel": [
                        {"id": name, "quantity": quantity, "unit": unit, "path": "v"}
                        for name, quantity, unit in quantities
                    ],
                    "position": [{"since": since, "cover_of": f"b{i}"}],
                }
                for i in range(batches)
            ],
            "batch": [
                {
                    "code": f"b{i}",
                    "species": "mango",
                    "cultivar": "any",
                    "rootstock": "any",
                    "method": "cleft",
                    "scion": "leafy",
                    "wrap": "stretch_film",
                    "cover": "tied_bag",
                    "count": 10,
                    "grafter": "QX",
                    "grafted_on": "2026-01-01",
                    "bench": "b",
                    "plan": "p",
                    "stage": [{"stage": "healing", "since": since, "because": "grafted"}],
                }
                for i in range(batches)
            ],
        }
    )


def plans() -> dict[str, tuple[CarePlan, ...]]:
    limits = [
        {
            "id": f"limit-{i}",
            "quantity": quantity,
            "side": side,
            "bound": bound,
            "deadband": 0.05 if quantity == "vapour_pressure_deficit" else 1.0,
            "on_delay_min": 10,
            "off_delay_min": 5,
            "full_margin": 5.0,
            "priority": ("low", "medium", "high")[i % 3],
            "says": WORDS,
            "action": WORDS,
        }
        for i, (quantity, side, bound) in enumerate(LIMITS)
    ]
    stage = {"vital": ["air_temperature", "relative_humidity"], "limit": limits}
    return {
        "p": (
            CarePlan.model_validate(
                {
                    "id": "p",
                    "version": 1,
                    "title": WORDS,
                    "scion": "leafy",
                    "cover": ["tied_bag"],
                    "source": "for measuring only",
                    "stage": {"healing": stage},
                }
            ),
        )
    }


def day(site: Site, minutes: int) -> CellBlock:
    chance = np.random.default_rng(20260504)
    keys = tuple(site.channels)
    swing = np.sin(np.arange(minutes)[:, None] * 2 * np.pi / 1440)
    air = 26.0 + 7.0 * swing + chance.normal(0, 0.2, (minutes, len(keys)))
    damp = np.minimum(100.0, 93.0 - 8.0 * swing + chance.normal(0, 0.5, (minutes, len(keys))))
    is_air = np.array([key.endswith("air") for key in keys])
    present = chance.random((minutes, len(keys))) > 0.03
    means = np.rint(np.where(is_air, air, damp) * 1e6).astype(np.int64)
    return CellBlock(FIRST, keys, np.where(present, means, 0), present)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--batches", type=int, default=40)
    asked.add_argument("--hours", type=int, default=24)
    asked.add_argument("--rounds", type=int, default=5)
    told = asked.parse_args()
    site = nursery(told.batches)
    begin = time.perf_counter()
    watched = watchlist(site, plans())
    print(f"watchlist of {told.batches} batches: {(time.perf_counter() - begin) * 1e3:.0f} ms")
    block = day(site, told.hours * 60)
    cells = [cell_in(block, FIRST + i) for i in range(told.hours * 60)]
    step(watched, start(watched), cells[0])  # the sun of the day is worked out once
    ratios = []
    state = start(watched)
    for turn in range(told.rounds):
        state = start(watched)
        folded = []
        begin = time.perf_counter()
        for cell in cells:
            state, said = step(watched, state, cell)
            folded.extend(said)
        folded_s = time.perf_counter() - begin
        begin = time.perf_counter()
        swept_state, swept, _ = sweep(watched, start(watched), block)
        swept_s = time.perf_counter() - begin
        if swept_state != state or list(swept) != folded:
            msg = "the two forms differ"
            raise SystemExit(msg)
        ratios.append(folded_s / swept_s)
        print(
            f"round {turn + 1}: folded {folded_s:.2f} s, swept {swept_s:.2f} s, "
            f"{ratios[-1]:.0f} times as fast, {len(folded)} events; "
            f"a live minute {folded_s / len(cells) * 1e3:.1f} ms"
        )
    begin = time.perf_counter()
    text = state.to_json()
    EvaluatorState.from_json(text)
    kept_ms = (time.perf_counter() - begin) * 1e3
    begin = time.perf_counter()
    outlook(watched, state, FIRST + len(cells) - 1)
    shown_ms = (time.perf_counter() - begin) * 1e3
    print(
        f"state {len(text) / 1024:.0f} KiB, out and back {kept_ms:.1f} ms; "
        f"outlook {shown_ms:.1f} ms"
    )
    print(
        f"{told.batches} batches, {told.hours} h: median {statistics.median(ratios):.0f} times as "
        f"fast, {min(ratios):.0f} to {max(ratios):.0f}"
    )


if __name__ == "__main__":
    main()
