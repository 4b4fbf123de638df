"""In what two versions of a care plan differ, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.web.plan_figures import drying_rows, method_sheets, release_figures
from api.web.words.plans import plan_words
from rules.model.dose import DoseLimit
from rules.model.plan import Limit

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

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
    for name, line in _differing(_drying(earlier, telling), _drying(later, telling), telling):
        yield f"{words.drying}, {name}: {line}"
    for name, line in _differing(_methods(earlier, telling), _methods(later, telling), telling):
        yield f"{name}: {line}"
    where_from = words.source.format(source="").rstrip(": ")
    if earlier.source != later.source:
        yield f"{where_from}: {words.became.format(was=earlier.source, now=later.source)}"
    code = telling.words.code
    old, new = earlier.title.in_language(code), later.title.in_language(code)
    if old != new:
        yield f"{words.title}: {words.became.format(was=old, now=new)}"


def _drying(plan: CarePlan, telling: Telling) -> dict[str, str]:
    """Return the figures of drying by their names, each with its range and its source."""
    return {
        row.name: f"{row.likely} ({row.ends}; {row.source})"
        for row in drying_rows(plan.drying, telling)
    }


def _methods(plan: CarePlan, telling: Telling) -> dict[str, str]:
    """Return what differs by graft method, each figure by method and name."""
    return {
        f"{sheet.name}, {name}": said
        for sheet in method_sheets(plan, telling)
        for name, said in sheet.figures
    }


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
            amount = telling.written_apart(asked.quantity, asked.deadband)
            said[-1] += " " + words.back_by.format(amount=amount)
        amount = telling.written_apart(asked.quantity, asked.full_margin)
        said.append(words.comfortable.format(amount=amount))
    said.append(words.waits if asked.latches else words.ends_alone)
    return PARTED.join(said)


def _in_stage(was: StagePlan | None, now: StagePlan | None, telling: Telling) -> Iterator[str]:
    before, after = _asked(was, telling), _asked(now, telling)
    for name, line in _differing(before, after, telling):
        if name in before and name in after:
            yield _only_what_differs(before[name], after[name], telling)
        else:
            yield line
    yield from _texts(was, now, telling)


def _texts(was: StagePlan | None, now: StagePlan | None, telling: Telling) -> Iterator[str]:
    """Yield what limits that stay say, and say to do, in other words than before."""
    words = plan_words(telling.words.code)
    before = {one.id: one for one in _limits(was)}
    for one in _limits(now):
        old = before.get(one.id)
        if old is None:
            continue
        name = asked_in_words(one, telling).split(PARTED)[0]
        for say in (telling.says, telling.action):
            if say(old) != say(one):
                became = words.became.format(was=f"“{say(old)}”", now=f"“{say(one)}”")
                yield f"{name}{PARTED}{became}"


def _limits(plan: StagePlan | None) -> tuple[Limit | DoseLimit, ...]:
    return () if plan is None else (*plan.limit, *plan.dose)


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
    found = {one.id: asked_in_words(one, telling) for one in _limits(plan)}
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
