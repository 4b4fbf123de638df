"""What a new version of a care plan changes, field by field, and which batches it meets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.trail import Difference
from rules.model.batch import ENDED
from rules.model.quantities import Felt
from rules.watchlist import BLIND

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from rules.model.batch import Batch, Stage
    from rules.model.dose import DoseLimit
    from rules.model.plan import CarePlan, Limit, StagePlan
    from rules.model.site import Site

NUMBERING = frozenset({"version", "in_force_from"})
IN_EVERY_STAGE = frozenset({"release", "drying"})
"""Parts of a plan that speak to a batch whatever its stage."""


@dataclass(frozen=True, slots=True)
class Touched:
    """A batch of the plan, and the stage it is in when the version begins.

    `at_once`: something that counts for it then is changed; else only once it comes to a stage
    that is.
    """

    code: str
    stage: Stage | None
    at_once: bool


def plan_differences(was: CarePlan, now: CarePlan) -> tuple[Difference, ...]:
    """Return every field in which two versions differ, with the values exactly as they are.

    Entries of a list go by their id. What is new or gone as a whole is one difference.
    """
    old, new = was.model_dump(mode="json"), now.model_dump(mode="json")
    kept = [name for name in new if name not in NUMBERING]
    return tuple(one for name in kept for one in _differences(old[name], new[name], at=name))


def _differences(was: object, now: object, *, at: str) -> Iterator[Difference]:
    if was == now:
        return
    if isinstance(was, dict) and isinstance(now, dict):
        for name in dict.fromkeys((*now, *was)):
            yield from _differences(was.get(name), now.get(name), at=f"{at}.{name}")
        return
    old, new = _by_id(was), _by_id(now)
    if old is None or new is None:
        yield Difference(at, was, now)
        return
    if old.keys() == new.keys() and list(old) != list(new):
        yield Difference(at, list(old), list(new))
    for name in dict.fromkeys((*new, *old)):
        yield from _differences(old.get(name), new.get(name), at=f"{at}[{name}]")


def _by_id(entries: object) -> Mapping[str, object] | None:
    """Return the entries of a list by their id; None for what is no such list."""
    if not isinstance(entries, list) or not all(
        isinstance(one, dict) and "id" in one for one in entries
    ):
        return None
    return {str(one["id"]): one for one in entries}


def touched(site: Site, was: CarePlan, now: CarePlan, *, begins: datetime) -> tuple[Touched, ...]:
    """Return the batches that follow the plan and have not ended, in the site's order."""
    stages = {one for one in (*was.stage, *now.stage) if was.stage.get(one) != now.stage.get(one)}
    everywhere = any(getattr(was, name) != getattr(now, name) for name in IN_EVERY_STAGE)
    return tuple(
        Touched(
            batch.code,
            stage := batch.stage_at(begins),
            everywhere or stage in stages or _by_method(batch, was, now),
        )
        for batch in site.batch
        if batch.plan == now.id and batch.stage_at(begins) not in ENDED
    )


def starts_afresh(was: CarePlan, now: CarePlan, stage: Stage | None) -> frozenset[str]:
    """Return the names of the conditions of a stage that do not go on into the new version.

    What is open of them ends in that minute, and rings again once its delay is over.
    """
    old, new = (_judged_by(plan.stage.get(stage) if stage else None) for plan in (was, now))
    return frozenset(name for name, figures in old.items() if new.get(name) != figures)


def _judged_by(plan: StagePlan | None) -> dict[str, object]:
    """Return the figures of each condition of a stage by its name."""
    if plan is None:
        return {}
    asked: tuple[Limit | DoseLimit, ...] = (*plan.limit, *plan.dose)
    blind = (plan.blind_after_min, plan.vital)
    return {
        **{one.id: one.model_dump(exclude={"says", "action", "latch"}) for one in asked},
        **{f"{BLIND}{felt}": blind for felt in (plan.vital or Felt)},
    }


def _by_method(batch: Batch, was: CarePlan, now: CarePlan) -> bool:
    return was.method.get(batch.method) != now.method.get(batch.method)
