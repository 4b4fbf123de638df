"""Draws the figure of the page on quality: the path of this file, then FOLDER.

One day of a probe that goes wrong in four ways, held against the tests; a test draws it anew and
holds it against that in docs/pictures.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from make_figures import BLUE, GOLD, INK, RUST, TERN_HOLLOW, Chart
from numpy.typing import NDArray

from rules.cells import CellBlock, in_millionths
from rules.daylight import sun_heights
from rules.doubt import Flag, QualityTest
from rules.model.site import Site
from rules.trust import judged
from rules.trust_kit import quality_kit

Floats = NDArray[np.float64]

FIRST = 29_910_540  # midnight of 14 November 2026 at the nursery
MINUTES = 1440
SEED = 7


def site() -> Site:
    """Return a nursery with one probe of temperature on a bench."""
    house = {"title": "House", "shade_fraction": 0.7, "length_m": 20, "width_m": 8}
    bench = {"house": "h", "title": "Bench", "x_m": 1, "y_m": 1, "length_m": 4, "width_m": 1}
    probe = {
        "id": "p",
        "title": "Probe",
        "topic": "site/p",
        "channel": [{"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "v"}],
        "position": [{"since": "2026-11-01T00:00:00+11:00", "bench": "b"}],
    }
    return Site.model_validate(
        {
            "site": TERN_HOLLOW.model_dump(),
            "lead": "lead",
            "house": [{"id": "h", **house}],
            "bench": [{"id": "b", **bench}],
            "person": [{"id": "lead", "name": "Lead", "email": "lead@example.invalid"}],
            "sensor": [probe],
        }
    )


def day() -> Floats:
    """Return what the probe says in °C, minute by minute; NaN where it says nothing."""
    chance = np.random.default_rng(SEED)
    minute = np.arange(MINUTES)
    said = 23.0 - 6.0 * np.cos((minute - 120) * 2 * np.pi / MINUTES)
    said += np.round(chance.normal(0.0, 0.15, MINUTES), 2)
    said[330] = 44.0  # one wild word
    said[600:690] += 9.0  # a gap in the cloth: real, and back again
    said[800:830] = np.nan  # half an hour of silence
    said[930:] = said[930]  # the probe freezes
    return said


def figure() -> str:
    """Draw the day, with the words that failed and those that are suspect."""
    chart = Chart("A probe's day, and what the quality tests make of it", (0, 24), (10, 50))
    marks = ([0, 3, 6, 9, 12, 15, 18, 21, 24], [10, 20, 30, 40, 50])
    chart.axes("hour of the day", "what the probe says, °C", marks=marks)
    said = day()
    nursery = site()
    present = ~np.isnan(said)[:, None]
    means = np.where(present[:, 0], in_millionths(np.nan_to_num(said)), 0)[:, None]
    kit = quality_kit(nursery)
    sun = sun_heights(nursery.site, FIRST + np.arange(MINUTES, dtype=np.int64))
    _, seen = judged(kit, {}, CellBlock(FIRST, kit.channels, means, present), sun)
    flags, tests = seen.flags[:, 0], seen.tests[:, 0]
    hours = np.arange(MINUTES) / 60.0
    used = seen.block.present[:, 0]
    edges = np.flatnonzero(np.diff(np.concatenate(([0], used.astype(np.int8), [0]))))
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        chart.curve(hours[start:end], said[start:end], ink=BLUE)
    for flag, ink in ((Flag.SUSPECT, GOLD), (Flag.FAIL, RUST)):
        for at in np.flatnonzero(flags == flag).tolist():
            chart.parts.append(
                f'<circle cx="{chart.x(hours[at]):.1f}" cy="{chart.y(float(said[at])):.1f}" '
                f'r="2.5" fill="{ink}"/>'
            )
    for test, words, up in (
        (QualityTest.SPIKE, "spike: held out", 46.0),
        (QualityTest.STEP, "step: suspect, used", 38.5),
        (QualityTest.STUCK, "stuck for six hours: held out", 32.5),
    ):
        at = float(hours[np.flatnonzero(tests == test)[0]])
        anchor = "end" if test is QualityTest.STUCK else "start"
        chart.say(words, at=(chart.x(at), chart.y(up)), anchor=anchor)
    chart.say("silence: missing", at=(chart.x(13.4), chart.y(24.5)), ink=INK)
    return chart.svg()


def main(folder: Path) -> None:
    """Draw the figure into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "quality.svg").write_text(figure(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parents[1] / "pictures")
