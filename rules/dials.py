"""One figure of a limit as a dial: where it stands in the care plans, and plans with it turned."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from pydantic import ValidationError

from rules.model.plan import CarePlan, Limit

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from rules.model.batch import Stage

Plans = dict[str, tuple[CarePlan, ...]]


class Turns(StrEnum):
    """The figures of a limit that can be turned; delays in whole minutes, others in its unit."""

    BOUND = "bound"
    DEADBAND = "deadband"
    ON_DELAY = "on_delay_min"
    OFF_DELAY = "off_delay_min"


DELAYS = frozenset({Turns.ON_DELAY, Turns.OFF_DELAY})


@dataclass(frozen=True, slots=True)
class Dial:
    """A figure of a limit, in one stage or in every one, of one plan or of every one."""

    limit: str
    turns: Turns
    stage: Stage | None = None
    plan: str | None = None

    def __str__(self) -> str:
        places = [self.plan, None if self.stage is None else self.stage.value]
        return "".join(f"{place}/" for place in places if place) + f"{self.limit}.{self.turns}"

    def means(self, plan: str, stage: Stage, limit: str) -> bool:
        """Return whether a limit of a stage of a plan is meant."""
        return (
            limit == self.limit
            and (self.stage is None or self.stage is stage)
            and (self.plan is None or self.plan == plan)
        )


@dataclass(frozen=True, slots=True)
class DialAt:
    """A limit that a dial means, where one version of a plan has it."""

    plan: str
    version: int
    stage: Stage
    limit: Limit

    def figure(self, turns: Turns) -> float:
        """Return what the dial stands at here."""
        return float(getattr(self.limit, turns.value))


def places_of(
    dial: Dial, plans: Mapping[str, Sequence[CarePlan]], *, of: Collection[str]
) -> tuple[DialAt, ...]:
    """Return every limit that a dial means in the plans `of`, all versions, in their order."""
    return tuple(
        DialAt(name, version.version, stage, limit)
        for name, versions in plans.items()
        if name in of
        for version in versions
        for stage, needs in version.stage.items()
        for limit in needs.limit
        if dial.means(name, stage, limit.id)
    )


def turned(plans: Mapping[str, Sequence[CarePlan]], settings: Mapping[Dial, float]) -> Plans:
    """Return the plans with dials turned; ValueError if a limit can't hold such a figure."""
    return {
        name: tuple(_version_turned(version, settings) for version in versions)
        for name, versions in plans.items()
    }


def _version_turned(plan: CarePlan, settings: Mapping[Dial, float]) -> CarePlan:
    stages = {
        stage: needs.model_copy(
            update={
                "limit": tuple(
                    _limit_turned(
                        limit,
                        {
                            dial.turns: value
                            for dial, value in settings.items()
                            if dial.means(plan.id, stage, limit.id)
                        },
                    )
                    for limit in needs.limit
                )
            }
        )
        for stage, needs in plan.stage.items()
    }
    return plan.model_copy(update={"stage": stages})


def _limit_turned(limit: Limit, figures: Mapping[Turns, float]) -> Limit:
    if not figures:
        return limit
    update = {
        turns.value: int(value) if turns in DELAYS and value == int(value) else value
        for turns, value in figures.items()
    }
    try:
        return Limit.model_validate(limit.model_dump() | update)
    except ValidationError as trouble:
        first = trouble.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        msg = f"{limit.id}.{field}: {first['msg'].lower()}"
        raise ValueError(msg) from trouble
