"""What is to be looked at or done by the calendar: checks of the stage and the graft method."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from rules.local_time import local_day
from rules.model.batch import ENDED, Seen, Wrap

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from rules.model.batch import Batch, Observation
    from rules.model.place import Place
    from rules.model.plan import CarePlan
    from rules.model.release import Check, MethodStep
    from rules.model.words import Words


@dataclass(frozen=True, slots=True)
class Due:
    """A check or a step of the graft method, and the local day on which it is due.

    `last_on` is when a check was last done. `seen` and `share` are the observation that answers
    it; for a check "checked", naming `id`.
    """

    id: str
    due_on: date
    says: Words
    seen: Seen
    share: float | None
    last_on: date | None

    def overdue_days(self, today: date) -> int:
        """Return how many days ago it was due; 0 when it is due today or later."""
        return max(0, (today - self.due_on).days)


def checks(batch: Batch, plan: CarePlan, place: Place, *, today: date) -> tuple[Due, ...]:
    """Return the next day of every check of a batch's stage and graft method, soonest first."""
    moves = [(local_day(move.since, place), move) for move in batch.stage]
    begun = [(day, move.stage) for day, move in moves if day <= today]
    if not begun or begun[-1][1] in ENDED:
        return ()
    stage_on, stage = begun[-1]
    method = plan.method.get(batch.method)
    of_stage = plan.stage[stage].check if stage in plan.stage else ()
    every = [
        *((check, stage_on) for check in of_stage),
        *((check, batch.grafted_on) for check in (method.check if method else ())),
    ]
    found = (_due(batch, check, place, since=since, today=today) for check, since in every)
    return tuple(sorted(found, key=lambda due: (due.due_on, due.id)))


def _due(batch: Batch, check: Check, place: Place, *, since: date, today: date) -> Due:
    done = [
        day
        for one in batch.observation
        if one.check == check.id or one.seen in check.answered_by
        if since <= (day := local_day(one.at, place)) <= today
    ]
    last = max(done, default=None)
    first = since + timedelta(days=check.first_after_days)
    due = first if last is None else last + timedelta(days=check.every_days)
    return Due(check.id, due, check.says, Seen.CHECKED, None, last)


def method_steps(batch: Batch, plan: CarePlan, place: Place, *, today: date) -> tuple[Due, ...]:
    """Return the steps of the graft method that are still to do, in the order of the plan.

    A step that waits for new growth is left out until that has been seen. Taking off the wrap is
    left out for a batch that has none.
    """
    begun = [move.stage for move in batch.stage if local_day(move.since, place) <= today]
    method = plan.method.get(batch.method)
    if method is None or not begun or begun[-1] in ENDED:
        return ()
    seen = [one for one in batch.observation if local_day(one.at, place) <= today]
    grown = any(one.seen is Seen.NEW_GROWTH for one in seen)
    return tuple(
        Due(
            step.id,
            batch.grafted_on + timedelta(days=step.after_days),
            step.says,
            step.seen,
            step.share,
            None,
        )
        for step in _open(batch, method.step, seen)
        if grown or not step.after_growth
    )


def _open(
    batch: Batch, steps: tuple[MethodStep, ...], seen: Sequence[Observation]
) -> Iterator[MethodStep]:
    for step in steps:
        unwrapped = step.seen is Seen.FILM_OFF and batch.wrap is Wrap.NONE
        if not unwrapped and not any(_records(one, step) for one in seen):
            yield step


def _records(one: Observation, step: MethodStep) -> bool:
    """Return whether an observation tells that a step was done, as far as the step goes."""
    if step.seen is Seen.CHECKED:
        return one.check == step.id
    far = 1.0 if one.share is None else one.share
    return one.seen is step.seen and (step.share is None or far >= step.share)
