"""A house seen from above, to scale: benches, what stands on them, and where sensors are.

Drawn in the house's own metres, north above. Each batch is a cell of its bench with its code, and
its standing as a pattern; a bench too full for codes is one cell that leads to the list.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from api.drawing.svg import element

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

UNIT = 100.0
"""Of the drawing, for each metre of the house."""

LETTERS_WIDE = 0.62
"""Of a letter's height: what a letter takes in width, generously."""

FILLS = {"drifting": "url(#hatch-thin)", "strained": "url(#hatch-thick)"}


@dataclass(frozen=True, slots=True)
class OnPlan:
    """A batch on a bench: its code, its standing, and what a reader of the screen is told."""

    code: str
    standing: str
    says: str
    has_sensor: bool


@dataclass(frozen=True, slots=True)
class BenchShape:
    """A bench on the plan, in metres from the house's south-west corner.

    `sun` is true where direct sun can reach it this hour, None where that is not known.
    """

    id: str
    title: str
    x_m: float
    y_m: float
    length_m: float
    width_m: float
    batches: tuple[OnPlan, ...]
    has_sensor: bool
    sun: bool | None


def house_plan(
    title: str, describes: str, *, length_m: float, width_m: float, benches: Sequence[BenchShape]
) -> Markup:
    """Return the plan; `title` names it and `describes` says in words what it shows."""
    letter = max(length_m * UNIT * 0.031, 20.0)
    shapes = [
        element(
            "rect",
            class_="house-wall",
            x=0,
            y=0,
            width=length_m * UNIT,
            height=width_m * UNIT,
        )
    ]
    inside = length_m * UNIT, width_m * UNIT
    shapes += [part for bench in benches for part in _bench(bench, inside, letter)]
    return element(
        "svg",
        element("title", title),
        *shapes,
        class_="house-plan",
        view_box=f"-8 -8 {length_m * UNIT + 16:.0f} {width_m * UNIT + 16:.0f}",
        font_size=letter,
        role="group",
        aria_label=describes,
    )


def _bench(bench: BenchShape, inside: tuple[float, float], letter: float) -> Iterator[Markup]:
    """Yield a bench inside a house of so many units' length and width."""
    x = bench.x_m * UNIT
    y = inside[1] - (bench.y_m + bench.width_m) * UNIT
    wide, high = bench.length_m * UNIT, bench.width_m * UNIT
    yield element("rect", class_="bench-top", x=x, y=y, width=wide, height=high)
    mark = {True: " ☀", None: " ?", False: ""}[bench.sun]
    sensor = " ●" if bench.has_sensor else ""
    name = f"{bench.title}{mark}{sensor}"
    ends = x + len(name) * letter * LETTERS_WIDE > inside[0]
    yield element(
        "text",
        name,
        x=x + wide if ends else x,
        y=y - letter * 0.3,
        text_anchor="end" if ends else None,
        class_="bench-name",
    )
    if not bench.batches:
        return
    cell = wide / len(bench.batches)
    longest = max(len(one.code) for one in bench.batches)
    room = cell >= longest * letter * LETTERS_WIDE
    if not room:
        yield from _crowded(bench, x, y, letter=letter)
        return
    for place, one in enumerate(bench.batches):
        yield _cell(one, x + place * cell, y, wide=cell, high=high, letter=letter)


def _cell(one: OnPlan, x: float, y: float, *, wide: float, high: float, letter: float) -> Markup:
    gap = letter * 0.18
    middle = y + high / 2
    parts = [
        element(
            "rect",
            class_=f"on-bench on-{one.standing}",
            x=x + gap,
            y=y + gap,
            width=max(wide - 2 * gap, 1.0),
            height=max(high - 2 * gap, 1.0),
            fill=FILLS.get(one.standing),
        )
    ]
    if one.standing in FILLS:
        # The code stands on a plain ground of its own, so that no line of the pattern crosses it.
        ground = len(one.code) * letter * LETTERS_WIDE
        parts.append(
            element(
                "rect",
                class_="under-code",
                x=x + (wide - ground) / 2,
                y=middle - letter * 0.62,
                width=ground,
                height=letter * 1.24,
            )
        )
    parts.append(
        element(
            "text",
            one.code,
            x=x + wide / 2,
            y=middle + letter * 0.35,
            text_anchor="middle",
            class_=f"code code-{one.standing}",
        )
    )
    if one.has_sensor:
        parts.append(
            element(
                "circle",
                class_="sensor-dot",
                cx=x + wide - gap - letter * 0.4,
                cy=y + gap + letter * 0.4,
                r=letter * 0.2,
            )
        )
    return element("a", *parts, href=f"/bench/{one.code}", aria_label=one.says)


def _crowded(bench: BenchShape, x: float, y: float, *, letter: float) -> Iterator[Markup]:
    wide, high = bench.length_m * UNIT, bench.width_m * UNIT
    cell = wide / len(bench.batches)
    worst = [
        element(
            "rect",
            class_=f"on-bench on-{one.standing}",
            x=x + place * cell,
            y=y,
            width=cell,
            height=high,
            fill=FILLS.get(one.standing),
        )
        for place, one in enumerate(bench.batches)
    ]
    label = f"{bench.title}: {len(bench.batches)}"
    count = element(
        "text",
        f"× {len(bench.batches)}",
        x=x + wide,
        y=y - letter * 0.3,
        text_anchor="end",
        class_="bench-name",
    )
    yield element("a", *worst, count, href=f"#bench-{bench.id}", aria_label=label)
