"""A batch: what was grafted how, the stages a person moved it through, and what people saw."""

from __future__ import annotations

import itertools
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Self

from pydantic import AwareDatetime, Field, model_validator

from rules.model.place import Fraction, Slug, Written


class GraftMethod(StrEnum):
    """How scion and rootstock were joined."""

    CLEFT = "cleft"
    SIDE_VENEER = "side_veneer"
    WHIP_AND_TONGUE = "whip_and_tongue"
    CHIP_BUD = "chip_bud"
    APPROACH = "approach"
    TOP_WORKING = "top_working"


class Scion(StrEnum):
    """Whether the scion carries leaves; it decides the climate the batch needs."""

    LEAFY = "leafy"
    LEAFLESS = "leafless"


class Wrap(StrEnum):
    """What closes the union or the scion against drying."""

    STRETCH_FILM = "stretch_film"
    TAPE = "tape"
    NONE = "none"


class Cover(StrEnum):
    """What holds damp air around the whole plant."""

    TIED_BAG = "tied_bag"
    TENT = "tent"
    NONE = "none"


class Stage(StrEnum):
    """Where the batch stands on its way; only a person moves it, from something seen."""

    HEALING = "healing"
    NEW_GROWTH = "new_growth"
    EASING = "easing"
    HARDENING = "hardening"
    RELEASED = "released"
    CLOSED = "closed"
    FAILED = "failed"


ENDED = frozenset({Stage.CLOSED, Stage.FAILED})


class Seen(StrEnum):
    """What a person saw or did at the bench."""

    GRAFTED = "grafted"
    NEW_GROWTH = "new_growth"
    DROOP = "droop"
    MOULD = "mould"
    CONDENSATION = "condensation"
    BAG_DRY = "bag_dry"
    FILM_SPLIT = "film_split"
    REWRAPPED = "rewrapped"
    WATERED = "watered"
    COVER_OPENED = "cover_opened"
    COVER_CLOSED = "cover_closed"
    COVER_OFF = "cover_off"
    LIGHT_RAISED = "light_raised"
    LIGHT_LOWERED = "light_lowered"
    FULL_SUN = "full_sun"
    FILM_OFF = "film_off"
    STOCK_CUT = "stock_cut"
    SEVERED = "severed"
    CHECKED = "checked"
    MOVED = "moved"
    COUNTED = "counted"
    NOTED = "noted"


WITH_SHARE = frozenset(
    {
        Seen.COVER_OPENED,
        Seen.LIGHT_RAISED,
        Seen.LIGHT_LOWERED,
        Seen.MOVED,
        Seen.STOCK_CUT,
        Seen.SEVERED,
    }
)
"""What is done in parts: how far is written beside it."""

COVER_ON = frozenset({Seen.COVER_OPENED, Seen.COVER_CLOSED})
"""What can only be done to a cover that is on; after it was off, it is on again."""


Plants = Annotated[int, Field(ge=0, le=1_000_000)]


class Observation(Written):
    """Something a person saw or did, dated.

    `share`, from 0 to 1, says how far: how much of the cover stands open, how much of open-sky
    light now reaches the batch, how much of the rootstock's top or of the scion's own stem is cut
    through. None: one step further, as the care plan has it. `check` names the check of the care
    plan that was done. `alive` and `dead` are plants, as counted; what is not said is not known.
    `bench` is where the batch was moved to. `despite` names what spoke against it when the lead let
    it be done all the same; the note then says why.
    """

    at: AwareDatetime
    seen: Seen
    by: str = ""
    note: str = ""
    share: Fraction | None = None
    check: Slug | None = None
    alive: Plants | None = None
    dead: Plants | None = None
    bench: Slug | None = None
    despite: Slug | None = None

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.share is not None and self.seen not in WITH_SHARE:
            listed = ", ".join(seen.value for seen in Seen if seen in WITH_SHARE)
            msg = f"share: {self.seen} is not done in parts; it goes with {listed}"
            raise ValueError(msg)
        if (self.seen is Seen.CHECKED) != (self.check is not None):
            msg = (
                'check: goes with seen = "checked", and only then; '
                'name the check that was done, as in check = "film"'
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _counts_and_places(self) -> Self:
        if self.seen is not Seen.COUNTED and (self.alive, self.dead) != (None, None):
            msg = 'alive: goes with seen = "counted", and only then; enter the count by itself'
            raise ValueError(msg)
        if self.dead is not None and self.alive is None:
            msg = "alive: is missing beside dead; write how many live, 0 if none does"
            raise ValueError(msg)
        if self.bench is not None and self.seen is not Seen.MOVED:
            msg = 'bench: goes with seen = "moved", and only then; leave it out'
            raise ValueError(msg)
        if self.despite is not None and not self.note.strip():
            msg = "note: is missing beside despite; write why it was done all the same"
            raise ValueError(msg)
        return self

    @property
    def counted(self) -> int:
        """How many plants were counted, living and dead; 0 where nothing is said of that."""
        return (self.alive or 0) + (self.dead or 0)


class StageMove(Written):
    """A stage and the instant from which a person declared it.

    `despite` names what spoke against it when the lead declared it all the same.
    """

    stage: Stage
    since: AwareDatetime
    because: str = Field(min_length=1)
    despite: Slug | None = None


Millimetres = Annotated[float, Field(gt=0, le=200)]


class Batch(Written):
    """Plants grafted together: one label, one kind, one bench."""

    code: Slug
    species: str
    cultivar: str
    rootstock: str
    method: GraftMethod
    scion: Scion
    wrap: Wrap
    cover: Cover
    count: int = Field(gt=0)
    grafter: str = Field(min_length=1, max_length=6)
    grafted_on: date
    bench: Slug
    plan: Slug
    stock_diameter_mm: Millimetres | None = None
    scion_diameter_mm: Millimetres | None = None
    stage: tuple[StageMove, ...] = Field(min_length=1)
    observation: tuple[Observation, ...] = ()

    @model_validator(mode="after")
    def _order(self) -> Self:
        since = [move.since for move in self.stage]
        if any(later <= earlier for earlier, later in itertools.pairwise(since)):
            msg = (
                "stage: moves must stand in order of their dates, each later than the last; "
                "put the earliest first"
            )
            raise ValueError(msg)
        most = max((one.counted for one in self.observation), default=0)
        if most > self.count:
            msg = (
                f"count: is {self.count}, and {most} plants were counted; "
                "correct the count of the batch or that of the observation"
            )
            raise ValueError(msg)
        if self.scion is Scion.LEAFY and self.cover is Cover.NONE and self.wrap is Wrap.NONE:
            msg = "cover: a leafy scion with neither cover nor wrap dries within hours; name one"
            raise ValueError(msg)
        return self

    def stage_at(self, at: datetime) -> Stage | None:
        """Return the stage in force at the aware instant; None before the first."""
        stage = None
        for move in self.stage:
            if move.since <= at:
                stage = move.stage
        return stage

    def cover_moves(self) -> tuple[datetime, ...]:
        """Return the instants at which the cover came off, was put back on, and so forth."""
        moves: list[datetime] = []
        if self.cover is Cover.NONE:
            return ()
        on = True
        for seen in sorted(self.observation, key=lambda one: one.at):
            if seen.seen is Seen.COVER_OFF if on else seen.seen in COVER_ON:
                moves.append(seen.at)
                on = not on
        return tuple(moves)

    def covered_at(self, at: datetime) -> bool:
        """Return whether the cover was on (opened a little still counts) at the aware instant."""
        if self.cover is Cover.NONE:
            return False
        return sum(move <= at for move in self.cover_moves()) % 2 == 0
