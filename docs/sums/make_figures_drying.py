"""Draws the figures of the pages on cover heat and drying: the path of this file, then FOLDER.

Both show bags of the demonstration's physics, and what the sums make of their minutes. A test draws
them anew and holds them against those in docs/pictures.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import numpy as np
from make_figures import BLUE, FAINT, GOLD, INK, RUST, Chart

from demo_data.trial import CRITICAL_SHARE, FRESH_G, Kind, Trial, trial
from rules.cover import EMPTY, CoverFit, fit_cover, gather
from rules.drying import FRESH, Surroundings, spend
from rules.model.plan import CarePlan
from rules.reserve import Band, reserve_pct
from rules.scion import drying_figures

PLAN = Path(__file__).parents[2] / "demo_data" / "plans" / "leafy-bag.toml"
DAYS = 4
SLIPS_H = 20.0
MIDNIGHT = 29_662_560
MICRO = 1_000_000
EVERY = 60  # minutes between two points of a curve


def cover(bags: Trial) -> str:
    """Draw half hours under one bag, two of them with the bag open, and the line through them."""
    chart = Chart("How much warmer light makes the air under a tied bag", (0, 300), (-0.5, 2.5))
    chart.axes(
        "light under the cloth, µmol m⁻² s⁻¹",
        "bag less house, °C",
        marks=([0, 50, 100, 150, 200, 250, 300], [0, 1, 2]),
    )
    rise = np.rint((bags.air_c[:, 0] - bags.house_c) * MICRO).astype(np.int64)
    rise[720 : 720 + 90] = 0  # held open at noon for an hour and a half
    record = gather(
        EMPTY,
        MIDNIGHT,
        light=np.rint(bags.ppfd_umol_m2_s * MICRO).astype(np.int64),
        rise=rise,
        present=np.ones(len(rise), dtype=np.bool_),
    )
    fit = fit_cover(record)
    if not isinstance(fit, CoverFit):
        raise SystemExit(fit.needed("en"))
    for _, light, hundredths in record.spans:
        odd = abs(hundredths / 100 - fit.offset_c - fit.slope_c_per_umol * light) > 0.4
        chart.parts.append(
            f'<circle cx="{chart.x(light):.1f}" cy="{chart.y(hundredths / 100):.1f}" r="3" '
            f'fill="{RUST if odd else GOLD}"/>'
        )
    ends = np.array([0.0, 300.0])
    chart.curve(ends, fit.offset_c + fit.slope_c_per_umol * ends, ink=BLUE)
    chart.say("the line that odd half hours cannot pull", at=(chart.x(8), chart.y(2.2)), ink=BLUE)
    chart.say("bag held open", at=(chart.x(215), chart.y(0.15)), anchor="middle", ink=RUST)
    return chart.svg()


def drying(bags: Trial) -> str:
    """Draw the reserve of a tied and a loose bag with its band, and what was truly left."""
    chart = Chart(
        "The reserve of a tied and of a loose bag, told and true", (0, 24 * DAYS), (0, 100)
    )
    marks = ([0, 12, 24, 36, 48, 60, 72, 84, 96], [0, 25, 50, 75, 100])
    chart.axes("hours from midnight", "reserve, %", marks=marks)
    for bag, ink, words, place in (
        (0, BLUE, "tied", (90.0, 78.0)),
        (1, RUST, "tie slips at 20 h", (50.0, 20.0)),
    ):
        band = told(bags, bag)
        hours = np.arange(0, 24 * 60 * DAYS, EVERY) / 60.0
        for edge in (band.low, band.high):
            chart.curve(hours, edge[::EVERY], ink=ink if bag else FAINT, dashes="2 4")
        chart.curve(hours, band.central[::EVERY], ink=ink)
        share = bags.water_g[:, bag] / FRESH_G
        truly = np.clip(100.0 * (share - CRITICAL_SHARE) / (1.0 - CRITICAL_SHARE), 0.0, 100.0)
        chart.curve(hours, truly[::EVERY], ink=INK, dashes="6 3")
        chart.say(words, at=(chart.x(place[0]), chart.y(place[1])), anchor="end", ink=ink)
    chart.say("dashed: truly left", at=(chart.x(2), chart.y(6)), ink=INK)
    chart.say("dotted: the band", at=(chart.x(2), chart.y(12)), ink=RUST)
    return chart.svg()


def told(bags: Trial, bag: int) -> Band:
    """Return what the estimate tells of one bag, minute by minute."""
    plan = CarePlan.model_validate(tomllib.loads(PLAN.read_text(encoding="utf-8")))
    if plan.drying is None:
        msg = f"{PLAN.name} says nothing of drying"
        raise SystemExit(msg)
    figures = drying_figures(plan.drying, MIDNIGHT, pressure_kpa=101.0, scion_diameter_mm=None)
    minutes = len(bags.ppfd_umol_m2_s)
    unknown = np.full(minutes, np.nan)
    around = Surroundings(
        minute=MIDNIGHT + np.arange(minutes),
        air_temperature_c=bags.air_c[:, bag],
        relative_humidity_pct=bags.humidity_pct[:, bag],
        ppfd_umol_m2_s=bags.ppfd_umol_m2_s,
        leaf_temperature_c=unknown,
        air_speed_m_s=unknown,
        sun_up=bags.ppfd_umol_m2_s > 0.0,
        film_open=np.zeros(minutes, dtype=np.bool_),
    )
    return reserve_pct(figures, spend(figures, FRESH, around).spent_ng)


def main(folder: Path) -> None:
    """Draw both figures into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    bags = trial((Kind(0.005, 0.4, SLIPS_H), Kind(0.005, 70.0, SLIPS_H)), days=DAYS, seed=100)
    (folder / "cover.svg").write_text(cover(bags), encoding="utf-8")
    (folder / "drying.svg").write_text(drying(bags), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parents[1] / "pictures")
