"""Whether a replay of a season takes more memory than one of a few days.

Two hundred batches at one reading a minute and channel, judged by the care plans of the
demonstration, alarms and messages included, a day at a time, as `graftvigil replay` does; the
readings are made day by day. Each length runs in a fresh process, which tells the most memory that
it held before it began and at its end. Prints both and the ratio: 1 is flat.

Run: python tests/bench/replay_memory.py [--batches 200] [--days 9 90]
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import resource
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

from api.site_files import read_plans
from rules.alarm_history import occurrences_of
from rules.evaluator import watchlist
from rules.replay import Book, Tally, replay
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


def held_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def days_of(site, days: int):
    for day in range(days):
        yield replace(season(site, DAY), first_minute=FIRST + day * DAY)


def one(batches: int, days: int) -> None:
    plans = {name: (plan,) for name, plan in read_plans(PLANS)[0].items()}
    site = nursery(batches)
    book = Book(site, watchlist(site, plans))
    first_day = next(days_of(site, 1))
    before = held_mb()
    del first_day
    tally, began = Tally(FIRST), time.perf_counter()
    for _, passage in replay(book, days_of(site, days)):
        tally.take(passage)
    end = FIRST + days * DAY
    occurrences = occurrences_of(site, tally.changes)
    told = told_in(site, book.watchlist, occurrences, end_minute=end, lateness_min=2)
    took = time.perf_counter() - began
    said = {"before_mb": before, "held_mb": held_mb(), "took_s": took}
    print(json.dumps(said | {"alarms": len(occurrences), "messages": len(told)}))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--batches", type=int, default=200)
    asked.add_argument("--days", type=int, nargs=2, default=[9, 90])
    asked.add_argument("--one", type=int, help=argparse.SUPPRESS)
    given = asked.parse_args()
    if given.one is not None:
        one(given.batches, given.one)
        return
    held = []
    for days in given.days:
        command = [sys.executable, __file__, "--batches", str(given.batches), "--one", str(days)]
        ran = subprocess.run(command, check=True, capture_output=True, text=True)
        told = json.loads(ran.stdout)
        held.append(told["held_mb"])
        print(
            f"{days} days of {given.batches} batches: {told['held_mb']:.0f} MB held "
            f"({told['before_mb']:.0f} MB before the first day), {told['alarms']} alarms, "
            f"{told['messages']} messages, {told['took_s']:.0f} s",
            flush=True,
        )
    print(f"memory of {given.days[1]} days / {given.days[0]} days: {held[1] / held[0]:.2f}")


if __name__ == "__main__":
    main()
