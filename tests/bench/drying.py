"""How early the drying estimate warns, and how fast it is, against bags whose truth is known.

Bags of the demonstration's physics stand side by side for some days: tied, half loose and loose
from the first evening on, with leaves that let through less, as much and more than the plan says.
Their minute means, with a humidity sensor that is right, low or high by 1.5 %, go into the
estimate with the plan of the demonstration. Prints for each bag when the scion truly became
critical (hours from the start), soonest, likely and latest by the estimate, the lead with which
`hours to critical` fell below 24 and below 12 for ten minutes, and in how many minutes the band
held the truth to a point of reserve; "false" is a warning where no scion ever became critical.
Then: the spending of a season, all minutes at once against one by one, median and spread.

Run: python tests/bench/drying.py [--days 6] [--seeds 2] [--rounds 5]
"""

from __future__ import annotations

import argparse
import statistics
import time
import tomllib
from pathlib import Path

import numpy as np

from demo_data.scion import first_minute_below
from demo_data.trial import CRITICAL_SHARE, FRESH_G, Kind, trial
from rules.drying import FRESH, Surroundings, in_one_minute, spend
from rules.model.plan import CarePlan
from rules.reserve import hours_to_critical, reserve_pct
from rules.scion import CENTRAL, FAST, SLOW, drying_figures

PLAN = Path(__file__).parents[2] / "demo_data" / "plans" / "leafy-bag.toml"
SLIPS_H = 20.0
TIES = {0.4: "tied", 10.0: "half loose", 70.0: "loose"}
LEAVES = (0.003, 0.005, 0.008)
SENSORS_PCT = (-1.5, 0.0, 1.5)
IN_A_ROW = 10


def figures():
    plan = CarePlan.model_validate(tomllib.loads(PLAN.read_text(encoding="utf-8")))
    return drying_figures(plan.drying, 0, pressure_kpa=101.0, scion_diameter_mm=None)


def first_in_a_row(flags) -> int | None:
    """Return the minute in which a flag has stood ten minutes in a row."""
    held = np.convolve(flags, np.ones(IN_A_ROW), mode="valid") >= IN_A_ROW
    return int(np.argmax(held)) + IN_A_ROW - 1 if held.any() else None


def shown(minute: int | None) -> str:
    return "never" if minute is None else f"{minute / 60:.1f}"


def lead(before: int | None, truth: int | None) -> str:
    if truth is None:
        return "-" if before is None else "false"
    return "missed" if before is None else f"{(truth - before) / 60:.1f}"


def bags(days: int, seeds: int) -> None:
    figured = figures()
    kinds = tuple(Kind(leaf, ties, SLIPS_H) for ties in TIES for leaf in LEAVES)
    print(
        "tie         leaf  sensor  truly  soonest likely latest  <24 h  <12 h  in band  reserve off"
    )
    held = counted = 0
    errors: list[float] = []
    for seed in range(seeds):
        happened = trial(kinds, days=days, seed=100 + seed)
        minutes = len(happened.ppfd_umol_m2_s)
        unknown = np.full(minutes, np.nan)
        for bag, kind in enumerate(kinds):
            left = happened.water_g[:, bag] / FRESH_G
            truth = first_minute_below(
                np.repeat(happened.water_g[:, bag], 12), CRITICAL_SHARE, fresh_g=FRESH_G
            )
            for sensor in SENSORS_PCT:
                said = np.clip(happened.humidity_pct[:, bag] + sensor, 0.0, 100.0)
                around = Surroundings(
                    minute=np.arange(minutes),
                    air_temperature_c=happened.air_c[:, bag],
                    relative_humidity_pct=said,
                    ppfd_umol_m2_s=happened.ppfd_umol_m2_s,
                    leaf_temperature_c=unknown,
                    air_speed_m_s=unknown,
                    sun_up=happened.ppfd_umol_m2_s > 0.0,
                    film_open=np.zeros(minutes, dtype=bool),
                )
                spending = spend(figured, FRESH, around)
                hours = hours_to_critical(figured, spending).central
                band = reserve_pct(figured, spending.spent_ng)
                ends = [
                    first_in_a_row(spending.spent_ng[row] >= figured.spendable_ng[row])
                    for row in (FAST, CENTRAL, SLOW)
                ]
                true_pct = np.clip(100.0 * (left - CRITICAL_SHARE) / (1.0 - CRITICAL_SHARE), 0, 100)
                inside = (true_pct >= band.low - 1.0) & (true_pct <= band.high + 1.0)
                held += int(inside.sum())
                counted += minutes
                errors.append(float(np.mean(np.abs(true_pct - band.central))))
                early = [lead(first_in_a_row(hours < bound), truth) for bound in (24, 12)]
                told = [TIES[kind.changes_per_h].ljust(11), f"{kind.leaf_mol_m2_s * 1e3:3.0f}"]
                told += [f" {sensor:+6.1f}", f" {shown(truth):>6}"]
                told += [f" {shown(end):>6}" for end in ends]
                told += [f"{one:>6}" for one in early]
                told += [f" {inside.mean():6.0%}", f" {errors[-1]:5.0f} points"]
                print(" ".join(told))
    print(
        f"the band held the truth in {held / counted:.0%} of {counted} minutes; the likely reserve "
        f"was off by {statistics.mean(errors):.0f} points on average"
    )


def speed(rounds: int) -> None:
    figured = figures()
    minutes = 90 * 1440
    chance = np.random.default_rng(20261114)
    minute = np.arange(minutes)
    day = np.maximum(np.sin(minute / 1440 * 2 * np.pi - np.pi / 2), 0.0)
    air = 22.0 + 8.0 * day + chance.normal(0, 0.1, minutes)
    unknown = np.full(minutes, np.nan)
    around = Surroundings(
        minute=minute,
        air_temperature_c=np.where(chance.random(minutes) > 0.01, air, np.nan),
        relative_humidity_pct=np.clip(95.0 - 8.0 * day + chance.normal(0, 0.5, minutes), 0, 100),
        ppfd_umol_m2_s=250.0 * day,
        leaf_temperature_c=unknown,
        air_speed_m_s=unknown,
        sun_up=day > 0,
        film_open=np.zeros(minutes, dtype=bool),
    )
    at_once: list[float] = []
    one_by_one: list[float] = []
    few = 3000
    for turn in range(rounds):
        begin = time.perf_counter()
        spend(figured, FRESH, around)
        at_once.append(time.perf_counter() - begin)
        begin = time.perf_counter()
        account = FRESH
        for i in range(few):
            now = in_one_minute(
                i,
                air_temperature_c=float(around.air_temperature_c[i]),
                relative_humidity_pct=float(around.relative_humidity_pct[i]),
                ppfd_umol_m2_s=float(around.ppfd_umol_m2_s[i]),
                leaf_temperature_c=None,
                air_speed_m_s=None,
                sun_up=bool(around.sun_up[i]),
                film_open=False,
            )
            account = spend(figured, account, now).account
        one_by_one.append((time.perf_counter() - begin) / few * minutes)
        print(
            f"round {turn + 1}: a batch's season at once {at_once[-1] * 1e3:.0f} ms, "
            f"one by one {one_by_one[-1]:.1f} s (from {few} minutes)"
        )
    ratios = [slow / fast for slow, fast in zip(one_by_one, at_once, strict=True)]
    print(
        f"{minutes} minutes: median {statistics.median(ratios):.0f} times as fast, "
        f"{min(ratios):.0f} to {max(ratios):.0f}; "
        f"40 batches {40 * statistics.median(at_once):.1f} s"
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=6)
    asked.add_argument("--seeds", type=int, default=2)
    asked.add_argument("--rounds", type=int, default=5)
    told = asked.parse_args()
    bags(told.days, told.seeds)
    speed(told.rounds)


if __name__ == "__main__":
    main()
