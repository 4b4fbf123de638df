"""What a message speaks of: the alarm looked up in the site and in the plan that was in force."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.model.plan import plan_of
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from api.records.alarms import AlarmRecord
    from rules.model.batch import Batch, Stage
    from rules.model.dose import DoseLimit
    from rules.model.plan import CarePlan, Limit
    from rules.model.site import Site

BLIND = "blind."


@dataclass(frozen=True, slots=True)
class Subject:
    """An alarm with what the site and the plan say about it.

    `batch` is None once the batch has left the site file. `asked` is the limit or dose limit that
    was broken: None for blindness, and when an edited plan no longer knows it. `blind_to` is the
    quantity that cannot be seen.
    """

    alarm: AlarmRecord
    batch: Batch | None
    stage: Stage | None
    asked: Limit | DoseLimit | None
    blind_to: Felt | None


def batch_of(site: Site, code: str) -> Batch | None:
    """Return the batch of a code, or None when the site file no longer has it."""
    return next((batch for batch in site.batch if batch.code == code), None)


def subject_of(site: Site, plans: Mapping[str, Sequence[CarePlan]], alarm: AlarmRecord) -> Subject:
    """Look up what an alarm is about, as it was when it opened."""
    batch = batch_of(site, alarm.batch)
    stage = None if batch is None else batch.stage_at(alarm.opened_at)
    return Subject(
        alarm=alarm,
        batch=batch,
        stage=stage,
        asked=_asked(plans, batch, stage, alarm),
        blind_to=blind_felt(alarm.condition),
    )


def _asked(
    plans: Mapping[str, Sequence[CarePlan]],
    batch: Batch | None,
    stage: Stage | None,
    alarm: AlarmRecord,
) -> Limit | DoseLimit | None:
    plan = None if batch is None else plan_of(plans, batch.plan, alarm.opened_at)
    if plan is None or stage is None or stage not in plan.stage:
        return None
    needs = plan.stage[stage]
    asked: tuple[Limit | DoseLimit, ...] = (*needs.limit, *needs.dose)
    return next((one for one in asked if one.id == alarm.condition), None)


def blind_felt(condition: str) -> Felt | None:
    """Return the quantity that a condition says can't be seen; None for a limit's."""
    name = condition.removeprefix(BLIND)
    return Felt(name) if name != condition and name in list(Felt) else None
