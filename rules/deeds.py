"""What can be written down at the bench about a batch: only what fits it as it stands.

A bag can't be dry where there is none, and a scion without leaves can't droop. Each deed comes
with what the care plan says of it today, so that what would harm is refused before it is done.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.due import checks, method_steps
from rules.model.batch import ENDED, Cover, Scion, Seen, Stage, Wrap
from rules.progress import progress_on, way_out
from rules.stages import Allowed, judge_deed, judge_move

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

    from rules.due import Due
    from rules.model.batch import Batch
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.model.words import Words
    from rules.stages import Verdict

SEEN_AT_BENCH = frozenset(
    {
        Seen.NEW_GROWTH,
        Seen.DROOP,
        Seen.MOULD,
        Seen.CONDENSATION,
        Seen.BAG_DRY,
        Seen.FILM_SPLIT,
    }
)
"""What is seen; all else is done."""


@dataclass(frozen=True, slots=True)
class Fitting:
    """Something that may be written down, with what the care plan says of it today.

    `check` names a check of the plan, and `says` what it asks. `share` is how far a step of the
    graft method goes; None: one step of the way out. `due` is false for a check before its day.
    """

    seen: Seen
    verdict: Verdict
    check: str | None = None
    says: Words | None = None
    share: float | None = None
    due: bool = False

    @property
    def is_seen(self) -> bool:
        """Whether it tells of something seen, not of something done."""
        return self.seen in SEEN_AT_BENCH


def fitting(
    batch: Batch, plan: CarePlan | None, site: Site, *, at: datetime, today: date
) -> tuple[Fitting, ...]:
    """Return what can be written down for a batch at an aware instant of a local day.

    First what is seen, then what is done, then the checks and steps that the plan has by name.
    """
    stage = batch.stage_at(at)
    if stage is None or stage in ENDED:
        return (Fitting(Seen.COUNTED, Allowed()), Fitting(Seen.NOTED, Allowed()))
    found = [
        Fitting(seen, judged(batch, plan, site, seen, share=None, today=today))
        for seen in _words(batch, at=at, several=len(site.bench) > 1)
    ]
    if plan is None:
        return tuple(found)
    found += [_named(due, Allowed(), today) for due in checks(batch, plan, site.site, today=today)]
    for due in method_steps(batch, plan, site.site, today=today):
        verdict = judged(batch, plan, site, due.seen, share=due.share, today=today)
        found.append(_named(due, verdict, today))
    return tuple(found)


def judged(
    batch: Batch,
    plan: CarePlan | None,
    site: Site,
    deed: Seen,
    *,
    share: float | None,
    today: date,
) -> Verdict:
    """Say what speaks against a deed on a local day; a plan without a way out forbids nothing."""
    way = None if plan is None else way_out(batch, plan, site)
    if way is None:
        return Allowed()
    return judge_deed(progress_on(batch, way, site, today=today), way, deed, share=share)


def judged_stage(
    batch: Batch, plan: CarePlan | None, site: Site, to: Stage, *, because: str, today: date
) -> Verdict:
    """Say what speaks against declaring a stage on a local day, for the reason given."""
    way = None if plan is None else way_out(batch, plan, site)
    if way is None:
        return Allowed()
    return judge_move(progress_on(batch, way, site, today=today), way, to, because=because)


def stages_to_declare(batch: Batch, plan: CarePlan | None, site: Site) -> tuple[Stage, ...]:
    """Return every stage that a batch can be declared to be in, in the order of its way."""
    way = None if plan is None else way_out(batch, plan, site)
    stages = tuple(stage for stage in Stage if stage not in ENDED) if way is None else way.stages
    return (*stages, *(stage for stage in Stage if stage in ENDED))


def _named(due: Due, verdict: Verdict, today: date) -> Fitting:
    check = due.id if due.seen is Seen.CHECKED else None
    return Fitting(
        due.seen, verdict, check=check, says=due.says, share=due.share, due=due.due_on <= today
    )


def _words(batch: Batch, *, at: datetime, several: bool) -> Iterator[Seen]:
    seen = {one.seen for one in batch.observation if one.at <= at}
    grown = Seen.NEW_GROWTH in seen
    covered = batch.covered_at(at)
    wrapped = batch.wrap is not Wrap.NONE and Seen.FILM_OFF not in seen
    if not grown:
        yield Seen.NEW_GROWTH
    if grown or batch.scion is Scion.LEAFY:
        yield Seen.DROOP
    yield Seen.MOULD
    if covered:
        yield from (Seen.CONDENSATION, Seen.BAG_DRY)
    if wrapped:
        yield Seen.FILM_SPLIT
    yield Seen.WATERED
    if wrapped:
        yield Seen.REWRAPPED
    if covered:
        yield from (Seen.COVER_OPENED, Seen.COVER_CLOSED, Seen.COVER_OFF)
    elif batch.cover is not Cover.NONE:
        yield Seen.COVER_CLOSED
    yield Seen.LIGHT_LOWERED
    if grown and not covered:
        yield from (Seen.LIGHT_RAISED, Seen.FULL_SUN)
    if wrapped:
        yield Seen.FILM_OFF
    if several:
        yield Seen.MOVED
    yield from (Seen.COUNTED, Seen.NOTED)
