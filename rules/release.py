"""The way out, day by day: from new growth to full sun, adapted to what was seen.

One step is worked out from where the batch stands; the following ones by supposing that each is
done on its day and that nothing droops. Tomorrow the same sum is made again, so a step that was
done late, or a droop, moves all that follows. The same batch, plan and day give the same steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from rules import reasons
from rules.model.batch import ENDED, Seen, Stage
from rules.progress import (
    SAME,
    held_until,
    lowered_light,
    moved,
    observed,
    raised_light,
)

if TYPE_CHECKING:
    from datetime import date

    from rules.model.words import Words
    from rules.progress import Progress, WayOut


class StepKind(StrEnum):
    """What the next step is."""

    LOOK = "look_for_new_growth"
    MOVE = "move_stage"
    STEP_BACK = "step_back"
    OPEN_COVER = "open_cover"
    COVER_OFF = "cover_off"
    RAISE_LIGHT = "raise_light"
    FULL_SUN = "full_sun"


RECORDED_BY = {
    StepKind.LOOK: Seen.NEW_GROWTH,
    StepKind.OPEN_COVER: Seen.COVER_OPENED,
    StepKind.COVER_OFF: Seen.COVER_OFF,
    StepKind.RAISE_LIGHT: Seen.LIGHT_RAISED,
    StepKind.FULL_SUN: Seen.FULL_SUN,
}
"""The observation that records each kind of step; a step back is recorded by what undoes it."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step: not before `due_on`, so on `on`, the later of that day and today.

    `share` is how far the cover is to stand open, or the share of open-sky light to give; `stage`
    the stage to declare. `seen` is the observation that records it; None for a declared stage.
    `overdue_days` is 0 until the step is later than the plan allows. `expected`: its day rests on
    something that nobody has seen yet, new growth above all.
    """

    kind: StepKind
    on: date
    due_on: date
    says: Words
    seen: Seen | None = None
    share: float | None = None
    stage: Stage | None = None
    overdue_days: int = 0
    expected: bool = False


def next_step(at: Progress, way: WayOut) -> Step | None:
    """Return what comes next for a batch; None once it has ended or been released."""
    if at.stage is None or at.stage in ENDED or at.stage is Stage.RELEASED:
        return None
    if at.new_growth_on is None:
        return _look(at, way)
    if at.owes_step_back and at.droop_on is not None:
        return _step_back(at, way, since=at.droop_on)
    if at.stage is Stage.HEALING:
        return _declare(at, way, Stage.NEW_GROWTH, at.new_growth_on)
    if at.covered:
        return _ease(at, way)
    return _harden(at, way)


def release_plan(at: Progress, way: WayOut) -> tuple[Step, ...]:
    """Return all steps still to come, in order, the next one first."""
    steps: list[Step] = []
    expected = False
    while (step := next_step(at, way)) is not None:
        steps.append(replace(step, expected=expected))
        expected = expected or step.kind is StepKind.LOOK
        at = done(step, at, way)
    return tuple(steps)


def done(step: Step, at: Progress, way: WayOut) -> Progress:
    """Return where a batch stands once a step is done on its day and nothing has drooped since."""
    at = replace(at, today=max(at.today, step.on))
    if step.stage is not None:
        return moved(at, step.stage)
    if step.seen is None:
        return at
    return observed(at, way, step.seen, share=step.share)


def eases_from(at: Progress, way: WayOut) -> date:
    """Return the first day on which the cover may be opened further, or taken off at the last.

    `at` must have shown new growth and be covered.
    """
    if at.first_opened_on is None or at.cover_changed_on is None:
        grown = at.new_growth_on or at.today
        return _held(at, way, grown + timedelta(days=way.release.firm_days))
    again = at.cover_changed_on + timedelta(days=way.release.open_every_days)
    if next_opening(at, way) is None:
        eased = at.first_opened_on + timedelta(days=way.release.ease_at_least_days)
        again = max(again, eased)
    return _held(at, way, again)


def next_opening(at: Progress, way: WayOut) -> float | None:
    """Return how far the cover is opened next; None when it comes off next."""
    later = (share for share in way.release.open_share if share > at.opened_share + SAME)
    return next(later, None)


def lightens_from(at: Progress, way: WayOut) -> date:
    """Return the first day on which the plan gives an uncovered batch more light."""
    return _held(at, way, max(light_ready_on(at, way), way.union_on))


def light_ready_on(at: Progress, way: WayOut) -> date:
    """Return the day from which leaves are used to the light and care they have now."""
    changed = at.light_changed_on
    if not at.covered and (changed is None or changed < _bare_on(at)):
        return _ordinary_until(at, way)
    if changed is None:
        return at.today
    return changed + timedelta(days=way.release.light_every_days)


def _bare_on(at: Progress) -> date:
    return at.cover_off_on or at.new_growth_on or at.today


def _ordinary_until(at: Progress, way: WayOut) -> date:
    days = way.release.normal_days if way.covers else way.release.firm_days
    return _bare_on(at) + timedelta(days=days)


def _held(at: Progress, way: WayOut, day: date) -> date:
    held = held_until(at, way)
    return day if held is None else max(day, held)


def _look(at: Progress, way: WayOut) -> Step:
    if way.method is None:
        return Step(
            StepKind.LOOK, at.today, at.today, reasons.look_for_growth(None), Seen.NEW_GROWTH
        )
    first = way.grafted_on + timedelta(days=way.method.look_from_days)
    last = way.grafted_on + timedelta(days=way.method.look_until_days)
    return Step(
        StepKind.LOOK,
        max(at.today, first),
        first,
        reasons.look_for_growth(last),
        Seen.NEW_GROWTH,
        overdue_days=max(0, (at.today - last).days),
    )


def _step_back(at: Progress, way: WayOut, *, since: date) -> Step:
    """Return the step that undoes the last one, due on the day of the droop."""
    late = (at.today - since).days

    def back(says: Words, seen: Seen, share: float) -> Step:
        return Step(StepKind.STEP_BACK, at.today, since, says, seen, share=share, overdue_days=late)

    if not at.covered and at.light_share > way.first_light_share + SAME:
        share = lowered_light(at, way)
        return back(reasons.lower_light(share), Seen.LIGHT_LOWERED, share)
    lesser = [share for share in way.release.open_share if share < at.opened_share - SAME]
    if not lesser:
        return back(reasons.CLOSE_COVER, Seen.COVER_CLOSED, 0.0)
    return back(reasons.cover_back_on(lesser[-1]), Seen.COVER_OPENED, lesser[-1])


def _ease(at: Progress, way: WayOut) -> Step:
    if at.stage is Stage.HARDENING:
        return _declare(at, way, Stage.EASING, at.cover_changed_on or at.today)
    if at.opened_share > SAME and at.stage is Stage.NEW_GROWTH:
        return _declare(at, way, Stage.EASING, at.first_opened_on or at.today)
    due = eases_from(at, way)
    share = next_opening(at, way)
    if share is None:
        return _forward(at, way, StepKind.COVER_OFF, due, says=reasons.TAKE_COVER_OFF)
    says = reasons.open_cover(share)
    return _forward(at, way, StepKind.OPEN_COVER, due, says=says, share=share)


def _harden(at: Progress, way: WayOut) -> Step:
    if at.stage is not Stage.HARDENING:
        if way.covers and at.stage is Stage.NEW_GROWTH:
            return _declare(at, way, Stage.EASING, _bare_on(at))
        ready = _ordinary_until(at, way)
        if not way.covers:
            ready = max(ready, way.union_on)
        return _declare(at, way, Stage.HARDENING, _held(at, way, ready))
    if at.full_sun_on is not None or at.light_share >= 1.0 - SAME:
        steady = (at.full_sun_on or _bare_on(at)) + timedelta(days=way.release.droop_hold_days)
        return _declare(at, way, Stage.RELEASED, _held(at, way, steady))
    due = lightens_from(at, way)
    share = raised_light(at, way)
    if share >= 1.0 - SAME:
        return _forward(at, way, StepKind.FULL_SUN, due, says=reasons.FULL_SUN, share=1.0)
    says = reasons.raise_light(share)
    return _forward(at, way, StepKind.RAISE_LIGHT, due, says=says, share=share)


def _forward(
    at: Progress,
    way: WayOut,
    kind: StepKind,
    due: date,
    *,
    says: Words,
    share: float | None = None,
) -> Step:
    return Step(
        kind,
        max(at.today, due),
        due,
        says,
        RECORDED_BY[kind],
        share=share,
        overdue_days=_overdue(at, way, due),
    )


def _declare(at: Progress, way: WayOut, stage: Stage, due: date) -> Step:
    return Step(
        StepKind.MOVE,
        max(at.today, due),
        due,
        reasons.declare(stage, _why(at, way, stage)),
        stage=stage,
        overdue_days=_overdue(at, way, due),
    )


def _why(at: Progress, way: WayOut, stage: Stage) -> Words:
    match stage:
        case Stage.NEW_GROWTH:
            return reasons.GROWTH_SEEN
        case Stage.EASING:
            return reasons.COVER_BACK if at.stage is Stage.HARDENING else reasons.COVER_OPEN
        case Stage.HARDENING:
            return reasons.STEADY_BARE if way.covers else reasons.STEADY_FIRM
        case _:
            return reasons.STEADY_IN_SUN


def _overdue(at: Progress, way: WayOut, due: date) -> int:
    late = (at.today - due).days
    return late if late > way.release.overdue_after_days else 0
