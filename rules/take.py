"""How many plants of a batch took, by what people counted, and what they noted as the cause."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rules.local_time import local_day
from rules.model.batch import Seen, Stage

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from rules.model.batch import Batch
    from rules.model.site import Site

HALF = 0.5
"""A batch of which fewer than this share took is called failed; house rule."""

SIGNS = frozenset({Seen.DROOP, Seen.MOULD, Seen.BAG_DRY, Seen.FILM_SPLIT, Seen.NOTED})
"""What people write down that can tell of a cause, besides counts."""


class Outcome(StrEnum):
    """What became of a batch; unknown is neither taken nor failed."""

    TAKEN = "taken"
    FAILED = "failed"
    UNKNOWN = "unknown"


class By(StrEnum):
    """What batches are told apart by."""

    CULTIVAR = "cultivar"
    ROOTSTOCK = "rootstock"
    METHOD = "method"
    KIND = "kind"
    GRAFTER = "grafter"
    HOUSE = "house"
    MONTH = "month"


@dataclass(frozen=True, slots=True)
class Noted:
    """What a person wrote down when, in their own words."""

    at: datetime
    seen: Seen | Stage
    words: str


@dataclass(frozen=True, slots=True)
class Counted:
    """A count on a local day: so many took, of so many."""

    on: date
    taken: int
    of: int


@dataclass(frozen=True, slots=True)
class Take:
    """What is known of how a batch took.

    `counts` stand in order; the last one decides. `by_stage` says that nobody counted, and the
    batch was declared failed: then none of its plants took. `labels` is what it is told apart by;
    "" where that is not written down.
    """

    code: str
    counts: tuple[Counted, ...]
    by_stage: bool
    of_all: int
    noted: tuple[Noted, ...]
    labels: Mapping[By, str]

    @property
    def taken(self) -> int | None:
        """How many took; None where nobody has said."""
        if self.counts:
            return self.counts[-1].taken
        return 0 if self.by_stage else None

    @property
    def of(self) -> int:
        """Of how many."""
        return self.counts[-1].of if self.counts else self.of_all

    @property
    def share(self) -> float | None:
        """The share that took, 0 to 1; None where nobody has said, or of no plants."""
        return None if self.taken is None or self.of == 0 else self.taken / self.of

    @property
    def outcome(self) -> Outcome:
        """What became of the batch."""
        if self.by_stage:
            return Outcome.FAILED
        share = self.share
        if share is None:
            return Outcome.UNKNOWN
        return Outcome.FAILED if share < HALF else Outcome.TAKEN


def take_of(batch: Batch, site: Site) -> Take:
    """Return what is known of how a batch took.

    A count that names only the living is of all the plants of the batch.
    """
    in_order = sorted(batch.observation, key=lambda one: one.at)
    counts = tuple(
        Counted(
            on=local_day(one.at, site.site),
            taken=one.alive,
            of=batch.count if one.dead is None else one.alive + one.dead,
        )
        for one in in_order
        if one.seen is Seen.COUNTED and one.alive is not None
    )
    failed = batch.stage[-1].stage is Stage.FAILED
    noted = [
        Noted(one.at, one.seen, one.note.strip())
        for one in in_order
        if one.seen in SIGNS or (one.seen is Seen.COUNTED and one.note.strip())
    ]
    noted += [
        Noted(move.since, move.stage, move.because.strip())
        for move in batch.stage
        if move.stage is Stage.FAILED
    ]
    house = {bench.id: bench.house for bench in site.bench}.get(batch.bench, "")
    return Take(
        code=batch.code,
        counts=counts,
        by_stage=failed and (not counts or counts[-1].taken == 0),
        of_all=batch.count,
        noted=tuple(sorted(noted, key=lambda one: one.at)),
        labels={
            By.CULTIVAR: f"{batch.species} {batch.cultivar}".strip(),
            By.ROOTSTOCK: batch.rootstock.strip(),
            By.METHOD: batch.method.value,
            By.KIND: batch.plan,
            By.GRAFTER: batch.grafter,
            By.HOUSE: house,
            By.MONTH: f"{batch.grafted_on:%Y-%m}",
        },
    )


def first_sign(batch: Batch) -> datetime | None:
    """Return when something was first written down that tells of plants failing; None if nothing.

    Droop, dead plants counted, or the batch declared failed. Droop more than ten days before the
    end of it was got over, and is left out: house rule.
    """
    ends = [move.since for move in batch.stage if move.stage is Stage.FAILED]
    ends += [one.at for one in batch.observation if one.seen is Seen.COUNTED and one.dead]
    drooped = [one.at for one in batch.observation if one.seen is Seen.DROOP]
    if not ends:
        return min(drooped, default=None)
    end = min(ends)
    near = [at for at in drooped if 0 <= (end - at).total_seconds() <= 10 * 86_400]
    return min([*near, end])
