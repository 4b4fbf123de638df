"""Draws the figures of the pages that explain: the path of this file, then FOLDER.

The pull of the air, the hottest air under a bag by its shade, and a recorded night with its limits.
Each is worked out by the functions that judge; a test draws them anew.
"""

from __future__ import annotations

import gzip
import json
import sys
import tomllib
from datetime import datetime
from pathlib import Path

import numpy as np
from make_figures import BLUE, DAY, FAINT, GOLD, INK, RUST, TERN_HOLLOW, Chart, Floats

from rules.air import vapour_pressure_deficit_kpa
from rules.cover import CoverFit, CoverRecord, course_under_cover, fit_cover, peak_of
from rules.light_day import minutes_of_day
from rules.limits import QUIET, bound_of, sweep, verdicts
from rules.model.batch import Stage
from rules.model.plan import CarePlan, Limit
from rules.sky import clear_sky_ppfd_umol_m2_s, under_shade_umol_m2_s

DEMO = Path(__file__).parents[2] / "demo_data"
PLAN = CarePlan.model_validate(
    tomllib.loads((DEMO / "plans" / "leafy-bag.toml").read_text(encoding="utf-8"))
)
NOON = datetime.fromisoformat("2026-11-14T12:00:00+11:00")
HOUSE_C = 33.0
UNSURE_C = 0.5


def vpd() -> str:
    """Draw the pull of the air over its temperature, a curve for each humidity."""
    chart = Chart("How strongly air pulls, by its temperature and humidity", (5, 40), (0, 3))
    marks = ([5, 10, 15, 20, 25, 30, 35, 40], [0, 0.5, 1, 1.5, 2, 2.5, 3])
    chart.axes("temperature of air and leaf, °C", "vapour pressure deficit, kPa", marks=marks)
    warm = np.linspace(5.0, 40.0, 71)
    for humidity, ink in ((60.0, RUST), (70.0, RUST), (80.0, GOLD), (90.0, BLUE), (95.0, BLUE)):
        pull = vapour_pressure_deficit_kpa(warm, humidity)
        inside = pull <= 3.0
        chart.curve(warm[inside], pull[inside], ink=ink)
        at_c = 28.0 if humidity < 90.0 else 33.0
        at = chart.x(at_c) - 6, chart.y(vapour_pressure_deficit_kpa(at_c, humidity)) - 8
        chart.say(f"{humidity:g} %", at=at, anchor="end", ink=ink)
    return chart.svg()


def shade() -> str:
    """Draw the hottest air to expect under one bag, by how much of the light its cloth stops."""
    chart = Chart("The hottest air under a bag, by what the cloth stops", (0.5, 1.0), (32, 48))
    marks = ([0.5, 0.6, 0.7, 0.8, 0.9, 1.0], [32, 36, 40, 44, 48])
    chart.axes("share of the light that the cloth stops", "hottest air, °C", marks=marks)
    lights = [20, 40, 60, 80, 110, 140, 170, 200, 220, 240, 250, 260]
    day = [(29_662_920 + 30 * i, one, round(1.2 * one)) for i, one in enumerate(lights)]
    fit = fit_cover(CoverRecord(spans=tuple(day + [(at + 1440, i, c) for at, i, c in day])))
    if not isinstance(fit, CoverFit):
        raise SystemExit(fit.needed("en"))
    minutes = minutes_of_day(TERN_HOLLOW, DAY)[::10]
    clear = clear_sky_ppfd_umol_m2_s(TERN_HOLLOW, minutes)
    stopped = np.linspace(0.5, 0.98, 49)
    peaks = [
        peak_of(
            fit,
            course_under_cover(
                fit,
                minutes,
                light_umol=under_shade_umol_m2_s(clear, shade_fraction=float(share)),
                house_c=np.full(minutes.shape, HOUSE_C),
                house_unsure_c=UNSURE_C,
            ),
        )
        for share in stopped
    ]
    chart.curve(stopped, np.array([one.central_c for one in peaks]), ink=RUST)
    known = np.array([not one.beyond_record for one in peaks])
    for edge in ([one.low_c for one in peaks], [one.high_c for one in peaks]):
        chart.curve(stopped, np.array(edge), ink=GOLD, dashes="2 4")
    from_x = chart.x(float(stopped[known][0]))
    chart.parts.append(
        f'<rect x="{from_x:.0f}" y="{chart.y(48):.0f}" width="{chart.x(1.0) - from_x:.0f}" '
        f'height="{chart.y(32) - chart.y(48):.0f}" fill="{BLUE}" fill-opacity="0.08"/>'
    )
    chart.say("light as in the record", at=(from_x + 8, chart.y(46.8)), ink=BLUE)
    (bound,) = [one.bound for one in limits() if one.id == "hot-day-ahead"]
    chart.curve(np.array([0.5, 1.0]), np.array([bound, bound]), ink=INK, dashes="6 3")
    chart.say(f"limit of the plan: {bound:g} °C", at=(chart.x(0.51), chart.y(bound) - 6))
    return chart.svg()


def limits() -> tuple[Limit, ...]:
    """Return the limits of the healing stage of the plan for leafy scions under a bag."""
    return PLAN.stage[Stage.HEALING].limit


def night() -> str:
    """Draw the humidity in the bag that came loose, noon to noon, and when alarms stood."""
    chart = Chart("The night of MG-07, from noon to noon", (12, 36), (60, 100))
    hours = ([12, 15, 18, 21, 24, 27, 30, 33, 36], [60, 70, 80, 90, 100])
    chart.axes("hours from the midnight before", "humidity in the bag, %", marks=hours)
    minute, damp = recorded()
    values = np.rint(damp * 1e6).astype(np.int64)
    every = np.ones(values.shape, dtype=np.bool_)
    told = {one.id: one for one in limits()}
    for name, ink in (("air-dry", GOLD), ("air-dry-danger", RUST)):
        bound = bound_of(told[name])
        said = verdicts(bound, values, every, sun_up=~every, film_open=~every)
        raised = sweep(bound.delays, QUIET, 0, said, values=values, sign=bound.sign).raised
        stood = minute[raised]
        left, right = chart.x(12 + stood[0] / 60), chart.x(12 + (stood[-1] + 1) / 60)
        chart.parts.append(
            f'<rect x="{left:.1f}" y="{chart.y(100):.0f}" width="{right - left:.1f}" '
            f'height="{chart.y(60) - chart.y(100):.0f}" fill="{ink}" fill-opacity="0.25"/>'
        )
        level = told[name].bound
        chart.curve(np.array([12.0, 36.0]), np.array([level, level]), ink=ink, dashes="6 3")
        words = f"{level:g} %, {told[name].priority.value} priority"
        chart.say(words, at=(chart.x(12.3), chart.y(level) + 16), ink=ink)
    chart.curve(12.0 + minute / 60.0, damp, ink=BLUE)
    chart.say("an alarm stands", at=(chart.x(28.1), chart.y(64)), ink=RUST)
    chart.say("bag retied and misted", at=(chart.x(28.1), chart.y(74)), ink=BLUE)
    chart.parts.append(
        f'<line x1="{chart.x(24):.0f}" y1="{chart.y(60):.0f}" x2="{chart.x(24):.0f}" '
        f'y2="{chart.y(100):.0f}" stroke="{FAINT}" stroke-width="3"/>'
    )
    return chart.svg()


def recorded() -> tuple[Floats, Floats]:
    """Return the minutes since noon with a word of the probe, and its humidity in %RH."""
    heard: dict[int, float] = {}
    (path,) = (DEMO / "nights").glob("*.jsonl.gz")
    with gzip.open(path, "rt", encoding="utf-8") as lines:
        for line in lines:
            entry = json.loads(line)
            if entry["topic"] != "tern-hollow/bag-07":
                continue
            measured_s = entry["payload"]["t"] - NOON.timestamp()
            if 0 <= measured_s < 24 * 3600:
                heard.setdefault(int(measured_s // 60), entry["payload"]["humidity"])
    minutes = sorted(heard)
    return np.array(minutes, dtype=np.float64), np.array([heard[one] for one in minutes])


FIGURES = {"vpd": vpd, "shade": shade, "night": night}


def main(folder: Path) -> None:
    """Draw every figure into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in FIGURES.items():
        (folder / f"{name}.svg").write_text(draw(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parents[1] / "pictures")
