"""The picture of several ways to judge: which measures are drawn, under which words."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from api.drawing.png import png_of
from api.drawing.trade_chart import STYLE, Measure, Side, trade_chart
from rules.local_time import to_local

if TYPE_CHECKING:
    from api.cli.what_if_told import RowTold, WhatIfTold
    from rules.model.site import Site


def drawn(told: WhatIfTold, site: Site, kind: str) -> bytes:
    """Return the picture of what is told, as ".svg" or ".png"."""
    rows = told["rows"]
    if told["swept"]:
        rows = rows[1:]
        sides = [
            Side(f"{axis['figure']}, {axis['unit']}", tuple(axis["values"]), tuple(axis["own"]))
            for axis in told["swept"]
        ]
        title = " and ".join(axis["figure"] for axis in told["swept"])
    else:
        names = "; ".join(f"{place} {row['way']}" for place, row in enumerate(rows))
        sides = [Side(names, tuple(float(place) for place in range(len(rows))), (0.0,))]
        title = "Judged in several ways"
    picture = trade_chart(title, _lines(told, site), sides, _measures(told, rows))
    if kind == ".png":
        return png_of(picture, style=STYLE)
    return str(picture).encode()


def _lines(told: WhatIfTold, site: Site) -> list[str]:
    first, end = (
        f"{to_local(datetime.fromisoformat(at), site.site):%Y-%m-%d %H:%M}"
        for at in (told["start"], told["end"])
    )
    danger = told["rows"][0]["danger_min"]
    return [
        f"{first} to {end}: {told['nights']} whole nights, {len(told['batches'])} batches, "
        f"{len(told['losses'])} losses, "
        f"{danger} minutes in danger by the plan as it stands",
        "The broken line, or the thick frame, is the plan as it stands. Nothing is recommended.",
    ]


def _measures(told: WhatIfTold, rows: list[RowTold]) -> list[Measure]:
    within = f"{told['within_h']:g} h"
    none = "not known"
    return [
        Measure(
            "calls a night", tuple(row["per_night"] for row in rows), "no whole night to count in"
        ),
        Measure("calls a day (24 h)", tuple(row["per_day"] for row in rows), none),
        Measure("minutes beyond it", tuple(float(row["beyond_min"]) for row in rows), none),
        Measure(
            "minutes in danger, not said (plan as it stands)",
            tuple(float(row["danger_unsaid_min"]) for row in rows),
            none,
        ),
        Measure(
            "lead before a loss, minutes",
            tuple(row["median_lead_min"] for row in rows),
            "too few losses to tell lead time",
        ),
        Measure(
            f"false calls (no loss within {within})",
            tuple(float(row["false_calls"]) for row in rows),
            none,
        ),
    ]
