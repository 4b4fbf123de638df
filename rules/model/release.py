"""What a care plan says about the way out: checks, steps into the open, and each graft method."""

from __future__ import annotations

from enum import StrEnum
from itertools import pairwise
from typing import Annotated, Self

from pydantic import Field, model_validator

from rules.model.batch import WITH_SHARE, Seen
from rules.model.place import Fraction, Slug, Written
from rules.model.words import Words

Days = Annotated[int, Field(ge=0, le=730)]
SomeDays = Annotated[int, Field(ge=1, le=730)]


class Check(Written):
    """Something to look at every so many days while a batch is in a stage.

    First due `first_after_days` after the stage began, then `every_days` after it was last done.
    An observation "checked" that names it answers it; so do those in `answered_by`.
    """

    id: Slug
    every_days: SomeDays
    first_after_days: Days = 0
    answered_by: tuple[Seen, ...] = ()
    says: Words


class Release(Written):
    """How a batch is brought out, from new growth to full sun. Every figure is the plan's own.

    `firm_days` new growth must be steady before the cover is opened, or, without a cover, before
    hardening. The cover then stands open by each of `open_share` in turn, `open_every_days` apart,
    and comes off no sooner than `ease_at_least_days` after it was first opened. `normal_days` of
    ordinary care follow. Then light goes up by at most the share `light_step` of what it was, no
    oftener than every `light_every_days`, until it is that of the open sky.
    Light is counted as a share of open-sky light: what the house's cloth lets through, but not
    less than `least_light_share`. A covered batch never gets more than `covered_light_share`.
    After a droop everything goes one step back, and waits until `droop_hold_days` have passed
    without another. `overdue_after_days`: how late a step may be before that is said.
    `film_on_at_most_days`: after that the film or tape begins to strangle the stem.
    """

    source: str = Field(min_length=1)
    firm_days: Days
    open_share: tuple[Fraction, ...]
    open_every_days: SomeDays
    ease_at_least_days: Days
    normal_days: Days
    light_step: float = Field(ge=0.05, le=1.0)
    light_every_days: SomeDays
    least_light_share: float = Field(ge=0.01, le=1.0)
    covered_light_share: float = Field(ge=0.01, lt=1.0)
    droop_hold_days: SomeDays
    overdue_after_days: Days
    film_on_at_most_days: SomeDays

    @model_validator(mode="after")
    def _rising(self) -> Self:
        shares = (0.0, *self.open_share, 1.0)
        if any(later <= earlier for earlier, later in pairwise(shares)):
            msg = (
                "open_share: each step opens the cover further, between 0 and 1; "
                "write them rising, as in [0.15, 0.4, 0.7]"
            )
            raise ValueError(msg)
        return self


class Bud(StrEnum):
    """What the wrap does with the scion's buds."""

    COVERED = "covered"
    EXPOSED = "exposed"


class MethodStep(Written):
    """Something that one graft method asks for at its time, once, in the order of the list.

    Due `after_days` after grafting, and not before new growth when `after_growth`. An observation
    `seen` records it; with a `share`, one that went that far.
    """

    id: Slug
    after_days: SomeDays
    after_growth: bool
    seen: Seen
    share: Fraction | None = None
    says: Words

    @model_validator(mode="after")
    def _in_parts(self) -> Self:
        if self.share is not None and self.seen not in WITH_SHARE:
            msg = f"share: {self.seen} is not done in parts; leave the share out"
            raise ValueError(msg)
        return self


class MethodCare(Written):
    """What differs for one graft method.

    New growth is looked for from `look_from_days` after grafting; none by `look_until_days` is a
    reason to look at the union. `union_days`: stock and scion are one from then on; before, no
    wrap comes off and light is not raised.
    """

    source: str = Field(min_length=1)
    look_from_days: SomeDays
    look_until_days: SomeDays
    union_days: SomeDays
    bud: Bud
    says: Words
    step: tuple[MethodStep, ...] = ()
    check: tuple[Check, ...] = ()

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.look_until_days < self.look_from_days:
            msg = "look_until_days: comes before look_from_days; make it the later of the two"
            raise ValueError(msg)
        names = [one.id for one in self.step] + [one.id for one in self.check]
        doubled = sorted({name for name in names if names.count(name) > 1})
        if doubled:
            msg = f"step: the name {doubled[0]} is used twice; give each step and check its own"
            raise ValueError(msg)
        early = next(
            (
                one
                for one in self.step
                if one.seen is Seen.FILM_OFF and one.after_days < self.union_days
            ),
            None,
        )
        if early is not None:
            msg = (
                f"step: {early.id} takes the wrap off after {early.after_days} days, before the "
                f"union at {self.union_days}; make it later"
            )
            raise ValueError(msg)
        return self
