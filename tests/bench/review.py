"""How often a review names what truly ended a batch: deploy/bench.sh review.

Seasons are made by demo_data.endings, which shares no line with what judges them (a contract in
pyproject.toml). Constants were chosen on the seeds of `--choosing`; what is reported is of others.
A batch counts as named where the first candidate is the true cause.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

from api.book import in_force_of
from api.reviewing import lives_in, reviewed, whole_window
from api.site_files import read_nursery
from collector.stores.sqlite import SqliteStore
from demo_data.ended_site import minute_reached, readings, written
from demo_data.endings import CAUSES, TAKEN, endings
from rules.model.reading import Reading
from rules.model.site import Site
from rules.review import OF_AIR, Weight
from rules.take_figures import wilson

CHOOSING = (101, 102, 103, 104)
REPORTED = (901, 902, 903, 904)
DEMO = Path(__file__).parents[2] / "demo_data"
PER_CAUSE, SIBLINGS = 6, 16


def season(seed: int, folder: Path, *, each: int, taken: int):
    """Return (true cause, review) of every failed batch of a season, and the seconds it took."""
    made = endings(dict.fromkeys(CAUSES, each), taken=taken, seed=seed)
    read = read_nursery(DEMO / "site.toml", DEMO / "plans")
    raw = read.site.model_dump(mode="json", exclude_none=True)
    site = Site.model_validate(written(made, raw))
    now = in_force_of(site, read.versions)
    store = SqliteStore(folder / f"{seed}.sqlite")
    store.keep([Reading(*one) for one in readings(made)])
    to_minute = minute_reached(made)
    begin = time.perf_counter()
    windows = [whole_window(now, batch, to_minute=to_minute) for batch in site.batch]
    lives = lives_in(now, store, windows)
    found = [
        (one, reviewed(now, store, one.code, to_minute=to_minute, lives=lives).review)
        for one in made
        if one.cause != TAKEN
    ]
    store.close()
    return found, time.perf_counter() - begin


def share(count: int, of: int) -> str:
    if of == 0:
        return "-"
    low, high = wilson(count, of)
    return f"{count} of {of}, {count / of:.1%} (95 %: {low:.1%} to {high:.1%})"


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--choosing", action="store_true", help="the seeds constants were chosen on")
    asked.add_argument("--each", type=int, default=PER_CAUSE, help="batches a cause and season")
    asked.add_argument("--taken", type=int, default=SIBLINGS)
    asked.add_argument("--wrong", action="store_true", help="print what was misnamed, with scores")
    asked = asked.parse_args()
    every = []
    took = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for seed in CHOOSING if asked.choosing else REPORTED:
            found, seconds = season(seed, Path(folder), each=asked.each, taken=asked.taken)
            every += [(seed, one, review) for one, review in found]
            took += seconds
    table = Counter((one.cause, review.first.cause.value) for _, one, review in every)
    print("true cause, down; first candidate, across")
    print(" " * 16 + " ".join(f"{name[:8]:>8}" for name in CAUSES))
    for cause in CAUSES:
        row = " ".join(f"{table[cause, other] or '.':>8}" for other in CAUSES)
        print(f"{cause:16}{row}")
    named = sum(count for (cause, first), count in table.items() if cause == first)
    print(f"named first: {share(named, len(every))}")
    within = sum(
        one.cause in [candidate.cause.value for candidate in review.candidates[:2]]
        for _, one, review in every
    )
    print(f"among the first two: {share(within, len(every))}")
    sure = [(one, review) for _, one, review in every if review.first.weight is Weight.MUCH]
    right = sum(one.cause == review.first.cause.value for one, review in sure)
    print(f"right where much speaks for the first: {share(right, len(sure))}")
    fine = [review for _, one, review in every if one.cause in {"air_fine", "mould"}]
    blamed = sum(review.first.cause in OF_AIR for review in fine)
    print(f"air blamed though it was fine: {share(blamed, len(fine))}")
    print(f"{len(every)} reviews, {took / max(1, len(every)):.2f} s each with all lives")
    for seed, one, review in every if asked.wrong else ():
        if one.cause != review.first.cause.value:
            scores = {c.cause.value: round(c.score, 2) for c in review.candidates if c.score > 0.05}
            seen = [(s.seen, round((s.minute - one.died) / 1440, 1)) for s in one.seen]
            blind = np.round(review.doubts.blind_h)
            print(seed, one.code, one.cause, scores, seen, one.checks, f"blind {blind} h")


if __name__ == "__main__":
    main()
