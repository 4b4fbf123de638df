"""In what two versions of a care plan differ, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.web.drying_figures import measure_of_figure, plainly
from api.web.words.plans import plan_words
from rules.model.dose import DoseLimit
from rules.model.drying import Ranged
from rules.model.plan import Limit

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pydantic import BaseModel

    from api.web.telling import Telling
    from rules.model.plan import CarePlan, StagePlan

PARTED = "; "
"""Stands between what a limit asks for, how urgent it is, and its delays."""


def changes_between(earlier: CarePlan, later: CarePlan, telling: Telling) -> Iterator[str]:
    """Yield one line for each thing that a person would notice, stage by stage."""
    names = telling.words.stage_names
    for stage in dict.fromkeys((*later.stage, *earlier.stage)):
        was, now = earlier.stage.get(stage), later.stage.get(stage)
        for line in _in_stage(was, now, telling):
            yield f"{telling.words.capital(names[stage])}: {line}"
    words = plan_words(telling.words.code)
    if earlier.release is not None or later.release is not None:
        was_out, now_out = release_figures(earlier, telling), release_figures(later, telling)
        for name, line in _differing(was_out, now_out, telling):
            yield f"{words.way_out}, {name}: {line}"
    for name, line in _differing(
        drying_figures(earlier, telling), drying_figures(later, telling), telling
    ):
        yield f"{words.drying}, {name}: {line}"


def release_figures(plan: CarePlan, telling: Telling) -> dict[str, str]:
    """Return the plan's figures of the way out by their names."""
    if plan.release is None:
        return {}
    found: dict[str, str] = {}
    for field, name in plan_words(telling.words.code).release.items():
        value = getattr(plan.release, field)
        if isinstance(value, tuple):
            found[name] = ", ".join(f"{share * 100:g} %" for share in value) or "–"
        elif isinstance(value, float):
            found[name] = f"{value * 100:g} %"
        else:
            found[name] = f"{value}"
    return found


def drying_figures(plan: CarePlan, telling: Telling) -> dict[str, str]:
    """Return the plan's figures of drying by their names, each with its range."""
    return {} if plan.drying is None else dict(_ranged(plan.drying, telling))


def _ranged(drying: BaseModel, telling: Telling) -> Iterator[tuple[str, str]]:
    words = telling.words
    for field in type(drying).model_fields:
        value = getattr(drying, field)
        if isinstance(value, Ranged):
            measure = measure_of_figure(field, telling)
            likely, low, high = (
                plainly(measure.of(one), telling) for one in (value.central, value.low, value.high)
            )
            yield words.figure_names[field], f"{likely} ({low}–{high}) {measure.unit}"
        elif value is not None and hasattr(type(value), "model_fields"):
            yield from _ranged(value, telling)


def asked_in_words(asked: Limit | DoseLimit, telling: Telling) -> str:
    """Return what a limit asks for, of what, and when it speaks."""
    words = plan_words(telling.words.code)
    what = telling.words.felt[asked.quantity]
    if isinstance(asked, DoseLimit):
        what = telling.summed(asked)
    said = [f"{what} {telling.need(asked)}", telling.words.priority[asked.priority]]
    if isinstance(asked, Limit):
        said.append(words.delays.format(on=asked.on_delay_min, off=asked.off_delay_min))
        if asked.deadband:
            amount = telling.apart(asked.quantity, asked.deadband)
            said[-1] += " " + words.back_by.format(amount=amount)
    return PARTED.join(said)


def _in_stage(was: StagePlan | None, now: StagePlan | None, telling: Telling) -> Iterator[str]:
    before, after = _asked(was, telling), _asked(now, telling)
    for name, line in _differing(before, after, telling):
        if name in before and name in after:
            yield _only_what_differs(before[name], after[name], telling)
        else:
            yield line


def _only_what_differs(was: str, now: str, telling: Telling) -> str:
    """Return what of a limit's words became what; its name stays before figures that follow it."""
    old, new = was.split(PARTED), now.split(PARTED)
    if len(old) != len(new):
        return plan_words(telling.words.code).became.format(was=was, now=now)
    became = plan_words(telling.words.code).became
    said = [became.format(was=a, now=b) for a, b in zip(old, new, strict=True) if a != b]
    return PARTED.join(said if old[0] != new[0] else [new[0], *said])


def _asked(plan: StagePlan | None, telling: Telling) -> dict[str, str]:
    """Return everything a stage asks for in words, by its name in the plan."""
    if plan is None:
        return {}
    words = plan_words(telling.words.code)
    asked: tuple[Limit | DoseLimit, ...] = (*plan.limit, *plan.dose)
    found = {one.id: asked_in_words(one, telling) for one in asked}
    for check in plan.check:
        says = check.says.in_language(telling.words.code)
        found[f"check {check.id}"] = words.every.format(days=check.every_days, says=says)
    found["vital"] = vital_words(plan, telling)
    return found


def vital_words(plan: StagePlan, telling: Telling) -> str:
    """Return what must be seen in a stage."""
    words = plan_words(telling.words.code)
    names = ", ".join(telling.words.felt[felt] for felt in plan.vital) or words.vital_all
    return words.vital.format(names=names, minutes=plan.blind_after_min)


def _differing(
    was: Mapping[str, str], now: Mapping[str, str], telling: Telling
) -> Iterator[tuple[str, str]]:
    words = plan_words(telling.words.code)
    for name in dict.fromkeys((*now, *was)):
        before, after = was.get(name), now.get(name)
        if before is None:
            yield name, words.new.format(now=after)
        elif after is None:
            yield name, words.gone.format(was=before)
        elif before != after:
            yield name, words.became.format(was=before, now=after)
