"""Grafted bags through some weeks, some of which end badly for a known reason, and what was read.

For holding a review against the truth. Each bag lives under its own cause: a knot slips on dry
nights, vents stay shut on a hot day, a seam lets the sun in, a side stays open in the cold, mould
comes, a cut was poor, a sensor lies. Whether a bag then dies is worked out by sums of its own for
water, heat and cold; a bag whose cause did not kill it, or that something else killed first, is not
handed out. All bags, those that live too, also have slips, warm noons and gaps that kill nothing.
All figures are chosen; none is advice.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from demo_data.endured import Befallen, lived
from demo_data.physics import saturation_kpa
from demo_data.weather import weather

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BEGINS = datetime(2026, 11, 1, 21, 0, tzinfo=UTC)  # 08:00 on 2 November
DAYS = 24
DAY = 1440
PASSES = 0.12
EVERY_MIN = 5
TIED, SLIPPED = 0.4, 70.0
LIED_WITHOUT_TRACE = 0.125

CAUSES = (
    "dried_at_night",
    "slow_drying",
    "cooked",
    "sun_scald",
    "cold",
    "mould",
    "air_fine",
    "could_not_know",
)
TAKEN = "taken"


@dataclass
class Seen:
    """What a person wrote down: the minute since BEGINS, the word, and what goes with it."""

    minute: int
    seen: str
    more: dict[str, object] = field(default_factory=dict[str, object])


@dataclass
class Ending:
    """One batch: what truly ended it, what people wrote down, and what its sensors sent.

    Minutes count from BEGINS. `readings` holds minutes and values by "air", "humidity", "light".
    `checks` are later checks: minute, channel, and what is to be added to what it reads.
    """

    code: str
    cause: str
    grafted: int
    died: int | None
    ends: int
    seen: list[Seen]
    checks: list[tuple[int, str, float]]
    stock_mm: float
    scion_mm: float
    readings: dict[str, tuple[NDArray[np.int64], Floats]]


def endings(counts: dict[str, int], *, taken: int, seed: int, days: int = DAYS) -> list[Ending]:
    """Return so many batches of each cause, and so many that took.

    ValueError if a cause cannot be made to kill as often as asked.
    """
    rng = np.random.default_rng(seed)
    sky = weather(BEGINS, days * DAY + 2, rng)
    minutes = days * DAY
    sun = sky.sunlight_w_m2[:minutes]
    outside = sky.air_c[:minutes]
    damp = np.minimum(sky.vapour_kpa[:minutes] + 0.35, 0.93 * saturation_kpa(outside))
    made: list[Ending] = []
    wanted = {**counts, TAKEN: taken}
    for _ in range(12):
        causes = [name for name, count in wanted.items() for _ in range(count) if count]
        if not causes:
            break
        made += _some(causes, rng, sun=sun, outside=outside, damp=damp, number=len(made))
        found = [one.cause for one in made]
        wanted = {
            name: count - found.count(name) for name, count in {**counts, TAKEN: taken}.items()
        }
    if any(count > 0 for count in wanted.values()):
        msg = f"some causes would not kill: {wanted}"
        raise ValueError(msg)
    return made


def _some(
    causes: list[str],
    rng: np.random.Generator,
    *,
    sun: Floats,
    outside: Floats,
    damp: Floats,
    number: int,
) -> list[Ending]:
    minutes, count = len(sun), len(causes)
    plan = Befallen(
        changes=np.full((minutes, count), TIED),
        warmer=np.zeros((minutes, count)),
        drier=np.zeros((minutes, count)),
        passes=np.full((minutes, count), PASSES),
        leaf_mmol=rng.uniform(3.0, 6.5, count),
        lost=np.zeros((minutes, count), dtype=np.bool_),
    )
    grafted = rng.integers(0, 4 * DAY, count)
    grafted -= grafted % DAY - 120  # ten in the morning
    struck = grafted + rng.integers(4, 11, count) * DAY
    kinds = ["" for _ in causes]
    for place, cause in enumerate(causes):
        _mild(plan, place, rng, int(grafted[place]))
        kinds[place] = _strike(plan, place, cause, int(struck[place]), rng)
    air, humid, light, died, how = lived(plan, grafted, sun=sun, outside=outside, damp=damp)
    out: list[Ending] = []
    for place, cause in enumerate(causes):
        own = _told(
            cause, kinds[place], how[place], int(died[place]), int(struck[place]), rng, minutes
        )
        if own is None:
            continue
        dead_at, ends, seen, checks, lie = own
        begin = int(grafted[place])
        out.append(
            Ending(
                code=f"{cause[:2].upper()}-{number + len(out):03d}",
                cause=cause,
                grafted=begin,
                died=dead_at,
                ends=ends,
                seen=[Seen(begin, "grafted"), *seen],
                checks=checks,
                stock_mm=9.0,
                scion_mm=round(float(_scion(cause, rng)), 1),
                readings=_sent(
                    rng,
                    slice(begin, ends),
                    air[:, place],
                    humid[:, place],
                    light[:, place],
                    plan.lost[:, place],
                    lie,
                ),
            )
        )
    return out


def _scion(cause: str, rng: np.random.Generator) -> float:
    mismatched = rng.random() < (0.4 if cause == "air_fine" else 0.08)
    return float(rng.uniform(4.5, 6.0) if mismatched else rng.uniform(7.8, 9.2))


def _hours(day_start: int, start_h: float, end_h: float) -> slice:
    """Return the minutes between two hours of a local day, counted past 24; BEGINS is at 08:00."""
    return slice(int(day_start + (start_h - 8.0) * 60), int(day_start + (end_h - 8.0) * 60))


def _mild(plan: Befallen, place: int, rng: np.random.Generator, grafted: int) -> None:
    """Let something happen that harms no graft, as it does to every one."""
    minutes = len(plan.lost)

    def some_day() -> int:
        return grafted - grafted % DAY + int(rng.integers(1, 15)) * DAY

    if rng.random() < 0.5:  # a knot slips for an hour or two, some time
        start = some_day() + int(rng.integers(0, DAY))
        plan.changes[start : start + int(rng.integers(40, 130)), place] = SLIPPED
    if rng.random() < 0.35:  # a warm noon
        plan.warmer[_hours(some_day(), 11, 15), place] += rng.uniform(2.0, 4.5)
    if rng.random() < 0.3:  # a spot of sun for some minutes
        start = some_day() + int((rng.uniform(10, 14) - 8) * 60)
        plan.passes[start : start + int(rng.integers(5, 18)), place] = rng.uniform(0.3, 0.5)
    if rng.random() < 0.25:  # a cool night
        plan.warmer[_hours(some_day(), 21, 30), place] -= rng.uniform(3.0, 6.0)
    for _ in range(int(rng.integers(0, 4))):  # the radio is away for some hours
        start = int(rng.integers(grafted, minutes))
        plan.lost[start : start + int(rng.integers(30, 300)), place] = True


def _strike(plan: Befallen, place: int, cause: str, at: int, rng: np.random.Generator) -> str:
    """Let the cause happen from a day on; return its form."""
    day = at - at % DAY
    form = cause
    if cause == "could_not_know":
        forms = ["damp", "damp", "silent", "silent", "cool", "stuck"]
        form = str(rng.choice(forms))
    unseen = form in {"silent", "stuck"}
    if form == "dried_at_night" or unseen or (form == "damp" and rng.random() < 0.6):
        for night in range(int(rng.integers(1, 4))):
            span = _hours(day + night * DAY, rng.uniform(18.8, 20.5), rng.uniform(29.0, 30.2))
            plan.changes[span, place] = SLIPPED
            plan.drier[span, place] += rng.uniform(0.4, 1.2)
            plan.warmer[span, place] += rng.uniform(1.0, 5.0)
        plan.leaf_mmol[place] = rng.uniform(8.0, 18.0)
    elif form in {"slow_drying", "damp"}:
        start = day - int(rng.integers(2, 4)) * DAY
        plan.changes[max(0, start) : day + 9 * DAY, place] = rng.uniform(14.0, 40.0)
        plan.leaf_mmol[place] = rng.uniform(5.0, 9.0)
    elif form in {"cooked", "cool"}:
        for noon in range(int(rng.integers(1, 3))):
            span = _hours(day + noon * DAY, rng.uniform(9.8, 11.0), rng.uniform(14.0, 16.0))
            hidden = form == "cool"  # so little that a probe that reads low does not tell of it
            plan.warmer[span, place] += rng.uniform(*((5.0, 8.0) if hidden else (6.0, 14.0)))
    elif form == "sun_scald":
        for noon in range(int(rng.integers(1, 3))):
            opens = rng.uniform(9.5, 11.5)
            span = _hours(day + noon * DAY, opens, opens + rng.uniform(1.0, 2.5))
            plan.passes[span, place] = rng.uniform(0.3, 0.55)
    elif form == "cold":
        for night in range(int(rng.integers(1, 3))):
            span = _hours(day + night * DAY, rng.uniform(20.0, 22.0), rng.uniform(29.0, 30.5))
            plan.warmer[span, place] -= rng.uniform(12.0, 19.0)
    if form == "silent":
        start = day - int(rng.integers(0, 600))
        plan.lost[start : start + int(rng.integers(75, 130)) * 60, place] = True
    return form


_BY = {
    "dried_at_night": "dry",
    "slow_drying": "dry",
    "cooked": "heat",
    "sun_scald": "heat",
    "cold": "cold",
    "damp": "dry",
    "silent": "dry",
    "stuck": "dry",
    "cool": "heat",
}


def _told(
    cause: str,
    form: str,
    how: str,
    died: int,
    struck: int,
    rng: np.random.Generator,
    minutes: int,
) -> (
    tuple[int | None, int, list[Seen], list[tuple[int, str, float]], tuple[str, float, int]] | None
):
    """Return when it died, when it was counted, what was seen, and how its sensor lied.

    None where the bag did not go as it was meant to.
    """
    seen: list[Seen] = []
    checks: list[tuple[int, str, float]] = []
    lie = ("", 0.0, 0)
    if cause == TAKEN:
        if how:
            return None
        if rng.random() < 0.12:
            seen.append(Seen(struck + int(rng.integers(0, 3)) * DAY, "mould"))
        if rng.random() < 0.1:
            seen.append(Seen(struck, "droop"))
        alive = int(rng.integers(18, 25))
        seen.append(Seen(minutes - 90, "counted", {"alive": alive, "dead": 24 - alive}))
        return None, minutes - 60, seen, checks, lie
    if cause in {"mould", "air_fine"}:
        if how:
            return None
        died = struck + int(rng.integers(0, 4)) * DAY
        if cause == "mould":
            first = died - int(rng.integers(1, 4)) * DAY + 60
            seen.append(Seen(first, "mould"))
    elif how != _BY[form] or died < struck - (4 * DAY if form in {"slow_drying", "damp"} else 0):
        return None
    sign = died + int(rng.integers(8, 60)) * 60
    ends = sign + int(rng.integers(1, 4)) * DAY
    if ends > minutes - 60:
        return None
    dry = how == "dry"
    if dry and cause != "could_not_know" and rng.random() < 0.5:
        seen.append(Seen(died - int(rng.integers(1, 10)) * 60, "bag_dry"))
    if rng.random() < 0.65:
        seen.append(Seen(sign, "droop"))
    if cause != "mould" and rng.random() < 0.25:
        seen.append(Seen(sign + DAY // 2, "mould"))
    alive = int(rng.integers(0, 7))
    seen.append(Seen(ends - 30, "counted", {"alive": alive, "dead": 24 - alive}))
    if cause == "could_not_know":
        traced = rng.random() >= LIED_WITHOUT_TRACE
        if form == "damp":
            # A person or a later check may tell of it.
            off = float(rng.uniform(8.0, 14.5))
            lie = ("damp", float(rng.uniform(0.03, 0.12)), 0)
            told = int(rng.integers(0, 3))
            if traced and told != 1:
                checks.append((ends - 20, "humidity", -round(off, 1)))
            if traced and told != 0:
                seen.append(Seen(died - int(rng.integers(1, 5)) * 60, "bag_dry"))
        elif form == "cool":
            off = float(rng.uniform(4.0, 5.0))
            lie = ("cool", off, 0)
            if traced:
                checks.append((ends - 20, "air", round(off, 1)))
        elif form == "stuck":
            lie = ("stuck", 0.0, struck - int(rng.integers(1, 3)) * DAY)
    return died, ends, seen, checks, lie


def _sent(
    rng: np.random.Generator,
    rows: slice,
    air: Floats,
    humid: Floats,
    light: Floats,
    lost: Flags,
    lie: tuple[str, float, int],
) -> dict[str, tuple[NDArray[np.int64], Floats]]:
    """Return what the sensors of one bag sent, with their own error and noise."""
    form, off, since = lie
    at = np.arange(rows.start, rows.stop, EVERY_MIN, dtype=np.int64)
    warm: Floats = air[at] + rng.normal(0.0, 0.25) + rng.normal(0.0, 0.08, at.size)
    wet: Floats = humid[at] + rng.normal(0.0, 1.0) + rng.normal(0.0, 0.35, at.size)
    if form == "damp":
        # Drops on the probe: it tells of them, and hardly of the air.
        wet = 100.0 - (100.0 - wet) * off
    if form == "cool":
        warm = warm - off
    if form == "stuck":
        stuck = at >= since
        first = min(int(stuck.argmax()), at.size - 1)
        wet = np.where(stuck, wet[first], wet)
        warm = np.where(stuck, warm[first], warm)
    wet = np.clip(np.round(wet, 1), 0.0, 100.0)
    there = ~lost[at]
    lit: Floats = np.maximum(light[at] * rng.normal(1.0, 0.03), 0.0)
    return {
        "air": (at[there], np.round(warm[there], 2)),
        "humidity": (at[there], wet[there]),
        "light": (at, np.round(lit, 1)),
    }
