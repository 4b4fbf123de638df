"""What a season's line costs, as a ratio to reading the same span's raw readings from the store.

One channel once a minute for some days, past days packed. Timed: `series` of the raw readings (the
baseline), the cells of 10 minutes, the thinning to 2,000 points, and both with the drawing.

Run: python tests/bench/charts.py [--days 120] [--rounds 5]
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.charts import Frame
from api.drawing.span_chart import Around, Point, span_chart
from api.drawing.thinning import thinned
from collector.stores.blocks import DAY_MS
from collector.stores.sqlite import SqliteStore
from collector.stores.upkeep import PACK_AFTER_MS, Upkeep
from rules.model.reading import MINUTE_MS, Reading

if TYPE_CHECKING:
    from collections.abc import Callable

FIRST_DAY = 20_400
KEY = "bag-07/air"


def fill(store: SqliteStore, days: int) -> None:
    chance = np.random.default_rng(1)
    for day in range(FIRST_DAY, FIRST_DAY + days):
        warm = 22 + 6 * np.sin(np.arange(1440) / 1440 * 2 * np.pi) + chance.normal(0, 0.2, 1440)
        store.keep(
            [
                Reading(KEY, day * DAY_MS + at * MINUTE_MS + 20_000, round(float(value), 2))
                for at, value in enumerate(warm)
            ]
        )
    now_ms = (FIRST_DAY + days) * DAY_MS + PACK_AFTER_MS
    upkeep = Upkeep(
        store.file,
        raw_days=0,
        clock_ms=lambda: now_ms,
        safe_sequence=lambda: 2**62,
        kept_elsewhere=False,
    )
    while upkeep.step() is not None:
        pass


def timed(rounds: int, work: Callable[[], object]) -> float:
    took = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return statistics.median(took)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=120)
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteStore(Path(folder) / "readings.db")
        fill(store, asked.days)
        start, end = FIRST_DAY * DAY_MS, (FIRST_DAY + asked.days) * DAY_MS

        def cells() -> tuple[np.ndarray, ...]:
            found = store.coarse([KEY], start, end, cell_min=10)
            rows = np.array([(c.start_ms, c.mean, c.lowest, c.highest) for c in found]).T
            return rows[0].astype(np.int64), rows[1], rows[2], rows[3]

        def chosen() -> tuple[np.ndarray, ...]:
            at, mean, low, high = cells()
            begins = np.concatenate(([True], np.diff(at) > 20 * MINUTE_MS))
            kept = thinned(at, low, high, begins=begins, beyond=[high - 28.0, 15.0 - low])
            return at[kept.index], mean[kept.index], low[kept.index], high[kept.index]

        def drawn() -> str:
            at, mean, low, high = chosen()
            place = (at - start) / (end - start)
            rows = zip(*(x.tolist() for x in (place, mean, low, high)), strict=True)
            run = [Point(*row) for row in rows]
            around = Around([], [], [], [], [], "", [])
            frame = Frame((), (), None, "")
            return str(span_chart([run], around, frame, least_span=6.0, title="", describes=""))

        base = timed(asked.rounds, lambda: store.series([KEY], start, end)[KEY])
        print(f"{asked.days} days of one channel, {asked.days * 1440} readings")
        print(f"reading them as arrays      {base * 1000:8.1f} ms   1.00 of reading")
        steps = (
            ("cells of 10 minutes", cells),
            ("and chosen points", chosen),
            ("and drawn", drawn),
        )
        for name, work in steps:
            took = timed(asked.rounds, work)
            print(f"{name:26}  {took * 1000:8.1f} ms   {took / base:.2f} of reading")
        print(f"the drawing has {len(drawn().encode()) / 1000:.0f} kB")
        store.close()


if __name__ == "__main__":
    main()
