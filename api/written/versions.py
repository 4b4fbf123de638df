"""Files that hold versions of the same care plan: each in force from another moment."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from api.written.toml_text import ENTERED
from rules.model.plan import in_order_of_force

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from api.written.toml_text import TomlText
    from rules.model.fault import Fault
    from rules.model.plan import CarePlan


def overtaken(files: Sequence[tuple[TomlText, CarePlan | None]]) -> frozenset[int]:
    """Return the numbers of versions that never count: another was entered before they began.

    That one has a higher number and begins no later, so nothing was ever judged by them.
    """
    whole = [(text, plan) for text, plan in files if plan is not None]
    newer = [plan for text, plan in whole if text.file == ENTERED]
    return frozenset(
        plan.version
        for _, plan in whole
        if any(
            one.version > plan.version and in_order_of_force([one, plan])[0] is one for one in newer
        )
    )


def versions_that_clash(
    files: Sequence[tuple[TomlText, CarePlan | None]], *, never: frozenset[int]
) -> Iterator[Fault]:
    """Yield a fault for every file that can't stand beside another of the same plan.

    `files` are those with one id, each with its plan, None where it has faults of its own; the
    versions in `never` are overtaken, so that their moments say nothing.
    """
    first: dict[int, TomlText] = {}
    for text, _ in files:
        version = text.value(("version",))
        if not isinstance(version, int):
            continue  # told by the model of the plan
        if version in first:
            name = text.value(("id",))
            problem = f'"{name}" is already the id of the plan in {first[version].file}'
            fix = f"Give it another id; a new version of that plan, a higher number than {version}."
            yield text.fault(("id",), problem, fix=fix)
        first.setdefault(version, text)
    whole = [(text, plan) for text, plan in files if plan and plan.version not in never]
    texts = {plan.version: text for text, plan in whole}
    by_version = sorted({plan.version: plan for _, plan in whole}.values(), key=_version)
    for earlier, later in pairwise(by_version):
        text = texts[later.version]
        if in_order_of_force([later, earlier])[0] is later:
            problem = (
                f"version {later.version} must be in force from a later instant than version "
                f"{earlier.version}"
            )
            fix = "Write in_force_from = the instant of the change, as 2026-01-05T17:00:00+10:00."
            yield text.fault(("in_force_from",), problem, fix=fix)
        if (later.scion, set(later.cover)) != (earlier.scion, set(earlier.cover)):
            problem = f"version {earlier.version} was made for another scion or cover"
            fix = "A plan for another kind of batch needs an id of its own."
            yield text.fault(("scion",), problem, fix=fix)


def _version(plan: CarePlan) -> int:
    return plan.version
