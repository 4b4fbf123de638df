"""A care plan: what one kind of batch needs in each stage, and what to do when it lacks it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from pydantic import AwareDatetime, Field, model_validator

from rules.model.alarm import Priority, latches
from rules.model.batch import Cover, GraftMethod, Scion, Stage
from rules.model.dose import DoseLimit
from rules.model.drying import Drying
from rules.model.place import Slug, Written
from rules.model.quantities import RECKONED, Felt
from rules.model.release import Check, MethodCare, Release
from rules.model.words import FilmState as FilmState
from rules.model.words import Side as Side
from rules.model.words import When as When
from rules.model.words import Words as Words

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime


class Limit(Written):
    """One bound on what a batch feels.

    A value on the bound is inside. The condition is raised once the value has been beyond the
    bound for `on_delay_min` cells in a row, and ends once it has been back inside by `deadband`
    for `off_delay_min` cells in a row. Missing cells neither count nor break a row. Outside its
    part of the day the limit is silent: such a cell counts as back inside.
    `full_margin` is the distance from the bound, in the unit of the quantity, at which the batch
    is wholly comfortable; the margin ribbon is drawn against it.
    With `film` "open" the limit speaks only while the film is split or off.
    `latch` says whether its alarm waits for a person once it is over; None: if it is high.
    """

    id: Slug
    quantity: Felt
    side: Side
    bound: float = Field(allow_inf_nan=False)
    when: When = When.ALWAYS
    film: FilmState | None = None
    deadband: float = Field(ge=0, allow_inf_nan=False)
    on_delay_min: int = Field(ge=0, le=1440)
    off_delay_min: int = Field(ge=0, le=1440)
    full_margin: float = Field(gt=0, allow_inf_nan=False)
    priority: Priority
    latch: bool | None = None
    says: Words
    action: Words

    @property
    def latches(self) -> bool:
        """Whether its alarm, once over, waits until someone has acknowledged it."""
        return latches(self.latch, self.priority)


class StagePlan(Written):
    """The limits of one stage, and the quantities without which the batch cannot be seen.

    `vital` quantities that are missing make the batch blind; `blind_after_min` is how long they
    must be missing before that is an alarm of its own. An empty `vital` takes every quantity that
    a limit speaks of and sensors tell, so that no watched batch can fall silent unseen.
    """

    vital: tuple[Felt, ...]
    blind_after_min: int = Field(default=10, ge=0, le=240)
    limit: tuple[Limit, ...] = ()
    dose: tuple[DoseLimit, ...] = ()
    check: tuple[Check, ...] = ()

    @model_validator(mode="after")
    def _vital_can_be_seen(self) -> Self:
        reckoned = [felt for felt in self.vital if felt in RECKONED]
        if reckoned:
            msg = (
                f"vital: {reckoned[0]} is reckoned, no sensor tells it; name what it is reckoned "
                "from, as in vapour_pressure_deficit"
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _distinct(self) -> Self:
        checks = [check.id for check in self.check]
        twice = sorted({name for name in checks if checks.count(name) > 1})
        if twice:
            msg = f"check: the name {twice[0]} is used twice; each check of a stage has its own"
            raise ValueError(msg)
        names = [*(limit.id for limit in self.limit), *(dose.id for dose in self.dose)]
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
    A plan may have several versions, each in force from `in_force_from` until the next begins; one
    without it has been in force for ever, and the first also holds before it begins. `method` says
    what differs by graft method.
    """

    id: Slug
    version: int = Field(ge=1)
    in_force_from: AwareDatetime | None = None
    title: Words
    scion: Scion
    cover: tuple[Cover, ...] = Field(min_length=1)
    source: str
    stage: dict[Stage, StagePlan]
    release: Release | None = None
    method: dict[GraftMethod, MethodCare] = Field(default_factory=dict[GraftMethod, MethodCare])
    drying: Drying | None = None

    @model_validator(mode="after")
    def _released_as_covered(self) -> Self:
        covered = any(cover is not Cover.NONE for cover in self.cover)
        if self.release is not None and covered and not self.release.open_share:
            msg = (
                "release: open_share is empty, and a cover is never taken off in one go; "
                "write the share that stands open at each step, as in [0.15, 0.4, 0.7]"
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _dries_as_it_is(self) -> Self:
        leafy = self.scion is Scion.LEAFY
        if self.drying is not None and (self.drying.leaves is not None) != leafy:
            wanted = "leaves" if leafy else "stick"
            msg = (
                f"drying: a {self.scion} scion is described by its {wanted}; "
                f"write [drying.{wanted}] and leave out the other"
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _can_be_reckoned(self) -> Self:
        for stage, needs in self.stage.items():
            spoken_of = {limit.quantity for limit in needs.limit}
            spoken_of |= {dose.quantity for dose in needs.dose}
            unfounded = sorted(spoken_of & {Felt.RESERVE, Felt.HOURS_TO_CRITICAL})
            if unfounded and self.drying is None:
                msg = (
                    f"stage.{stage}: {unfounded[0]} is reckoned from [drying], which this plan "
                    "lacks; add the table or drop the limit"
                )
                raise ValueError(msg)
            if Felt.EXPECTED_PEAK in spoken_of and self.cover == (Cover.NONE,):
                msg = f"stage.{stage}: expected_peak is that under a cover; drop the limit"
                raise ValueError(msg)
        return self


def plan_in_force(versions: Iterable[CarePlan], at: datetime) -> CarePlan:
    """Return the version of one plan in force at the aware instant.

    The first version also holds before it begins: no batch is ever without a plan. `versions` hold
    one plan's id, one at least, each with another `in_force_from`; files are checked for that.
    """
    in_order = in_order_of_force(versions)
    begun = [one for one in in_order if one.in_force_from is None or one.in_force_from <= at]
    return begun[-1] if begun else in_order[0]


def in_order_of_force(versions: Iterable[CarePlan]) -> tuple[CarePlan, ...]:
    """Return the versions of one plan by the instant from which each is in force."""
    return tuple(sorted(versions, key=_begins))


def _begins(plan: CarePlan) -> tuple[bool, float]:
    since = plan.in_force_from
    return (False, 0.0) if since is None else (True, since.timestamp())


def plan_of(versions: Mapping[str, Sequence[CarePlan]], name: str, at: datetime) -> CarePlan | None:
    """Return the version of the plan called `name` in force at an instant; None if unknown."""
    known = versions.get(name)
    return plan_in_force(known, at) if known else None
