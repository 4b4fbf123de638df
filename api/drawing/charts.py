"""The noon-to-noon chart of one quantity: the record, its limits, the dark hours, the alarms.

The picture is text and lines in one SVG: the grid of the record is stretched to the width of its
place, words and marks are not, so the same picture reads on a phone and on a desk.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.scale import Domain, domain_of, extremes, runs_of, spread_by_column
from api.drawing.svg import area_path, drawing, element, line_path, share, stretched
from rules.model.plan import Side

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup
    from numpy.typing import NDArray

COLUMNS = 480
BAND_COLUMNS = 160
GRID_HEIGHT = 400
HEIGHT = 190
TOP = 16
BOTTOM = 20
PLOT = HEIGHT - TOP - BOTTOM
STRETCHED = (COLUMNS * 4, GRID_HEIGHT)
"""The grid of a chart whose place gives it its width: steps along the day, steps in height."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit as drawn: its value, its wrong side, its words, and where on the day it speaks."""

    value: float
    side: Side
    words: str
    spans: tuple[tuple[float, float], ...]
    grave: bool


@dataclass(frozen=True, slots=True)
class Mark:
    """An alarm on the chart: from where to where on the day, and its words."""

    start: float
    end: float
    words: str


@dataclass(frozen=True, slots=True)
class Frame:
    """What all charts of one day share: dark hours, hours written below, and now, if inside."""

    dark: tuple[tuple[float, float], ...]
    hours: tuple[tuple[float, str], ...]
    now: float | None
    now_words: str


def chart(
    values: NDArray[np.float64],
    before: NDArray[np.float64] | None,
    *,
    bounds: Sequence[Bound],
    marks: Sequence[Mark],
    frame: Frame,
    least_span: float,
    title: str,
    describes: str,
    band: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
    held: Sequence[float] = (),
    grid: tuple[int, int] = STRETCHED,
) -> Markup:
    """Return the picture; `values` and `before` run over the minutes of the day, NaN for gaps.

    `band` is what is likely on both sides of `values`; `held` are values that must be in the
    picture. Where lines thicken with their grid, a `grid` of the plot's own shape keeps them even.
    """
    drawn = [values, *(() if before is None else (before,)), *(band or ())]
    in_picture = [*(bound.value for bound in bounds), *held]
    domain = domain_of(np.concatenate(drawn), in_picture, least_span)
    layers: list[Markup] = [
        element("rect", x=share(a), width=share(b - a), y=TOP, height=PLOT, class_="dark")
        for a, b in frame.dark
    ]
    if band is not None:
        layers.append(on_grid(grid, element("path", d=_area(*band, domain, grid), class_="band")))
    layers += [rule(value, domain) for value in domain.ruled]
    for bound in bounds:
        layers += bound_area(bound, domain)
    lines: list[Markup] = []
    if before is not None:
        ghost = _line(before, domain, COLUMNS // 2, grid)
        lines.append(element("path", d=ghost, class_="ghost"))
    lines.append(element("path", d=_line(values, domain, COLUMNS, grid), class_="record"))
    layers.append(on_grid(grid, *lines))
    layers += ticks(domain)
    layers += [bound_words(bound, domain) for bound in bounds if bound.spans]
    layers += alarm_marks(marks)
    layers += hours_below(frame)
    return drawing(title, describes, *layers, class_="chart", height=HEIGHT)


def on_grid(grid: tuple[int, int], *inside: Markup) -> Markup:
    """Return what is drawn on the plot's own grid, stretched to its place."""
    return element(
        "svg",
        stretched(*inside, width=grid[0], height=grid[1]),
        x="0",
        y=TOP,
        width="100%",
        height=PLOT,
    )


def _y(value: float, domain: Domain) -> float:
    return TOP + domain.height_of(value) * PLOT


def _line(values: NDArray[np.float64], domain: Domain, columns: int, grid: tuple[int, int]) -> str:
    width, height = grid
    runs = [
        [(place * width, domain.height_of(value) * height) for place, value in run]
        for run in extremes(values, columns)
    ]
    return line_path(runs)


def _area(
    low: NDArray[np.float64], high: NDArray[np.float64], domain: Domain, grid: tuple[int, int]
) -> str:
    lowest, highest = spread_by_column(low, high, BAND_COLUMNS)
    step = grid[0] / lowest.size
    shapes: list[list[tuple[float, float]]] = []
    for start, end in runs_of(np.isfinite(lowest) & np.isfinite(highest)):
        columns = range(start, end)
        over = [((i + 0.5) * step, domain.height_of(highest[i]) * grid[1]) for i in columns]
        under = [((i + 0.5) * step, domain.height_of(lowest[i]) * grid[1]) for i in columns]
        shapes.append([*over, *reversed(under)])
    return area_path(shapes)


def rule(value: float, domain: Domain) -> Markup:
    """Return the line across the plot at a ruled value."""
    y = _y(value, domain)
    return element("line", x1="0", x2="100%", y1=y, y2=y, class_="rule")


def ticks(domain: Domain) -> list[Markup]:
    """Return the figures of the ruled values, to be drawn over all that is filled."""
    drawn: list[Markup] = []
    whole = all(value == round(value) for value in domain.ruled)
    decimals = 0 if whole else 1
    for value in domain.ruled:
        y = _y(value, domain)
        text = f"{value:.{decimals}f}"
        drawn.append(element("text", text, x="4", y=y - 3, class_="tick"))
    return drawn


def bound_area(bound: Bound, domain: Domain) -> list[Markup]:
    """Return a limit's line and what lies beyond it, where on the span it speaks."""
    y = _y(bound.value, domain)
    top, bottom = (TOP, y) if bound.side is Side.HIGH else (y, float(TOP + PLOT))
    name = "grave" if bound.grave else "light"
    drawn: list[Markup] = []
    for start, end in bound.spans:
        a, width = share(start), share(end - start)
        drawn.append(
            element(
                "rect",
                x=a,
                width=width,
                y=top,
                height=bottom - top,
                fill=None if bound.grave else "url(#hatch-thick)",
                class_=f"out out-{name}",
            )
        )
        drawn.append(element("line", x1=a, x2=share(end), y1=y, y2=y, class_=f"bound bound-{name}"))
    return drawn


def bound_words(bound: Bound, domain: Domain) -> Markup:
    """Return a limit's words, inside it, at the end of its last stretch."""
    y = _y(bound.value, domain)
    inside = y + 12 if bound.side is Side.HIGH else y - 4
    at = share(min(max(end for _, end in bound.spans), 0.995))
    return element("text", bound.words, x=at, y=inside, text_anchor="end", class_="bound-words")


def alarm_marks(marks: Sequence[Mark]) -> list[Markup]:
    """Return a mark where each alarm began and a bar as long as it was true, over the plot."""
    return [
        element(
            "g",
            element("title", mark.words),
            element(
                "rect",
                x=share(mark.start),
                width=share(max(mark.end - mark.start, 0.004)),
                y=TOP - 6,
                height=5,
                class_="alarm-bar",
            ),
            element(
                "svg",
                element("path", d="M-5 0h10l-5 9z", class_="alarm-mark"),
                x=share(mark.start),
                y=TOP - 8,
                class_="afloat",
            ),
        )
        for mark in marks
    ]


def hours_below(frame: Frame) -> list[Markup]:
    """Return the times written below the plot, and the line of now."""
    drawn: list[Markup] = []
    for place, words in frame.hours:
        anchor = "start" if place < 0.02 else "end" if place > 0.98 else "middle"
        at = share(place)
        drawn.append(
            element("line", x1=at, x2=at, y1=HEIGHT - BOTTOM, y2=HEIGHT - BOTTOM + 4, class_="rule")
        )
        drawn.append(element("text", words, x=at, y=HEIGHT - 4, text_anchor=anchor, class_="hour"))
    if frame.now is not None:
        at = share(frame.now)
        drawn.append(element("line", x1=at, x2=at, y1=TOP, y2=HEIGHT - BOTTOM, class_="now-line"))
        anchor = "start" if frame.now < 0.9 else "end"
        drawn.append(
            element(
                "text",
                frame.now_words,
                x=share(frame.now),
                dx=3 if anchor == "start" else -3,
                y=TOP + 10,
                text_anchor=anchor,
                class_="now-words",
            )
        )
    return drawn
