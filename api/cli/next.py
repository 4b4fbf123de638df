"""`graftvigil next`: what each batch asks of people today, and what must not be done yet."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_data, take_plans, take_site

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from api.web.words.en import English
    from rules.care_today import CareToday, NotNow
    from rules.due import Due
    from rules.model.batch import Seen, Stage
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.release import Step
    from rules.stages import Found

DESCRIPTION = """\
Prints for each batch its stage, the days since grafting, the next step with its day and reason,
the checks that are due, what must not be done yet and why, and what was done or stands against
its care plan. All of it follows from the site file, the care plans, what people entered over
them (where the data folder has records) and the day.

Exit code 0: nothing is late and nothing stands against a plan. 1: something is or does.
2: faults in the files (`graftvigil check` names them), or no such batch.

  graftvigil next --site site.toml
  graftvigil next --site site.toml --batch MG-07 --way
  graftvigil next --site site.toml --today 2026-11-20 --json
"""


@dataclass(frozen=True, slots=True)
class Asked:
    """One batch's care on the day that was asked for, with the version of its plan in force."""

    care: CareToday
    plan: CarePlan


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    from argparse import RawDescriptionHelpFormatter

    command = subcommands.add_parser(
        "next",
        help="say what each batch needs next, when, and what must wait",
        description=DESCRIPTION,
        formatter_class=RawDescriptionHelpFormatter,
    )
    take_site(command)
    take_plans(command)
    take_data(command)
    command.add_argument("--batch", metavar="CODE", help="this batch alone, even if it has ended")
    command.add_argument(
        "--today", type=_day, metavar="DATE", help="another day, as 2026-11-20 (default: today)"
    )
    command.add_argument("--way", action="store_true", help="list every step to full sun")
    command.add_argument("--language", choices=("en", "es"), default="en", help="of sentences")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def _day(text: str) -> date:
    """Return a date written as 2026-11-20; argparse turns the ValueError into a usage line."""
    return date.fromisoformat(text)


def run(arguments: argparse.Namespace) -> int:
    """Print what the batches ask for; return 1 when anything is late or against its plan."""
    from api.cli import given
    from api.watch.clock import WallClock
    from api.web.words.languages import LANGUAGES
    from rules.local_time import NOON, latest_instant, local_day

    site, plans = given.in_force(arguments.site, arguments.plans, arguments.data)
    at = WallClock().now()
    if arguments.today is not None:
        at = latest_instant(arguments.today, NOON, site.site)
    today = local_day(at, site.site)
    asked = list(_asked(plans, site, arguments.batch, today=today, at=at))
    if arguments.batch is not None and not asked:
        codes = ", ".join(batch.code for batch in site.batch) or "none at all"
        msg = f"there is no batch {arguments.batch}. Known are {codes}."
        raise CannotGoOn(msg)
    words = LANGUAGES[arguments.language]
    trouble = any(one.care.in_trouble(today) for one in asked)
    if arguments.json:
        shown = {
            "today": today.isoformat(),
            "trouble": trouble,
            "batches": [_as_json(one, words, today) for one in asked],
        }
        sys.stdout.write(json.dumps(shown, indent=2, ensure_ascii=False) + "\n")
    else:
        for one in asked:
            way = bool(arguments.way)
            sys.stdout.write("\n".join(_as_lines(one, words, today=today, way=way)) + "\n\n")
        sys.stdout.write(_summary(asked, today) + "\n")
    return FOUND_TROUBLE if trouble else GOOD


def _asked(
    plans: Mapping[str, tuple[CarePlan, ...]],
    site: Site,
    code: str | None,
    *,
    today: date,
    at: datetime,
) -> Iterator[Asked]:
    from rules.care_today import care_today
    from rules.model.batch import ENDED
    from rules.model.plan import plan_in_force

    for batch in site.batch:
        if code not in {None, batch.code}:
            continue
        plan = plan_in_force(plans[batch.plan], at)
        care = care_today(batch, plan, site, today=today)
        if code is not None or (care.stage is not None and care.stage not in ENDED):
            yield Asked(care, plan)


def _as_lines(one: Asked, words: English, *, today: date, way: bool) -> Iterator[str]:
    care, language = one.care, words.code
    stage = words.stage_names[care.stage]
    yield f"{care.code}: {stage}, {care.days_since_grafting} days since grafting, {one.plan.id}"
    if not care.has_release:
        yield f"  next       the plan {one.plan.id} has no [release], so no step can be worked out"
    elif not care.steps:
        yield "  next       nothing more to do on the way out"
    for place, step in enumerate(care.steps if way else care.steps[:1]):
        late = f", {step.overdue_days} days late" if step.overdue_days else ""
        sure = ", if all goes as expected" if step.expected else ""
        name = "next" if place == 0 else "then"
        yield f"  {name:<10} {step.on}{late}{sure}: {step.says.in_language(language)}"
    for due in care.due_by(today):
        late_days = due.overdue_days(today)
        since = f"since {due.due_on}" if late_days else "today"
        yield f"  due        {since}: {due.says.in_language(language)} ({due.id})"
    for found in care.found:
        what = _named(found.what, words)
        reason, instead = found.verdict.reason, found.verdict.instead
        yield (
            f"  {_said(found):<10} {found.on}{f' {what}' if what else ''}: "
            f"{reason.in_language(language)}. {instead.in_language(language)}"
        )
    yield from _not_now(care, words)


def _not_now(care: CareToday, words: English) -> Iterator[str]:
    """Yield what must wait, all that waits for the same reason on one line."""
    together: dict[tuple[str, str], list[str]] = {}
    for one in care.not_now:
        reason = one.verdict.reason.in_language(words.code)
        instead = one.verdict.instead.in_language(words.code)
        name = "not yet" if _refused(one) else "better not"
        together.setdefault((name, f"{reason}. {instead}"), []).append(_named(one.what, words))
    for (name, said), what in together.items():
        yield f"  {name:<10} {', '.join(what)}: {said}"


def _summary(asked: list[Asked], today: date) -> str:
    troubled = [one.care.code for one in asked if one.care.in_trouble(today)]
    if not troubled:
        return f"{today}: nothing is late and nothing stands against a plan."
    return f"{today}: late or against the plan: {', '.join(troubled)}"


def _refused(one: NotNow | Found) -> bool:
    from rules.stages import Refused

    return isinstance(one.verdict, Refused)


def _said(found: Found) -> str:
    return "wrong" if _refused(found) else "doubtful"


def _named(what: Seen | Stage | None, words: English) -> str:
    from rules.model.batch import Seen

    if what is None:
        return ""
    return words.seen[what] if isinstance(what, Seen) else words.stage_names[what]


def _as_json(one: Asked, words: English, today: date) -> dict[str, object]:
    care, language = one.care, words.code
    return {
        "code": care.code,
        "stage": care.stage.value if care.stage else None,
        "days_since_grafting": care.days_since_grafting,
        "plan": {"id": one.plan.id, "version": one.plan.version},
        "has_release": care.has_release,
        "next": _step(care.steps[0], language) if care.steps else None,
        "way_out": [_step(step, language) for step in care.steps],
        "due": [_due(due, language, today) for due in care.due],
        "not_now": [_against(not_now, language) for not_now in care.not_now],
        "found": [
            {"on": found.on.isoformat(), **_against(found, language)} for found in care.found
        ],
        "trouble": care.in_trouble(today),
    }


def _step(step: Step, language: str) -> dict[str, object]:
    return {
        "kind": step.kind.value,
        "on": step.on.isoformat(),
        "due_on": step.due_on.isoformat(),
        "overdue_days": step.overdue_days,
        "expected": step.expected,
        "share": step.share,
        "stage": step.stage.value if step.stage else None,
        "seen": step.seen.value if step.seen else None,
        "says": step.says.in_language(language),
    }


def _due(due: Due, language: str, today: date) -> dict[str, object]:
    return {
        "id": due.id,
        "due_on": due.due_on.isoformat(),
        "overdue_days": due.overdue_days(today),
        "last_on": due.last_on.isoformat() if due.last_on else None,
        "seen": due.seen.value,
        "share": due.share,
        "says": due.says.in_language(language),
    }


def _against(one: NotNow | Found, language: str) -> dict[str, object]:
    return {
        "what": one.what.value if one.what else None,
        "verdict": "refused" if _refused(one) else "warned",
        "guard": one.verdict.guard.value,
        "reason": one.verdict.reason.in_language(language),
        "instead": one.verdict.instead.in_language(language),
    }
