"""How well the next twelve hours are foretold, against persistence, on nights of other weather.

Bags of the demonstration's physics (tied, half loose, loose) stand through spells of calm,
changing, overcast and dry weather; small probes tell their air with noise, rounding and hours left
out. From every full hour between 17:00 and 02:00 a forecast is made from what had been told by
then, and held against what was told afterwards. The figures of `rules/tonight.py` were chosen on
other seeds. Persistence is the last quarter hour carried on, scored over the same moments.

Prints by quantity and hours ahead: mean absolute error of every forecast and of persistence, and
the skill, 1 - error / error of persistence; then the same for those that would be shown, the share
they make, how often the truth fell within their band, and in how many of the spells and bags the
shown ones lost to persistence.

Run: python tests/bench/forecast.py [--days 16] [--seeds 2]
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from demo_data.fronts import SPELLS, as_sensed, nights_under
from demo_data.trial import BEGINS
from rules.model.quantities import Felt
from rules.tonight import MOST_HOURS, SLOT_MIN, Expected, Slots, forecasts, slots_of, tonight

FIRST_SEED = 401
HOURS = (*range(17, 24), 0, 1, 2)
PROBE = {Felt.AIR_TEMPERATURE: (0.08, 0.1), Felt.RELATIVE_HUMIDITY: (0.3, 0.1)}
UNIT = {Felt.AIR_TEMPERATURE: "°C", Felt.RELATIVE_HUMIDITY: "%"}
BEGIN_MINUTE = int(BEGINS.timestamp()) // 60
AN_HOUR = 60 // SLOT_MIN
A_DAY = 24 * AN_HOUR


def moments(days: int) -> list[int]:
    """The slots after which a forecast is made; the trials begin at local midnight."""
    return [
        day * A_DAY + hour * AN_HOUR
        for day in range(4, days)
        for hour in HOURS
        if day * A_DAY + (hour + MOST_HOURS) * AN_HOUR <= days * A_DAY
    ]


def held_against(told: Slots, quantity: Felt, days: int) -> list[tuple[float, ...]]:
    """Rows of (hours ahead, error, error of persistence, 1 if shown, 1 if within the band)."""
    rows: list[tuple[float, ...]] = []
    for end in moments(days):
        known = Slots(BEGIN_MINUTE + end * SLOT_MIN, told.means[:end])
        central = forecasts(known, quantity)
        for one in tonight(known, quantity):
            came = told.means[end - 1 + one.hours * AN_HOUR]
            error = abs(came - central[one.hours - 1])
            if np.isnan(error):
                continue
            shown = isinstance(one, Expected)
            within = shown and one.low <= came <= one.high
            rows.append((one.hours, error, abs(came - known.means[-1]), shown, within))
    return rows


def skill(rows) -> float:
    return 1.0 - rows[:, 1].mean() / rows[:, 2].mean()


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=16)
    asked.add_argument("--seeds", type=int, default=2)
    asked = asked.parse_args()
    kept: dict[Felt, list[np.ndarray]] = {felt: [] for felt in PROBE}
    names: list[str] = []
    took = made = 0.0
    for seed in range(FIRST_SEED, FIRST_SEED + asked.seeds):
        for name, spell in SPELLS.items():
            happened = nights_under(spell, days=asked.days, seed=seed)
            for bag in range(happened.air_c.shape[1]):
                names.append(f"{name} {seed} bag {bag + 1}")
                for felt, series in (
                    (Felt.AIR_TEMPERATURE, happened.air_c[:, bag]),
                    (Felt.RELATIVE_HUMIDITY, happened.humidity_pct[:, bag]),
                ):
                    noise, step = PROBE[felt]
                    said = as_sensed(series, noise=noise, step=step, seed=seed + bag)
                    begin = time.perf_counter()
                    rows = held_against(slots_of(BEGIN_MINUTE, said), felt, asked.days)
                    took += time.perf_counter() - begin
                    made += len(moments(asked.days))
                    kept[felt].append(np.array(rows, dtype=np.float64))
    for felt, tables in kept.items():
        rows = np.concatenate(tables)
        print(f"{felt.value}, {UNIT[felt]}: {len(rows)} forecasts, {len(tables)} bags")
        print("hours  error  as now  skill | shown   error  as now  skill  in band")
        for hours in range(1, MOST_HOURS + 1):
            here = rows[rows[:, 0] == hours]
            seen = here[here[:, 3] == 1]
            line = f"{hours:5} {here[:, 1].mean():6.2f} {here[:, 2].mean():7.2f} {skill(here):6.2f}"
            line += f" | {len(seen) / len(here):5.0%}"
            if len(seen):
                line += f" {seen[:, 1].mean():7.2f} {seen[:, 2].mean():7.2f} {skill(seen):6.2f}"
                line += f" {seen[:, 4].mean():8.0%}"
            print(line)
        seen_in = [(name, one[one[:, 3] == 1]) for name, one in zip(names, tables, strict=True)]
        with_some = [(name, one) for name, one in seen_in if len(one)]
        lost = [f"{name} ({skill(one):.2f})" for name, one in with_some if skill(one) <= 0.0]
        print(f"shown ones lost to persistence in {len(lost)} of {len(with_some)} bags", *lost)
    print(
        f"{made:.0f} forecasts of twelve hours, {took / made * 1e3:.1f} ms each, scoring included"
    )


if __name__ == "__main__":
    main()
