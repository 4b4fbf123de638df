"""Draws the figure of the page on tonight: the path of this file, then FOLDER.

It shows a tied bag of the demonstration's physics through a spell of fronts, what was foretold of
its last night, and what came. A test draws it anew and holds it against that in docs/pictures.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from make_figures import BLUE, FAINT, INK, RUST, Chart

from demo_data.fronts import SPELLS, nights_under
from demo_data.trial import BEGINS
from rules.model.quantities import Felt
from rules.tonight import SLOT_MIN, Expected, Slots, slots_of, tonight

DAYS = 8
SEED = 12
TIED = 0
A_DAY = 1440 // SLOT_MIN
MADE_AT = 6 * A_DAY + 80  # 20:00 of the seventh day
SHOWN_BEFORE = 16
SHOWN_AFTER = 48


def figure(told: Slots) -> str:
    """Draw the recent nights, the forecast with its band, what came, and "stays as now"."""
    chart = Chart("A night foretold at 20:00 and what came of it", (16, 32), (12, 32))
    marks = ([16, 18, 20, 22, 24, 26, 28, 30, 32], [12, 16, 20, 24, 28, 32])
    chart.axes("hours from midnight before", "air in a tied bag, °C", marks=marks)
    around = np.arange(-SHOWN_BEFORE, SHOWN_AFTER + 1)
    hours = 20.0 + around / 4.0
    for night in range(1, 6):
        chart.curve(hours, told.means[MADE_AT - 1 + around - night * A_DAY], ink=FAINT)
    now = float(told.means[MADE_AT - 1])
    chart.curve(np.array([20.0, 32.0]), np.array([now, now]), ink=RUST, dashes="2 4")
    chart.curve(hours, told.means[MADE_AT - 1 + around], ink=INK, dashes="6 3")
    known = Slots(told.end_minute - SLOT_MIN * (len(told.means) - MADE_AT), told.means[:MADE_AT])
    shown = [one for one in tonight(known, Felt.AIR_TEMPERATURE) if isinstance(one, Expected)]
    at = np.array([20.0 + one.hours for one in shown])
    chart.curve(at, np.array([one.central for one in shown]), ink=BLUE)
    for edge in ([one.low for one in shown], [one.high for one in shown]):
        chart.curve(at, np.array(edge), ink=BLUE, dashes="2 4")
    for row, (words, ink) in enumerate(
        [
            ("grey: the five nights before", INK),
            ("blue: foretold at 20:00, with its band", BLUE),
            ("dashed: what came", INK),
            ("dotted red: “stays as now”", RUST),
        ]
    ):
        chart.say(words, at=(chart.x(16.3), chart.y(15.8 - 1.1 * row)), ink=ink)
    return chart.svg()


def main(folder: Path) -> None:
    """Draw the figure into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    happened = nights_under(SPELLS["fronts"], days=DAYS, seed=SEED)
    begin = int(BEGINS.timestamp()) // 60
    told = slots_of(begin, np.rint(happened.air_c[:, TIED] * 10.0) / 10.0)
    (folder / "tonight.svg").write_text(figure(told), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parents[1] / "pictures")
