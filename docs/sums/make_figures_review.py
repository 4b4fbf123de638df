"""Draws the figure of the page on looking back: the path of this file, then FOLDER.

It shows how an amount of harm becomes a score, alone and beside siblings that took. A test draws
it anew and holds it against that in docs/pictures.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from make_figures import BLUE, FAINT, INK, RUST, Chart

from rules.review import MUCH_FROM, SOME_FROM, STOOD_NO_WORSE, STOOD_WORSE, share_of


def figure() -> str:
    """Draw the score by how many times enough there was, and the weights in words."""
    chart = Chart("How a harm becomes a score", (0, 4), (0, 1))
    marks = ([0, 1, 2, 3, 4], [0, 0.25, 0.5, 0.75, 1])
    chart.axes("times what is called enough", "score", marks=marks)
    ratio = np.linspace(0.0, 4.0, 121)
    score = np.array([share_of(float(one)) for one in ratio])
    for bound in (SOME_FROM, MUCH_FROM):
        chart.curve(np.array([0.0, 4.0]), np.array([bound, bound]), ink=FAINT)
    worse = np.minimum(0.97, STOOD_WORSE * score)
    chart.curve(ratio, worse, ink=RUST, dashes="6 3")
    chart.curve(ratio, score, ink=INK)
    chart.curve(ratio, STOOD_NO_WORSE * score, ink=BLUE, dashes="2 4")
    for words, at, ink in (
        ("nearly no taken sibling stood as much", (1.7, 0.985), RUST),
        ("by itself", (2.6, 0.82), INK),
        ("many taken siblings stood as much", (2.0, 0.36), BLUE),
        ("much speaks for it", (0.05, 0.52), INK),
        ("something speaks for it", (0.05, 0.27), INK),
    ):
        chart.say(words, at=(chart.x(at[0]), chart.y(at[1])), ink=ink)
    return chart.svg()


def main(folder: Path) -> None:
    """Draw the figure into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "review-score.svg").write_text(figure(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parents[1] / "pictures")
