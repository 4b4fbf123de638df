"""How far a batch has come, read from what people saw and did up to a local day.

Days are those on the site's wall. What was seen on a day counts for the whole of it, so a stage
may be moved in the morning because of what is written down at noon.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from rules.local_time import local_day
from rules.model.batch import Cover, Observation, Seen, Stage, StageMove, Wrap

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

    from rules.model.batch import Batch
    from rules.model.plan import CarePlan
    from rules.model.release import MethodCare, Release
    from rules.model.site import Site

SAME = 1e-9
"""Shares that differ by less are the same: a rounding of the last bit is no step."""

WAY = (Stage.HEALING, Stage.NEW_GROWTH, Stage.EASING, Stage.HARDENING, Stage.RELEASED)
"""The stages in the order of the way out."""


@dataclass(frozen=True, slots=True)
class WayOut:
    """What the care plan says for one batch: its release table, and its graft method's, if any.

    `covers`: whether the batch has a cover at all; `house_light_share` is the share of open-sky
    light that the cloth of its house lets through.
    """

    release: Release
    method: MethodCare | None
    covers: bool
    wrapped: bool
    grafted_on: date
    house_light_share: float

    @property
    def first_light_share(self) -> float:
        """The share of open-sky light from which hardening starts, above 0."""
        return max(self.house_light_share, self.release.least_light_share)

    @property
    def union_on(self) -> date:
        """The day from which stock and scion are one; that of grafting where nothing is said."""
        return self.grafted_on + timedelta(days=self.method.union_days if self.method else 0)

    @property
    def stages(self) -> tuple[Stage, ...]:
        """The stages on this batch's way: nothing is eased where there is no cover."""
        return tuple(stage for stage in WAY if self.covers or stage is not Stage.EASING)


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a batch stands on its way at the end of a local day.

    `opened_share` is 0 for a closed cover and 1 for none. `light_share` is a share of open-sky
    light. `growth_written`: new growth was written down, not only declared by moving the stage.
    `owes_step_back`: it drooped, and nothing has been taken back since.
    """

    today: date
    stage: Stage | None
    stage_on: date | None
    light_share: float
    opened_share: float
    covered: bool
    new_growth_on: date | None = None
    growth_written: bool = False
    first_opened_on: date | None = None
    cover_changed_on: date | None = None
    cover_off_on: date | None = None
    light_changed_on: date | None = None
    full_sun_on: date | None = None
    film_off_on: date | None = None
    counted_on: date | None = None
    droop_on: date | None = None
    owes_step_back: bool = False


def way_out(batch: Batch, plan: CarePlan, site: Site) -> WayOut | None:
    """Return what the plan says of the way out for a batch; None if it has no release table."""
    if plan.release is None:
        return None
    house = {bench.id: bench.house for bench in site.bench}.get(batch.bench)
    shade = {one.id: one.shade_fraction for one in site.house}.get(house or "", 1.0)
    return WayOut(
        release=plan.release,
        method=plan.method.get(batch.method),
        covers=batch.cover is not Cover.NONE,
        wrapped=batch.wrap is not Wrap.NONE,
        grafted_on=batch.grafted_on,
        house_light_share=1.0 - shade,
    )


def progress_on(batch: Batch, way: WayOut, site: Site, *, today: date) -> Progress:
    """Return how far a batch has come at the end of a local day."""
    at = beginning(way, today)
    for _, _, after in history(batch, way, site, today=today):
        at = after
    return replace(at, today=today, owes_step_back=still_owes(at, way, today))


def beginning(way: WayOut, today: date) -> Progress:
    """Return a batch of which nothing has been written down yet."""
    return Progress(
        today=today,
        stage=None,
        stage_on=None,
        light_share=way.first_light_share,
        opened_share=0.0 if way.covers else 1.0,
        covered=way.covers,
    )


def history(
    batch: Batch, way: WayOut, site: Site, *, today: date
) -> Iterator[tuple[Observation | StageMove, Progress, Progress]]:
    """Yield all that was seen, done or declared up to a day, with the progress before and after.

    Within a day what was seen comes before what was declared because of it.
    """
    told: list[tuple[date, int, datetime, Observation | StageMove]] = [
        *((local_day(o.at, site.site), 0, o.at, o) for o in batch.observation),
        *((local_day(m.since, site.site), 1, m.since, m) for m in batch.stage),
    ]
    at = beginning(way, today)
    for day, _, _, one in sorted(told, key=lambda entry: entry[:3]):
        if day > today:
            continue
        before = replace(at, today=day, owes_step_back=still_owes(at, way, day))
        if isinstance(one, StageMove):
            at = moved(before, one.stage)
        else:
            at = observed(before, way, one.seen, share=one.share)
        yield one, before, at


def still_owes(at: Progress, way: WayOut, today: date) -> bool:
    """Return whether a step back is still owed: plants steady again for long enough owe none."""
    held = held_until(at, way)
    return at.owes_step_back and held is not None and today < held


def held_until(at: Progress, way: WayOut) -> date | None:
    """Return the first day on which a batch that drooped may go on; None if it never drooped."""
    if at.droop_on is None:
        return None
    return at.droop_on + timedelta(days=way.release.droop_hold_days)


def moved(at: Progress, stage: Stage) -> Progress:
    """Return the progress after a person has declared a stage."""
    at = replace(at, stage=stage, stage_on=at.today)
    if stage is Stage.HEALING:
        return replace(at, new_growth_on=None, growth_written=False, first_opened_on=None)
    if stage in WAY and at.new_growth_on is None:
        return replace(at, new_growth_on=at.today)
    return at


def observed(at: Progress, way: WayOut, seen: Seen, *, share: float | None) -> Progress:
    """Return the progress after something was seen or done on the day of `at`.

    Without a share, a step goes as far as the plan's next, or back to its last.
    """
    day = at.today
    match seen:
        case Seen.NEW_GROWTH:
            return replace(at, new_growth_on=at.new_growth_on or day, growth_written=True)
        case Seen.DROOP:
            return replace(at, droop_on=day, owes_step_back=can_step_back(at, way))
        case Seen.COVER_OPENED | Seen.COVER_CLOSED | Seen.COVER_OFF:
            return _cover(at, way, seen, share=share) if way.covers else at
        case Seen.LIGHT_RAISED | Seen.LIGHT_LOWERED | Seen.FULL_SUN | Seen.MOVED:
            return _light(at, light_after(at, way, seen, share=share))
        case Seen.FILM_OFF:
            return replace(at, film_off_on=day)
        case Seen.COUNTED:
            return replace(at, counted_on=day)
        case _:
            return at


def _cover(at: Progress, way: WayOut, seen: Seen, *, share: float | None) -> Progress:
    opened = opened_after(at, way, seen, share=share)
    at = replace(
        at,
        covered=seen is not Seen.COVER_OFF,
        opened_share=opened,
        cover_changed_on=at.today,
        cover_off_on=at.today if seen is Seen.COVER_OFF else None,
        owes_step_back=at.owes_step_back and opened >= at.opened_share,
    )
    if opened <= SAME:
        return replace(at, first_opened_on=None)
    return replace(at, first_opened_on=at.first_opened_on or at.today)


def opened_after(at: Progress, way: WayOut, seen: Seen, *, share: float | None) -> float:
    """Return how far the cover stands open after it was opened, closed or taken off."""
    steps = way.release.open_share
    if seen is Seen.COVER_OFF:
        return 1.0
    if seen is Seen.COVER_CLOSED:
        return 0.0
    if share is not None:
        return share
    if not at.covered:
        return steps[-1]
    return next((step for step in steps if step > at.opened_share + SAME), at.opened_share)


def light_after(at: Progress, way: WayOut, seen: Seen, *, share: float | None) -> float:
    """Return the share of open-sky light after light was changed or the batch was moved."""
    if seen is Seen.FULL_SUN:
        return 1.0
    if share is not None:
        return share
    if seen is Seen.LIGHT_RAISED:
        return raised_light(at, way)
    if seen is Seen.LIGHT_LOWERED:
        return lowered_light(at, way)
    return at.light_share


def _light(at: Progress, share: float) -> Progress:
    if abs(share - at.light_share) <= SAME:
        return at
    return replace(
        at,
        light_share=share,
        light_changed_on=at.today,
        full_sun_on=at.today if share >= 1.0 - SAME else None,
        owes_step_back=at.owes_step_back and share > at.light_share,
    )


def raised_light(at: Progress, way: WayOut) -> float:
    """Return the share of open-sky light one step up, at most 1."""
    return min(1.0, at.light_share * (1.0 + way.release.light_step))


def lowered_light(at: Progress, way: WayOut) -> float:
    """Return the share of open-sky light one step down, not below that of the house."""
    lower = at.light_share / (1.0 + way.release.light_step)
    return max(lower, min(at.light_share, way.first_light_share))


def can_step_back(at: Progress, way: WayOut) -> bool:
    """Return whether anything has been eased that can be taken back by one step."""
    if at.covered:
        return at.opened_share > SAME
    return way.covers or at.light_share > way.first_light_share + SAME
