"""The margin ribbon: one batch along one day, as high as its smallest margin to any limit.

Above the line the batch is inside its limits, at the line on one, below it beyond. Blind hours
are an empty gap with dotted ends. Under the ribbon runs its standing, each with its own pattern.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.scale import runs_of, worst_by_column
from api.drawing.svg import drawing, element, line_path, share, stretched
from rules.model.event import Standing
from rules.standing import BY_SEVERITY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup
    from numpy.typing import NDArray

    from rules.evaluator import BatchRecord

COLUMNS = 288
LINE = 30
DEPTH = 12
STRIP_TOP = 46
HEIGHT = 54

PATTERN = {
    Standing.DRIFTING: "thin",
    Standing.STRAINED: "thick",
    Standing.IN_DANGER: "solid",
    Standing.BLIND: "dots",
}


@dataclass(frozen=True, slots=True)
class RibbonRecord:
    """What a ribbon is drawn from; arrays run over the minutes of the day.

    `margin` is the smallest margin as a share of comfort: 1.0 or more is wholly comfortable, 0.0
    on a limit, below beyond; NaN where nothing could be seen. `standing` holds places in
    BY_SEVERITY, -1 where nothing was judged (not yet, or no limits). `judged_until` is the
    share of the day that has been judged.
    """

    margin: NDArray[np.float64]
    standing: NDArray[np.int8]
    judged_until: float


def ribbon(
    record: RibbonRecord,
    before: NDArray[np.float64] | None,
    *,
    dark: Sequence[tuple[float, float]],
    title: str,
    describes: str,
) -> Markup:
    """Return the picture; `before` is the margin of the day before, drawn faintly, if known."""
    worst, _ = worst_by_column(record.margin, COLUMNS)
    layers: list[Markup] = [
        element("rect", x=share(a), width=share(b - a), y=0, height=LINE + DEPTH, class_="dark")
        for a, b in dark
    ]
    layers.append(_blind_gaps(record))
    grid: list[Markup] = []
    if before is not None:
        ghost, _ = worst_by_column(before, COLUMNS)
        grid.append(element("path", d=line_path(_outline(ghost)), class_="ghost"))
    grid.append(element("path", d=_area(np.maximum(worst, 0.0)), class_="margin"))
    grid.append(element("path", d=_area(np.minimum(worst, 0.0)), class_="beyond"))
    layers.append(stretched(*grid, width=COLUMNS, height=HEIGHT))
    layers.append(element("line", x1=0, x2="100%", y1=LINE, y2=LINE, class_="limit-line"))
    layers.append(_strip(record))
    if 0.0 < record.judged_until < 1.0:
        at = share(record.judged_until)
        layers.append(element("line", x1=at, x2=at, y1=0, y2=HEIGHT, class_="now-line"))
    return drawing(title, describes, *layers, class_="ribbon", height=HEIGHT)


def seen_margin(record: BatchRecord) -> NDArray[np.float64]:
    """Return the margin, missing where the batch was blind: light alone never makes it steady.

    What is known to be beyond a limit stays.
    """
    blind = record.standing == BY_SEVERITY.index(Standing.BLIND)
    return np.where(blind & (record.margin >= 0), np.nan, record.margin)


def height_of(margin: float) -> int:
    """Return how far above the line (positive) or below it (negative) a margin is drawn.

    >>> height_of(2.0), height_of(0.5), height_of(0.0), height_of(-0.5), height_of(-9.0)
    (28, 14, 0, -6, -12)
    """
    if margin >= 0:
        return round(min(margin, 1.0) * (LINE - 2))
    return min(-1, round(max(margin, -1.0) * DEPTH))


def _area(worst: NDArray[np.float64]) -> str:
    said: list[str] = []
    for start, end in runs_of(np.isfinite(worst)):
        said.append(f"M{start} {LINE}")
        level = 0
        for column in range(start, end):
            height = height_of(float(worst[column]))
            if height != level:
                said.append(f"v{level - height}")
                level = height
            said.append("h1")
        said.append(f"V{LINE}z")
    return _merged(said)


def _merged(commands: list[str]) -> str:
    """Join steps to the right into one, so that a quiet night is a short text."""
    said: list[str] = []
    steps = 0
    for command in [*commands, ""]:
        if command == "h1":
            steps += 1
            continue
        if steps:
            said.append(f"h{steps}")
            steps = 0
        said.append(command)
    return "".join(said)


def _outline(worst: NDArray[np.float64]) -> list[list[tuple[float, float]]]:
    runs: list[list[tuple[float, float]]] = []
    for start, end in runs_of(np.isfinite(worst)):
        run: list[tuple[float, float]] = []
        for column in range(start, end):
            place = (column + 0.5, float(LINE - height_of(float(worst[column]))))
            if len(run) > 1 and run[-1][1] == place[1] == run[-2][1]:
                run[-1] = place
            else:
                run.append(place)
        runs.append(run)
    return runs


def _blind_gaps(record: RibbonRecord) -> Markup:
    ends: list[Markup] = []
    count = record.margin.size
    until = round(record.judged_until * count)
    blind = np.isnan(record.margin)
    blind &= record.standing >= 0
    blind[until:] = False
    for start, end in runs_of(blind):
        a, b = start / count, end / count
        ends.append(
            element(
                "rect", x=share(a), width=share(b - a), y=1, height=LINE + DEPTH - 1, class_="gap"
            )
        )
        ends += [
            element("line", x1=share(x), x2=share(x), y1=0, y2=LINE + DEPTH, class_="gap-end")
            for x in (a, b)
        ]
    return element("g", *ends) if ends else element("g")


def _strip(record: RibbonRecord) -> Markup:
    count = record.standing.size
    marks: list[Markup] = []
    for index, standing in enumerate(BY_SEVERITY):
        pattern = PATTERN.get(standing)
        if pattern is None:
            continue
        fill = None if pattern in ("solid", "dots") else f"url(#hatch-{pattern})"
        for start, end in runs_of(record.standing == index):
            a, b = start / count, end / count
            marks.append(
                element(
                    "rect",
                    x=share(a),
                    width=share(b - a),
                    y=STRIP_TOP,
                    height=HEIGHT - STRIP_TOP - 1,
                    fill=fill,
                    class_=f"strip strip-{pattern}",
                )
            )
    return element("g", *marks) if marks else element("g")
