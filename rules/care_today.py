"""What a batch asks of people today: its next step, what is due, and what must not be done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.due import checks, method_steps
from rules.local_time import local_day
from rules.model.batch import ENDED, Seen, Stage
from rules.progress import WAY, progress_on, raised_light, way_out
from rules.release import next_opening, release_plan
from rules.stages import Allowed, Refused, Warned, found, judge_deed, judge_move, standing_against

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from rules.due import Due
    from rules.model.batch import Batch
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.progress import Progress, WayOut
    from rules.release import Step
    from rules.stages import Found


@dataclass(frozen=True, slots=True)
class NotNow:
    """A deed or a stage that the plan speaks against today, and how far it would have gone."""

    what: Seen | Stage
    share: float | None
    verdict: Warned | Refused


@dataclass(frozen=True, slots=True)
class CareToday:
    """What one batch asks for on a local day.

    `steps` is the whole way out from here, its first entry the next step. It is empty once the
    batch is released or has ended, and when its plan has no release table (`has_release`).
    `due` is every check and method step by its day; `not_now` what may not be done yet; `found`
    what was done, or stands, against the plan.
    """

    code: str
    stage: Stage | None
    days_since_grafting: int
    has_release: bool
    steps: tuple[Step, ...]
    due: tuple[Due, ...]
    not_now: tuple[NotNow, ...]
    found: tuple[Found, ...]

    def due_by(self, today: date) -> tuple[Due, ...]:
        """Return what is due on a day or was due before it."""
        return tuple(one for one in self.due if one.due_on <= today)

    def in_trouble(self, today: date) -> bool:
        """Return whether anything is overdue, or was done or stands against the plan."""
        late = any(step.overdue_days > 0 for step in self.steps[:1])
        return late or bool(self.found) or any(one.overdue_days(today) for one in self.due)


def care_today(batch: Batch, plan: CarePlan, site: Site, *, today: date) -> CareToday:
    """Return what a batch asks for on a local day, by the plan in force on it."""
    place = site.site
    due = sorted(
        (
            *checks(batch, plan, place, today=today),
            *method_steps(batch, plan, place, today=today),
        ),
        key=lambda one: (one.due_on, one.id),
    )
    way = way_out(batch, plan, site)
    days = (today - batch.grafted_on).days
    if way is None:
        stage = next(
            (move.stage for move in reversed(batch.stage) if local_day(move.since, place) <= today),
            None,
        )
        return CareToday(
            batch.code,
            stage,
            days,
            has_release=False,
            steps=(),
            due=tuple(due),
            not_now=(),
            found=(),
        )
    at = progress_on(batch, way, site, today=today)
    return CareToday(
        code=batch.code,
        stage=at.stage,
        days_since_grafting=days,
        has_release=True,
        steps=release_plan(at, way),
        due=tuple(due),
        not_now=tuple(_not_now(at, way)),
        found=(*found(batch, way, site, today=today), *standing_against(at, way)),
    )


def _not_now(at: Progress, way: WayOut) -> Iterator[NotNow]:
    """Yield what a person might want to do next, and what speaks against it."""
    if at.stage is None or at.stage in ENDED:
        return
    for deed, share in _deeds(at, way):
        verdict = judge_deed(at, way, deed, share=share)
        if not isinstance(verdict, Allowed):
            yield NotNow(deed, share, verdict)
    ahead = [stage for stage in way.stages if WAY.index(stage) > WAY.index(at.stage)]
    for stage in ahead[:1]:
        verdict = judge_move(at, way, stage, because="")
        if not isinstance(verdict, Allowed):
            yield NotNow(stage, None, verdict)


def _deeds(at: Progress, way: WayOut) -> Iterator[tuple[Seen, float | None]]:
    if at.covered:
        opening = next_opening(at, way)
        if opening is not None:
            yield Seen.COVER_OPENED, opening
        yield Seen.COVER_OFF, None
    if at.full_sun_on is None:
        yield Seen.LIGHT_RAISED, raised_light(at, way)
        yield Seen.FULL_SUN, 1.0
    if way.wrapped and at.film_off_on is None:
        yield Seen.FILM_OFF, None
