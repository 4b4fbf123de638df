"""How the figures of a drying plan are written: the unit that a name ends in, as people read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.measures import Measure
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from api.web.telling import Telling

MINUS = "\N{MINUS SIGN}"
_PER_CENT = Measure("%", 0, 100.0)


def measure_of_figure(name: str, telling: Telling) -> Measure:
    """Return how a figure is written; what a temperature sensor may be off by is a difference."""
    if name.endswith("_error_c"):
        return telling.measure(Felt.LEAF_TEMPERATURE).apart()
    if name.endswith("_share"):
        return _PER_CENT
    units = telling.words.figure_units
    return Measure(units[max((one for one in units if name.endswith(f"_{one}")), key=len)], 0)


def plainly(value: float, telling: Telling) -> str:
    """Return a figure with no more places than it needs."""
    text = f"{value:.4g}"
    places = len(text.partition(".")[2]) if "e" not in text else 6
    return telling.words.number(value, places).replace("-", MINUS)
