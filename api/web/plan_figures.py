"""The figures of a care plan beside its limits: drying, the way out, and each graft method's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.measures import Measure
from api.web.words.plans import plan_words
from rules.model.drying import Ranged
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic import BaseModel

    from api.web.telling import Telling
    from rules.model.plan import CarePlan
    from rules.model.release import MethodCare

MINUS = "\N{MINUS SIGN}"
_PER_CENT = Measure("%", 0, 100.0)


@dataclass(frozen=True, slots=True)
class FigureRow:
    """A figure of the care plan: likely, its range, and where it comes from."""

    name: str
    likely: str
    ends: str
    source: str


@dataclass(frozen=True, slots=True)
class MethodSheet:
    """What differs for one graft method, in words. `figures` are by their names."""

    name: str
    says: str
    figures: tuple[tuple[str, str], ...]
    source: str


def figure_row(name: str, figure: Ranged, telling: Telling) -> FigureRow:
    """Return a figure by the name of its field, in the unit that this name carries."""
    measure = measure_of_figure(name, telling)
    low, central, high = (
        plainly(measure.of(value), telling) for value in (figure.low, figure.central, figure.high)
    )
    return FigureRow(
        name=telling.words.figure_names[name],
        likely=f"{central}\N{NO-BREAK SPACE}{measure.unit}",
        ends=telling.words.band(low, f"{high}\N{NO-BREAK SPACE}{measure.unit}"),
        source=figure.source,
    )


def measure_of_figure(name: str, telling: Telling) -> Measure:
    """Return how a figure is written; what a temperature sensor may be off by is a difference."""
    if name.endswith("_error_c"):
        return telling.measure(Felt.LEAF_TEMPERATURE).apart()
    if name.endswith("_share"):
        return _PER_CENT
    units = telling.words.figure_units
    return Measure(units[max((one for one in units if name.endswith(f"_{one}")), key=len)], 0)


def plainly(value: float, telling: Telling) -> str:
    """Return a figure as it was written, with no more places than it needs."""
    return telling.words.number(value, telling.places(value)).replace("-", MINUS)


def drying_rows(drying: BaseModel | None, telling: Telling) -> Iterator[FigureRow]:
    """Yield the figures by which a scion dries, in the plan's order."""
    for name in type(drying).model_fields if drying is not None else ():
        figure = getattr(drying, name)
        if isinstance(figure, Ranged):
            yield figure_row(name, figure, telling)
        elif figure is not None:
            yield from drying_rows(figure, telling)


def release_figures(plan: CarePlan, telling: Telling) -> dict[str, str]:
    """Return the plan's figures of the way out by their names."""
    if plan.release is None:
        return {}
    found: dict[str, str] = {}
    for field, name in plan_words(telling.words.code).release.items():
        value = getattr(plan.release, field)
        if isinstance(value, tuple):
            found[name] = ", ".join(_percent(share, telling) for share in value) or "–"
        elif isinstance(value, float):
            found[name] = _percent(value, telling)
        else:
            found[name] = f"{value}"
    return found


def method_sheets(plan: CarePlan, telling: Telling) -> Iterator[MethodSheet]:
    """Yield what differs by graft method, in the plan's order."""
    language = telling.words.code
    for method, care in plan.method.items():
        yield MethodSheet(
            name=telling.words.capital(telling.words.method[method]),
            says=care.says.in_language(language),
            figures=tuple(_method_figures(care, telling)),
            source=care.source,
        )


def _method_figures(care: MethodCare, telling: Telling) -> Iterator[tuple[str, str]]:
    words, language = plan_words(telling.words.code), telling.words.code
    for field, name in words.method.items():
        yield name, f"{getattr(care, field)}"
    yield words.bud, words.buds[care.bud]
    for step in care.step:
        when = words.step_after_growth if step.after_growth else words.step_after
        yield step.says.in_language(language), when.format(days=step.after_days)
    for check in care.check:
        first, every = check.first_after_days, check.every_days
        said = words.looked_every.format(first=first, days=every)
        yield check.says.in_language(language), said


def _percent(share: float, telling: Telling) -> str:
    return f"{plainly(share * 100, telling)}\N{NO-BREAK SPACE}%"
