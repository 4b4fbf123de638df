"""How fast a night without power is caught up on, in runs of minutes against one after another.

Half a day of readings of a whole nursery lies in the store, two probes' worth under each bag, and
the watch begins at its first minute: real stores with full sync, twelve limits a batch. Both forms
live through it from the same file, in turn; the baseline closes each minute by itself, as while
nothing is behind. What both keep of alarms must be the same.

Run: python tests/bench/catch_up.py [--batches 60] [--hours 12] [--rounds 3]
"""

from __future__ import annotations

import argparse
import runpy
import statistics
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import select

from api.book import Book, in_force_of
from api.records.session import open_records, reading
from api.records.tables import alarms, standing_changes
from api.watch import loop
from api.watch.clock import TurnedClock
from api.watch.loop import Watch
from collector.stores.sqlite import SqliteStore
from rules.cells import MICRO
from rules.model.reading import MINUTE_MS, Reading
from rules.model.site import Site

EVALUATOR = runpy.run_path(str(Path(__file__).with_name("evaluator.py")))
"""The nursery, its plans and its days are those of the measurement of the evaluator."""
FIRST, day, nursery, plans = (EVALUATOR[name] for name in ("FIRST", "day", "nursery", "plans"))


def fill(store: SqliteStore, site: Site, minutes: int) -> None:
    block = day(site, minutes)
    for row in range(minutes):
        at_ms = (FIRST + row) * MINUTE_MS + 7_000
        said = zip(block.channels, block.means[row].tolist(), block.present[row], strict=True)
        store.keep([Reading(key, at_ms, mean / MICRO) for key, mean, there in said if there])


def caught_up(
    folder: Path, store: SqliteStore, site: Site, minutes: int, together: int
) -> tuple[float, list[tuple[object, ...]]]:
    """Return the seconds that it took, and what was kept of alarms and standings."""
    loop.CELLS_TOGETHER = together
    clock = TurnedClock(datetime.fromtimestamp(FIRST * 60, UTC) + timedelta(minutes=minutes + 3))
    records = open_records(folder / f"records-{together}-{time.monotonic_ns()}.sqlite")
    book = Book(in_force_of(site, plans()))
    watch = Watch(book, store, records, clock, lateness_s=90, start_minute=FIRST)
    began = time.perf_counter()
    closed = watch.turn()
    took_s = time.perf_counter() - began
    with reading(records) as db:
        of_alarms = (alarms.c.batch, alarms.c.condition, alarms.c.opened_ms, alarms.c.ended_ms)
        kept = [tuple(row) for row in db.execute(select(*of_alarms).order_by(alarms.c.id))]
        kept += [
            tuple(row)
            for row in db.execute(
                select(standing_changes).order_by(
                    standing_changes.c.minute, standing_changes.c.batch
                )
            )
        ]
    records.dispose()
    if closed < minutes:
        sys.exit(f"only {closed} of {minutes} minutes were closed")
    return took_s, kept


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--batches", type=int, default=60)
    parser.add_argument("--hours", type=int, default=12)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    site, minutes = nursery(asked.batches), asked.hours * 60
    runs = loop.CELLS_TOGETHER
    ratios = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = SqliteStore(folder / "readings.sqlite")
        fill(store, site, minutes)
        for number in range(asked.rounds):
            single_s, expected = caught_up(folder, store, site, minutes, 1)
            runs_s, kept = caught_up(folder, store, site, minutes, runs)
            if kept != expected:
                sys.exit("the two forms kept different alarms")
            ratios.append(runs_s / single_s)
            print(
                f"round {number + 1}: one after another {single_s:.1f} s, in runs of up to {runs} "
                f"{runs_s:.1f} s: {ratios[-1]:.2f}, {len(kept)} alarms and turns of standing each"
            )
        store.close()
    print(f"in runs to one after another, median: {statistics.median(ratios):.2f}")


if __name__ == "__main__":
    main()
