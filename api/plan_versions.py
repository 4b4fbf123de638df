"""New versions of care plans, written while all runs: checked as files are, then kept for good.

A version that was kept is never changed; whoever changes a plan makes the next one. It counts from
the next whole minute, or from a later moment that its text names, so what happened before stays
judged as it was. One that has not begun when the next is kept, and would begin no sooner than that,
never counts: the later edit takes its place.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from api.book import NAMED, with_plans
from api.entering import ANY_REVISION, Refused, UnknownThing, unknown_person
from api.records.entries import ChangedMeanwhile, Entry, Kind, append, in_force, of_kind
from api.records.session import reading, writing
from api.site_files import plan_in, site_in
from api.written.entered import Put
from api.written.plan_text import as_toml, with_values
from api.written.toml_text import toml_in
from rules.model.fault import Fault
from rules.model.plan import plan_in_force

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy import Connection, Engine

    from api.book import Book, InForce
    from rules.model.plan import CarePlan

TEXT = "text"
"""What faults of a text that someone writes call it."""

MOST_CHARACTERS = 400_000
"""How long a text may be: ten times the longest plan that we know."""

LONGEST_NOTE = 300
_MOMENT = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Draft:
    """A version that has no fault: its text, what it says, and from when it counts.

    `before` is the version in force until it begins; the numbers in `overtakes` never count once
    it is kept.
    """

    text: str
    plan: CarePlan
    begins: datetime
    before: CarePlan
    overtakes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class KeptVersion:
    """Who wrote a version, when and why."""

    version: int
    by: str
    at: datetime
    note: str


def versions_of(now: InForce, name: str) -> tuple[CarePlan, ...]:
    """Return every version of a plan by its number, with those that never counted; () if none."""
    known = (*now.plans.get(name, ()), *now.overtaken.get(name, ()))
    return tuple(sorted(known, key=lambda one: one.version))


def newest_version(versions: Iterable[CarePlan]) -> CarePlan:
    """Return the version with the highest number, of which the next one is made."""
    return max(versions, key=lambda one: one.version)


def plan_revision(plan: CarePlan) -> str:
    """Return a name for exactly this version; any change of its file changes it."""
    said = plan.model_dump_json(exclude_defaults=True)
    return f"{plan.version}-{hashlib.sha256(said.encode()).hexdigest()[:12]}"


def text_of(now: InForce, plan: CarePlan) -> str:
    """Return a version as its text, as it was written where that is known."""
    return now.texts.get((plan.id, plan.version)) or as_toml(plan)


def next_minute(at: datetime) -> datetime:
    """Return the first whole minute after an instant."""
    return at.replace(second=0, microsecond=0) + timedelta(minutes=1)


def drafted(text: str, versions: Sequence[CarePlan], *, at: datetime) -> Draft:
    """Return the version that a text makes after all others, numbered and with its moment.

    Raises Refused with every fault of the text, each with its line in it.
    """
    newest = newest_version(versions)
    if len(text) > MOST_CHARACTERS:
        problem, fix = f"is longer than {MOST_CHARACTERS} characters", "Shorten its notes."
        raise Refused([Fault(TEXT, 1, "file", problem, fix)])
    typed = toml_in(text, file=TEXT)
    if isinstance(typed, Fault):
        raise Refused([typed])
    faults: list[Fault] = []
    if typed.value(("id",)) != newest.id:
        problem = f'must stay "{newest.id}"'
        fix = "A plan keeps its id; a plan for other plants is a file of its own."
        faults.append(typed.fault(("id",), problem, fix=fix))
    said = typed.value(("in_force_from",))
    begins = next_minute(at)
    if isinstance(said, datetime):
        if said.tzinfo is not None and said >= begins:
            begins = said
        elif said not in {one.in_force_from for one in versions}:
            problem = "is over" if said.tzinfo is not None else "says no time zone"
            fix = (
                "Take the line out, then it counts from the next minute; or write a later moment, "
                "as 2026-01-05T17:00:00+10:00. What happened before stays judged as it was."
            )
            faults.append(typed.fault(("in_force_from",), problem, fix=fix))
    # What is told is told of the text as it was typed, so that its lines are right. Its number is
    # ours to give, and of its moment one fault is enough.
    told = {"version", *(one.field for one in faults)}
    faults += [one for one in plan_in(typed)[1] if one.field not in told]
    if faults:
        raise Refused(sorted(faults))
    numbered = with_values(text, {("in_force_from",): begins, ("version",): newest.version + 1})
    again = toml_in(numbered, file=TEXT)
    plan = None if isinstance(again, Fault) else plan_in(again)[0]
    if plan is None:
        raise Refused([Fault(TEXT, 1, "file", "can't be numbered", "Look at its first lines.")])
    since = newest.in_force_from
    if _said(plan) == _said(newest) and (since is None or begins >= since):
        fix = "Change a figure or a text, or leave the plan as it is."
        raise Refused([Fault(TEXT, 1, "file", f"says the same as version {newest.version}", fix)])
    return Draft(
        text=numbered,
        plan=plan,
        begins=begins,
        before=plan_in_force(versions, begins - _MOMENT),
        overtakes=tuple(
            one.version for one in versions if one.in_force_from and one.in_force_from >= begins
        ),
    )


def _said(plan: CarePlan) -> CarePlan:
    return plan.model_copy(update={"version": 0, "in_force_from": None})


def is_kept_already(text: str, kept: CarePlan) -> bool:
    """Return whether a version says what a text says: a button was pressed twice."""
    typed = toml_in(text, file=TEXT)
    plan = plan_in(typed)[0] if not isinstance(typed, Fault) else None
    return plan is not None and _said(plan) == _said(kept)


def keep_version(
    records: Engine,
    book: Book,
    name: str,
    *,
    text: str,
    revision: str,
    by: str,
    note: str,
    at: datetime,
    dry: bool = False,
) -> Draft:
    """Keep a new version of a plan; the book takes it up at its next look.

    `revision` is that of the newest version when the change was begun, `note` why it is made.
    `dry`: check only, and ask for no reason yet. Raises Refused, UnknownThing where there is no
    such plan, and ChangedMeanwhile where there is a newer version.
    """
    now = book.now
    with writing(records) as db:
        entered = in_force(db)
        versions = with_plans(now.base.files, entered).folder.versions.get(name)
        if versions is None:
            msg = f"there is no plan {name!r}"
            raise UnknownThing(msg)
        newest = newest_version(versions)
        if revision not in (ANY_REVISION, plan_revision(newest)):
            msg = f"plan {name!r} was changed: version {newest.version} is the newest now"
            raise ChangedMeanwhile(msg)
        draft = drafted(text, versions, at=at)
        faults = [*_with_the_rest(now, entered, draft, at=at), *unknown_person(now.site, by)]
        faults += [] if dry else _reason(note)
        if faults:
            raise Refused(faults)
        if not dry:
            key = f"{name} {draft.plan.version}"
            body = {"toml": draft.text}
            append(db, Kind.PLAN, key, body=body, by=by, note=note.strip(), at=at)
    return draft


def _reason(note: str) -> list[Fault]:
    """Return what is wrong with a reason; whoever is woken by a figure may ask for it."""
    if note.strip() and len(note) <= LONGEST_NOTE:
        return []
    problem = "is longer than 300 characters" if note.strip() else "is missing"
    return [Fault("entered", 0, "note", problem, "Say in a few words why the plan is changed.")]


def _with_the_rest(
    now: InForce, entered: Sequence[Entry], draft: Draft, *, at: datetime
) -> list[Fault]:
    """Return what is wrong once the version stands beside all that is in force."""
    new = Entry(0, Kind.PLAN, "", {"toml": draft.text}, 0, "", "", at)
    files = with_plans(now.base.files, (*entered, new))
    puts = [Put(one.kind.value, one.key, one.body, one.id) for one in entered if one.kind in NAMED]
    _, faults = site_in(files, puts)
    return list(faults)


def versions_kept(records: Engine, name: str) -> dict[int, KeptVersion]:
    """Return who wrote which version of a plan; those of files are not in it."""
    with reading(records) as db:
        return _kept(db, name)


def _kept(db: Connection, name: str) -> dict[int, KeptVersion]:
    found: dict[int, KeptVersion] = {}
    for one in of_kind(db, Kind.PLAN):
        of, _, number = one.key.rpartition(" ")
        if of == name:
            version = int(number)
            found[version] = KeptVersion(version, one.by, one.entered_at, one.note)
    return found
