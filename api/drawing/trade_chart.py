"""What a figure of a limit costs and buys: one panel a measure for one figure, cells for two.

A picture of fixed size in ink and grey, to be printed and passed on. Grey is never alone: every
cell has its figure in it, every line its dots.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.png import FONT
from api.drawing.scale import Domain, domain_of
from api.drawing.svg import element, line_path

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from markupsafe import Markup
    from numpy.typing import NDArray

WIDTH = 720
EDGE = 16
LEFT = 62
PANEL = 132
PANEL_GAP = 58
HEAD = 58
LINE = 15
LETTER = 6.1
"""Width of a letter of the small print, generously."""

INK = "#1d1d1d"
PAPER = "#ffffff"
LIGHTEST, DARKEST = 245, 120
"""Of the cells: black letters stand out from both, 4.5 to 1 and more."""

STYLE = f"""
text {{ font-family: '{FONT}', sans-serif; font-size: 11px; fill: {INK}; }}
.paper {{ fill: {PAPER}; }}
.head {{ font-size: 14px; font-weight: bold; }}
.panel-head {{ font-weight: bold; }}
.rule {{ stroke: #cfcfcf; stroke-width: 1; }}
.frame {{ fill: none; stroke: #6f6f6f; stroke-width: 1; }}
.line {{ fill: none; stroke: {INK}; stroke-width: 1.6; }}
.dot {{ fill: {INK}; }}
.own {{ stroke: {INK}; stroke-width: 1.2; stroke-dasharray: 4 3; }}
.own-cell {{ fill: none; stroke: {INK}; stroke-width: 2.4; }}
.cell {{ stroke: {PAPER}; stroke-width: 1; }}
"""


@dataclass(frozen=True, slots=True)
class Side:
    """A figure that was swept: its name with its unit, its values, and what it stands at."""

    words: str
    values: tuple[float, ...]
    own: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure, its unit in its words: a value for each setting, None where it is not known.

    Of two figures, the second turns fastest. `unknown` says why there may be none.
    """

    words: str
    values: tuple[float | None, ...]
    unknown: str


def trade_chart(
    title: str, lines: Sequence[str], sides: Sequence[Side], measures: Sequence[Measure]
) -> Markup:
    """Return the picture of one figure (a panel a measure) or two (a grid a measure)."""
    if len(sides) == 1:
        drawn, height = _panels(sides[0], measures, HEAD + LINE * len(lines))
    else:
        drawn, height = _grids(sides[0], sides[1], measures, HEAD + LINE * len(lines))
    words = [
        element("text", title, x=EDGE, y=24, class_="head"),
        *(element("text", line, x=EDGE, y=44 + LINE * place) for place, line in enumerate(lines)),
    ]
    told = "; ".join(measure.words for measure in measures)
    return element(
        "svg",
        element("title", title),
        element("desc", f"{title}: {told}. {' '.join(lines)}"),
        element("style", STYLE),
        element("rect", x=0, y=0, width=WIDTH, height=height, class_="paper"),
        *words,
        *drawn,
        xmlns="http://www.w3.org/2000/svg",
        width=WIDTH,
        height=height,
        view_box=f"0 0 {WIDTH} {height}",
        role="img",
    )


def _panels(side: Side, measures: Sequence[Measure], top: int) -> tuple[list[Markup], int]:
    """Return a panel a measure, two beside each other, over the values of one figure."""
    wide = (WIDTH - EDGE - 2 * LEFT) // 2
    drawn: list[Markup] = []
    for place, measure in enumerate(measures):
        x = LEFT + (place % 2) * (wide + LEFT)
        y = top + (place // 2) * (PANEL + PANEL_GAP)
        drawn += _panel(side, measure, x, y, wide)
    rows = -(-len(measures) // 2)
    return drawn, top + rows * (PANEL + PANEL_GAP)


def _panel(side: Side, measure: Measure, left: int, top: int, wide: int) -> list[Markup]:
    values = np.array([np.nan if one is None else one for one in measure.values], dtype=np.float64)
    domain = _from_nothing(values)
    first, last = min((*side.values, *side.own)), max((*side.values, *side.own))
    span = (last - first) or 1.0

    def across(value: float) -> float:
        return left + 8 + (value - first) / span * (wide - 16)

    def down(value: float) -> float:
        return top + domain.height_of(value) * PANEL

    drawn = [element("text", measure.words, x=left, y=top - 7, class_="panel-head")]
    known = not np.isnan(values).all()
    for ruled in domain.ruled if known else ():
        y = down(ruled)
        drawn.append(element("line", x1=left, x2=left + wide, y1=y, y2=y, class_="rule"))
        drawn.append(element("text", f"{ruled:g}", x=left - 5, y=y + 4, text_anchor="end"))
    for own in side.own if known else ():
        x = across(own)
        drawn.append(element("line", x1=x, x2=x, y1=top, y2=top + PANEL, class_="own"))
    drawn.append(element("rect", x=left, y=top, width=wide, height=PANEL, class_="frame"))
    if not known:
        x, y = left + wide / 2, top + PANEL / 2
        drawn.append(element("text", measure.unknown, x=x, y=y, text_anchor="middle"))
    else:
        points = [
            (across(value), down(float(one)))
            for value, one in zip(side.values, values, strict=True)
            if not np.isnan(one)
        ]
        drawn.append(element("path", d=line_path([points]), class_="line"))
        drawn += [element("circle", cx=x, cy=y, r=2.6, class_="dot") for x, y in points]
    drawn += _values_below(side, across, top + PANEL, wide)
    return drawn


def _from_nothing(values: NDArray[np.float64]) -> Domain:
    """Return a scale from nothing upwards: what is counted is never less."""
    most = domain_of(values, [0.0], 1.0)
    return Domain(0.0, most.highest, tuple(one for one in most.ruled if one >= 0.0))


def _values_below(
    side: Side, across: Callable[[float], float], floor: int, wide: int
) -> list[Markup]:
    most = max(len(f"{value:g}") for value in side.values)
    room = max(1, int(wide / ((most + 2) * LETTER)))
    every = -(-len(side.values) // room)
    drawn = [
        element("text", f"{value:g}", x=across(value), y=floor + 13, text_anchor="middle")
        for value in side.values[::every]
    ]
    middle = (across(side.values[0]) + across(side.values[-1])) / 2
    drawn.append(element("text", side.words, x=middle, y=floor + 27, text_anchor="middle"))
    return drawn


def _grids(
    first: Side, second: Side, measures: Sequence[Measure], top: int
) -> tuple[list[Markup], int]:
    """Return a grid a measure: the first figure downwards, the second across."""
    tall = max(14.0, min(24.0, 320.0 / len(first.values)))
    block = len(first.values) * tall
    drawn: list[Markup] = []
    y = float(top + 22)
    for measure in measures:
        if all(one is None for one in measure.values):
            words = f"{measure.words}: {measure.unknown}"
            drawn.append(element("text", words, x=EDGE, y=y - 22, class_="panel-head"))
            y += 30
            continue
        drawn += _grid(first, second, measure, y, tall)
        y += block + PANEL_GAP
    return drawn, round(y)


def _grid(first: Side, second: Side, measure: Measure, top: float, tall: float) -> list[Markup]:
    wide = (WIDTH - EDGE - LEFT) / len(second.values)
    known = [one for one in measure.values if one is not None]
    low, high = min(known, default=0.0), max(known, default=0.0)
    drawn = [
        element("text", measure.words, x=EDGE, y=top - 22, class_="panel-head"),
        element("text", f"down: {first.words}; across: {second.words}", x=EDGE, y=top - 7),
    ]
    lettered = wide >= 5 * LETTER
    for row, value in enumerate(first.values):
        y = top + row * tall
        drawn.append(
            element("text", f"{value:g}", x=LEFT - 5, y=y + tall / 2 + 4, text_anchor="end")
        )
        for column in range(len(second.values)):
            one = measure.values[row * len(second.values) + column]
            drawn += _cell(one, (low, high), (LEFT + column * wide, y, wide, tall), lettered)
    for row, value in enumerate(first.values):
        for column, other in enumerate(second.values):
            if value in first.own and other in second.own:
                drawn.append(
                    element(
                        "rect",
                        x=LEFT + column * wide,
                        y=top + row * tall,
                        width=wide,
                        height=tall,
                        class_="own-cell",
                    )
                )
    every = int(-(-5 * LETTER // wide))
    drawn += [
        element(
            "text",
            f"{value:g}",
            x=LEFT + (column + 0.5) * wide,
            y=top + len(first.values) * tall + 13,
            text_anchor="middle",
        )
        for column, value in enumerate(second.values)
        if column % every == 0
    ]
    return drawn


def _cell(
    value: float | None,
    between: tuple[float, float],
    place: tuple[float, float, float, float],
    lettered: bool,  # noqa: FBT001
) -> list[Markup]:
    x, y, wide, tall = place
    low, high = between
    share = 0.0 if value is None or high <= low else (value - low) / (high - low)
    grey = round(LIGHTEST - share * (LIGHTEST - DARKEST))
    fill = PAPER if value is None else f"rgb({grey},{grey},{grey})"
    drawn = [element("rect", x=x, y=y, width=wide, height=tall, fill=fill, class_="cell")]
    if value is not None and lettered:
        drawn.append(
            element(
                "text",
                figure(value),
                x=x + wide / 2,
                y=y + tall / 2 + 4,
                text_anchor="middle",
            )
        )
    return drawn


def figure(value: float) -> str:
    """Return a figure short enough for a cell.

    >>> figure(0.25), figure(12.34), figure(1234.0)
    ('0.25', '12.3', '1234')
    """
    return f"{value:.3g}" if abs(value) < 100 else f"{value:.0f}"
