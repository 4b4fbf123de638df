"""A care plan: what one kind of batch needs in each stage, and what to do when it lacks it."""

from __future__ import annotations

from enum import StrEnum
from typing import Self

from pydantic import Field, model_validator

from rules.model.alarm import Priority
from rules.model.batch import Cover, Scion, Stage
from rules.model.place import Slug, Written
from rules.model.quantities import Felt


class Side(StrEnum):
    """Which side of the bound is wrong."""

    LOW = "low"
    HIGH = "high"


class When(StrEnum):
    """The part of the day in which a limit speaks; day is while the sun is up at the site."""

    ALWAYS = "always"
    DAY = "day"
    NIGHT = "night"


class Words(Written):
    """The same sentence in both languages."""

    en: str = Field(min_length=1)
    es: str = Field(min_length=1)

    def in_language(self, language: str) -> str:
        """Return the Spanish sentence for "es", else the English one."""
        return self.es if language == "es" else self.en


class Limit(Written):
    """One bound on what a batch feels.

    A value on the bound is inside. The condition is raised once the value has been beyond the
    bound for `on_delay_min` cells in a row, and ends once it has been back inside by `deadband`
    for `off_delay_min` cells in a row. Missing cells neither count nor break a row. Outside its
    part of the day the limit is silent: such a cell counts as back inside.
    `full_margin` is the distance from the bound, in the unit of the quantity, at which the batch
    is wholly comfortable; the margin ribbon is drawn against it.
    `on_leaf` limits and others judge the quantity named, nothing else.
    """

    id: Slug
    quantity: Felt
    side: Side
    bound: float = Field(allow_inf_nan=False)
    when: When = When.ALWAYS
    deadband: float = Field(ge=0, allow_inf_nan=False)
    on_delay_min: int = Field(ge=0, le=1440)
    off_delay_min: int = Field(ge=0, le=1440)
    full_margin: float = Field(gt=0, allow_inf_nan=False)
    priority: Priority
    says: Words
    action: Words


class StagePlan(Written):
    """The limits of one stage, and the quantities without which the batch cannot be seen.

    `vital` quantities that are missing make the batch blind; `blind_after_min` is how long they
    must be missing before that is an alarm of its own. An empty `vital` takes every quantity that
    a limit speaks of, so that no watched batch can fall silent unseen.
    """

    vital: tuple[Felt, ...]
    blind_after_min: int = Field(default=10, ge=0, le=240)
    limit: tuple[Limit, ...] = ()

    @model_validator(mode="after")
    def _distinct(self) -> Self:
        names = [limit.id for limit in self.limit]
        doubled = sorted({name for name in names if names.count(name) > 1})
        if doubled:
            msg = f"limit: the name {doubled[0]} is used twice; each limit of a stage has its own"
            raise ValueError(msg)
        kept_back = [name for name in names if name.startswith("blind.")]
        if kept_back:
            msg = f"limit: {kept_back[0]}: names that begin with blind. are kept for blindness"
            raise ValueError(msg)
        return self


class CarePlan(Written):
    """What one kind of batch needs. Figures are house rules to be edited, unless a source says so.

    Stages without an entry have no limits; a batch in such a stage is shown as unwatched.
    """

    id: Slug
    version: int = Field(ge=1)
    title: Words
    scion: Scion
    cover: tuple[Cover, ...] = Field(min_length=1)
    source: str
    stage: dict[Stage, StagePlan]
