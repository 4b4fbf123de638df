"""How fast one limit is judged all at once, against folding `step` over the same cells.

Both run in this process on the same cells, a season of ninety days of one-minute values that
wander across the bound with gaps. Prints the ratio of each of five rounds, median and spread.

Run: python tests/bench/limits.py [--days 90] [--rounds 5]
"""

from __future__ import annotations

import argparse
import statistics
import time

import numpy as np

from rules import limits
from rules.limits import QUIET, Bound, Delays, verdict, verdicts
from rules.model.plan import When


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=90)
    asked.add_argument("--rounds", type=int, default=5)
    told = asked.parse_args()
    count = told.days * 1440
    chance = np.random.default_rng(20260504)
    swing = 4_000_000 * np.sin(np.arange(count) * 2 * np.pi / 1440)
    values = (30_000_000 + swing + chance.normal(0, 500_000, count)).astype(np.int64)
    present = chance.random(count) > 0.02
    sun_up = swing > 0
    bound = Bound(1, 32_000_000, 1_000_000, 5_000_000, When.ALWAYS, None, Delays(10, 5))
    cells = [
        (int(value) if there else None, bool(up))
        for value, there, up in zip(values, present, sun_up, strict=True)
    ]
    ratios = []
    for turn in range(told.rounds):
        begin = time.perf_counter()
        state = QUIET
        opened = 0
        for minute, (value, up) in enumerate(cells):
            said = verdict(bound, value, sun_up=up, film_open=False)
            after = limits.step(bound.delays, state, minute, said)
            opened += after.raised and not state.raised
            state = after
        folded_s = time.perf_counter() - begin
        begin = time.perf_counter()
        swept = limits.sweep(
            bound.delays,
            QUIET,
            0,
            verdicts(bound, values, present, sun_up=sun_up, film_open=~sun_up),
        )
        swept_s = time.perf_counter() - begin
        if swept.state != state or len(swept.opened) != opened:
            msg = "the two forms differ"
            raise SystemExit(msg)
        ratios.append(folded_s / swept_s)
        print(
            f"round {turn + 1}: folded {folded_s * 1e3:.0f} ms, swept {swept_s * 1e3:.1f} ms, "
            f"{ratios[-1]:.0f} times as fast, {opened} openings"
        )
    print(
        f"{count} cells: median {statistics.median(ratios):.0f} times as fast, "
        f"{min(ratios):.0f} to {max(ratios):.0f}"
    )


if __name__ == "__main__":
    main()
