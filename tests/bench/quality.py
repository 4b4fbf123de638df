"""What the quality tests cost: ninety days of minutes at once, and one live minute of a site.

The baseline is one plain pass of numpy over the same cells, in this process.

Run: python tests/bench/quality.py [--minutes 129600] [--channels 60] [--live 200] [--rounds 5]
"""

from __future__ import annotations

import argparse
import statistics
import time

import numpy as np

from rules.cells import CellBlock, cell_in
from rules.daylight import sun_heights
from rules.doubt import Flag
from rules.model.site import Site
from rules.state import EvaluatorState
from rules.trust import judged, judged_cell
from rules.trust_kit import quality_kit

FIRST = 29_631_660
SINCE = "2026-01-01T00:00:00Z"


def nursery(channels: int) -> Site:
    """A site of so many channels: probes under bags, and for every tenth a light sensor."""
    bench = {"house": "h", "x_m": 1, "y_m": 1, "length_m": 4, "width_m": 1}
    sensors = []
    for i in range(channels // 2):
        light = i % 10 == 9
        first = (
            ("light", "illuminance", "lx", "sun")
            if light
            else ("air", "air_temperature", "degC", None)
        )
        pair = (first, ("damp", "relative_humidity", "%RH", None))
        sensors.append(
            {
                "id": f"s{i}",
                "title": "S",
                "topic": f"site/s{i}",
                "channel": [
                    {"id": name, "quantity": quantity, "unit": unit, "path": "v", "source": source}
                    for name, quantity, unit, source in pair
                ],
                "position": [{"since": SINCE, "bench": f"b{i // 3}"}],
            }
        )
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
            "bench": [{"id": f"b{i}", "title": "B", **bench} for i in range(channels // 6 + 1)],
            "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
            "sensor": sensors,
        }
    )


def cells(site: Site, minutes: int) -> CellBlock:
    """Days that swing, with noise, silences, and humidity that stands at 100 % through nights."""
    chance = np.random.default_rng(20260504)
    keys = tuple(site.channels)
    minute = FIRST + np.arange(minutes, dtype=np.int64)
    swing = np.sin((minute[:, None] % 1440 - 100) * 2 * np.pi / 1440)
    means = np.zeros((minutes, len(keys)), dtype=np.int64)
    for column, key in enumerate(keys):
        noise = chance.normal(0, 0.2, minutes)
        kind = key.rsplit("/", 1)[1]
        values = {
            "air": 26.0 + 7.0 * swing[:, 0] + noise,
            "damp": np.minimum(100.0, 96.0 - 8.0 * swing[:, 0] + noise),
            "light": np.maximum(0.0, 20_000.0 * swing[:, 0] * (1.0 + noise)),
        }[kind]
        means[:, column] = np.rint(values * 1e6)
    present = chance.random(means.shape) > 0.03
    return CellBlock(FIRST, keys, np.where(present, means, 0), present)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--minutes", type=int, default=129_600)
    asked.add_argument("--channels", type=int, default=60)
    asked.add_argument("--live", type=int, default=200)
    asked.add_argument("--rounds", type=int, default=5)
    told = asked.parse_args()
    site = nursery(told.channels)
    kit = quality_kit(site)
    block = cells(site, told.minutes)
    sun = sun_heights(site.site, FIRST + np.arange(told.minutes, dtype=np.int64))
    took, ratios = [], []
    for _ in range(told.rounds):
        begin = time.perf_counter()
        np.where(block.present, block.means, 0)
        plain = time.perf_counter() - begin
        begin = time.perf_counter()
        _, judgement = judged(kit, {}, block, sun)
        took.append(time.perf_counter() - begin)
        ratios.append(took[-1] / plain)
    counts = {flag.name: int((judgement.flags == flag).sum()) for flag in Flag}
    print(
        f"{told.minutes} minutes x {told.channels} channels: median "
        f"{statistics.median(took):.2f} s, {min(took):.2f} to {max(took):.2f}; "
        f"{statistics.median(ratios):.0f} times one plain pass; {counts}"
    )
    site = nursery(told.live)
    kit = quality_kit(site)
    block = cells(site, 1440)
    sun = sun_heights(site.site, FIRST + np.arange(1440, dtype=np.int64))
    folded, memory = [], {}
    for i in range(1440):
        cell = cell_in(block, FIRST + i)
        begin = time.perf_counter()
        memory, _ = judged_cell(kit, memory, cell, sun[i : i + 1])
        folded.append(time.perf_counter() - begin)
    whole, _ = judged(kit, {}, block, sun)
    if whole != memory:
        msg = "the two forms differ"
        raise SystemExit(msg)
    text = EvaluatorState(None, {}, {}, memory).to_json()
    print(
        f"1 minute x {told.live} channels: median {statistics.median(folded) * 1e3:.2f} ms, "
        f"at most {max(folded) * 1e3:.2f}; memory {len(text) / 1024:.0f} KiB as text"
    )


if __name__ == "__main__":
    main()
