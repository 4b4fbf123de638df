"""Whether a replay of a season takes more memory than one of a few days.

Two hundred batches at one reading a minute and channel, out of a store in which past days are
packed, judged by the care plans of the demonstration, alarms and messages included, as
`graftvigil replay` does. The season is kept once, which is not timed. Each length runs in a fresh
process, which tells the most memory that it held before it began and at its end. Prints both and
the ratio of the second length to the first, the baseline: 1 is flat.

Run: python tests/bench/replay_memory.py [--batches 200] [--days 9 90]
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import ModuleType

from tqdm import tqdm

from api.replaying import Stretch, replayed
from api.site_files import read_plans
from collector.stores.packing import pack_some
from collector.stores.sqlite import SqliteStore
from rules.alarm_history import occurrences_of
from rules.evaluator import watchlist
from rules.model.reading import MINUTE_MS, Reading
from rules.model.site import Site
from rules.replay import Book, Tally
from rules.replay_telling import told_in


def _beside(name: str) -> ModuleType:
    """Return another measurement of this folder, which is no package."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules.setdefault(f"bench_{name}", importlib.util.module_from_spec(spec))
    spec.loader.exec_module(module)
    return module


_SEASON = _beside("replay")
FIRST, PLANS = _SEASON.FIRST, _SEASON.PLANS
nursery, season = _SEASON.nursery, _SEASON.season
DAY = 1440
LATENESS_MIN = 2


def held_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def keep(site: Site, days: int, path: Path) -> None:
    """Keep a season day by day, one made day again and again, and pack every day that is over."""
    store, block = SqliteStore(path), season(site, DAY)
    for day in tqdm(range(days), desc="keeping", unit="day", leave=False, disable=None):
        for column, key in enumerate(block.channels):
            there = block.present[:, column].nonzero()[0]
            values = (block.means[there, column] / 1e6).tolist()
            at_ms = ((FIRST + day * DAY + there) * MINUTE_MS + 20_000).tolist()
            store.keep([Reading(key, at, value) for at, value in zip(at_ms, values, strict=True)])
        while pack_some(store.file, before_ms=(FIRST + (day + 1) * DAY) * MINUTE_MS):
            pass
    store.close()


def one(batches: int, days: int, path: Path) -> None:
    plans = {name: (plan,) for name, plan in read_plans(PLANS)[0].items()}
    site = nursery(batches)
    book, end = Book(site, watchlist(site, plans)), FIRST + days * DAY
    store = SqliteStore(path)
    before = held_mb()
    tally, began = Tally(FIRST), time.perf_counter()
    for passage in replayed([Stretch(FIRST, end, book, plans)], store, late_in=None):
        tally.take(passage)
    occurrences = occurrences_of(site, tally.changes)
    told = told_in(site, book.watchlist, occurrences, end_minute=end, lateness_min=LATENESS_MIN)
    took = time.perf_counter() - began
    store.close()
    said = {"before_mb": before, "held_mb": held_mb(), "took_s": took}
    print(json.dumps(said | {"alarms": len(occurrences), "messages": len(told)}))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--batches", type=int, default=200)
    asked.add_argument("--days", type=int, nargs=2, default=[9, 90])
    asked.add_argument("--one", type=int, help=argparse.SUPPRESS)
    asked.add_argument("--store", type=Path, help=argparse.SUPPRESS)
    given = asked.parse_args()
    if given.one is not None:
        one(given.batches, given.one, given.store)
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.db"
        keep(nursery(given.batches), max(given.days), path)
        on_disk = sum(one.stat().st_size for one in path.parent.iterdir())
        count = SqliteStore(path).count()
        print(f"{count} readings kept, {on_disk / 1e6:.0f} MB on the disk", flush=True)
        measure(given.batches, given.days, path)


def measure(batches: int, lengths: list[int], path: Path) -> None:
    held = []
    for days in lengths:
        asked = ["--batches", str(batches), "--one", str(days), "--store", str(path)]
        ran = subprocess.run(
            [sys.executable, __file__, *asked], check=True, capture_output=True, text=True
        )
        told = json.loads(ran.stdout)
        held.append(told["held_mb"])
        print(
            f"{days} days of {batches} batches: {told['held_mb']:.0f} MB held "
            f"({told['before_mb']:.0f} MB before the first day), {told['alarms']} alarms, "
            f"{told['messages']} messages, {told['took_s']:.0f} s",
            flush=True,
        )
    print(f"memory of {lengths[1]} days / {lengths[0]} days: {held[1] / held[0]:.2f}")


if __name__ == "__main__":
    main()
