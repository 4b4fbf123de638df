"""The chart of one quantity over any span: its line or band, gaps, limits as they were, events.

Places along time are shares of the span. The same drawing stands on a page, where it is stretched
to its place, and in a picture of fixed size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.charts import (
    HEIGHT,
    PLOT,
    STRETCHED,
    TOP,
    alarm_marks,
    bound_area,
    hours_below,
    on_grid,
    rule,
    ticks,
)
from api.drawing.scale import domain_of
from api.drawing.svg import area_path, drawing, element, line_path, share
from rules.model.plan import Side

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup

    from api.drawing.charts import Bound, Frame, Mark
    from api.drawing.scale import Domain

NEAREST_WORDS = 0.2
"""Words on events nearer to each other than this share of the span would lie on each other."""

WORDS_PX = 13
PAST_FIGURES = 34
NARROW = 0.01
"""A gap of a smaller share of the span has no room for two lines."""


@dataclass(frozen=True, slots=True)
class Point:
    """A value at a place along the span, with its extremes; the same where it has none."""

    place: float
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Happened:
    """Something that changed at a place along the span, in words."""

    place: float
    words: str


@dataclass(frozen=True, slots=True)
class Around:
    """What stands round the line. `open_cover` are the spans in which a cover was off.

    `stages` are changes worth a line across the plot, `seen` what people saw or did.
    """

    gaps: Sequence[tuple[float, float]]
    bounds: Sequence[Bound]
    alarms: Sequence[Mark]
    stages: Sequence[Happened]
    open_cover: Sequence[tuple[float, float]]
    open_words: str
    seen: Sequence[Happened]


def span_chart(
    runs: Sequence[Sequence[Point]],
    around: Around,
    frame: Frame,
    *,
    least_span: float,
    title: str,
    describes: str,
    held: Sequence[float] = (),
    grid: tuple[int, int] = STRETCHED,
) -> Markup:
    """Return the picture; nothing is drawn between two runs.

    `held` are values that must be in the picture.
    """
    points = [point for run in runs for point in run]
    every = np.array([(point.low, point.high) for point in points], dtype=np.float64)
    inside = [*(bound.value for bound in around.bounds), *held]
    domain = domain_of(every.reshape(-1), inside, least_span)
    layers: list[Markup] = [_block(a, b, "dark") for a, b in frame.dark]
    layers += _gaps(around.gaps)
    layers += [rule(value, domain) for value in domain.ruled]
    for bound in around.bounds:
        layers += bound_area(bound, domain)
    layers.append(on_grid(grid, *_lines(runs, domain, grid)))
    layers += ticks(domain)
    layers += _bound_words(around.bounds, domain)
    layers += _open_cover(around)
    layers += alarm_marks(around.alarms)
    layers += _stages(around.stages)
    layers += [_seen(one) for one in around.seen]
    layers += hours_below(frame)
    return drawing(title, describes, *layers, class_="chart", height=HEIGHT)


def _lines(runs: Sequence[Sequence[Point]], domain: Domain, grid: tuple[int, int]) -> list[Markup]:
    width, height = grid

    def at(place: float, value: float) -> tuple[float, float]:
        return place * width, domain.height_of(value) * height

    drawn: list[Markup] = []
    banded = [run for run in runs if any(one.low != one.high for one in run)]
    if banded:
        shapes = [
            [
                *(at(one.place, one.high) for one in run),
                *(at(one.place, one.low) for one in reversed(run)),
            ]
            for run in banded
        ]
        drawn.append(element("path", d=area_path(shapes), class_="extent"))
    line = [[at(one.place, one.value) for one in run] for run in runs]
    drawn.append(element("path", d=line_path(line), class_="record"))
    return drawn


def _block(start: float, end: float, name: str) -> Markup:
    return element(
        "rect", x=share(start), width=share(end - start), y=TOP, height=PLOT, class_=name
    )


def _gaps(gaps: Sequence[tuple[float, float]]) -> list[Markup]:
    """Return dotted lines at both ends of each gap; one short line where they would meet."""
    drawn: list[Markup] = []
    floor = TOP + PLOT
    for start, end in gaps:
        wide = end - start > NARROW
        if wide:
            drawn.append(_block(start, end, "gap"))
        drawn += [
            element(
                "line",
                x1=share(x),
                x2=share(x),
                y1=TOP if wide else floor - 14,
                y2=floor,
                class_="gap-end",
            )
            for x in ((start, end) if wide else ((start + end) / 2,))
        ]
    return drawn


def _bound_words(bounds: Sequence[Bound], domain: Domain) -> list[Markup]:
    """Return the words of each limit at the end of its last stretch, none on another's."""
    drawn: list[Markup] = []
    taken: list[tuple[float, float]] = []
    for bound in bounds:
        if not bound.spans:
            continue
        end = min(max(last for _, last in bound.spans), 0.995)
        short = end < 0.5
        place = max(start for start, _ in bound.spans) if short else end
        line = TOP + domain.height_of(bound.value) * PLOT
        over, under = line - 4, line + 12
        choices = (under, over) if bound.side is Side.HIGH else (over, under)
        free = [
            y
            for y in choices
            if all(abs(y - other) >= WORDS_PX or abs(place - at) > 0.5 for at, other in taken)
        ]
        y = free[0] if free else choices[0]
        taken.append((place, y))
        drawn.append(
            element(
                "text",
                bound.words,
                x=share(place),
                y=y,
                dx=PAST_FIGURES if short and place < NEAREST_WORDS / 4 else None,
                text_anchor="start" if short else "end",
                class_="bound-words",
            )
        )
    return drawn


def _open_cover(around: Around) -> list[Markup]:
    drawn: list[Markup] = []
    floor = TOP + PLOT
    for start, end in around.open_cover:
        drawn.append(
            element(
                "rect",
                x=share(start),
                width=share(end - start),
                y=floor - 4,
                height=4,
                class_="open-cover",
            )
        )
        anchor = "start" if start < 0.7 else "end"
        place = start if anchor == "start" else end
        drawn.append(
            element(
                "text",
                around.open_words,
                x=share(place),
                dx=3 if anchor == "start" else -3,
                y=floor - 7,
                text_anchor=anchor,
                class_="open-words",
            )
        )
    return drawn


def _stages(stages: Sequence[Happened]) -> list[Markup]:
    drawn: list[Markup] = []
    last = -1.0
    for one in stages:
        at = share(one.place)
        drawn.append(element("line", x1=at, x2=at, y1=TOP - 4, y2=TOP + PLOT, class_="stage-line"))
        if one.place - last >= NEAREST_WORDS:
            late = one.place > 0.8
            drawn.append(
                element(
                    "text",
                    one.words,
                    x=at,
                    dx=-3 if late else 3,
                    y=TOP - 5,
                    text_anchor="end" if late else "start",
                    class_="stage-words",
                )
            )
            last = one.place
    return drawn


def _seen(one: Happened) -> Markup:
    """Return a mark on the floor of the plot; its words are in the list below it, too."""
    mark = element("path", d="M0 -9l4 4.5l-4 4.5l-4 -4.5z", class_="seen-mark")
    return element(
        "svg",
        element("title", one.words),
        mark,
        x=share(one.place),
        y=TOP + PLOT,
        overflow="visible",
        class_="afloat",
    )
