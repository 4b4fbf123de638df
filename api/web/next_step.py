"""The next step of a batch on its page: when, what, why, and what is due by the calendar."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.care_today import care_today
from rules.local_time import local_day
from rules.model.plan import plan_of

if TYPE_CHECKING:
    from api.parts import Parts
    from api.web.telling import Telling
    from rules.model.batch import Batch


@dataclass(frozen=True, slots=True)
class WayDay:
    """One step of the way out; `expected`: its day rests on what nobody has seen yet."""

    day: str
    what: str
    expected: bool


@dataclass(frozen=True, slots=True)
class NextStep:
    """What comes next, on which day, and what speaks against the batch as it stands.

    `late` is "" while there is time. `due` are the checks of today and before; `wrong` what was
    done, or stands, against the care plan, each with what to do. `way` is every step to full sun,
    with its day.
    """

    when: str
    what: str
    late: str
    due: tuple[str, ...]
    wrong: tuple[str, ...]
    way: tuple[WayDay, ...]


def next_step_of(parts: Parts, batch: Batch, telling: Telling) -> NextStep | None:
    """Return what a page says of the next step; None when there is nothing to say."""
    plan = plan_of(parts.plans, batch.plan, telling.now)
    if plan is None:
        return None
    today = local_day(telling.now, parts.site.site)
    care = care_today(batch, plan, parts.site, today=today)
    words = telling.words
    due = tuple(one.says.in_language(words.code) for one in care.due_by(today))
    wrong = tuple(
        f"{words.capital(one.verdict.reason.in_language(words.code))}. "
        f"{one.verdict.instead.in_language(words.code)}"
        for one in care.found
    )
    if not care.steps:
        return NextStep("", "", "", due, wrong, ()) if due or wrong else None
    step = care.steps[0]
    return NextStep(
        when=words.today if step.on == today else telling.day(step.on),
        what=step.says.in_language(words.code),
        late=words.late_by(step.overdue_days) if step.overdue_days else "",
        due=due,
        wrong=wrong,
        way=tuple(
            WayDay(telling.day(one.on), one.says.in_language(words.code), one.expected)
            for one in care.steps
        ),
    )
