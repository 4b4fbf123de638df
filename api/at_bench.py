"""What a person at the bench writes down: held against the care plan, then kept, and taken back.

A step that would harm the plants is refused with its reason. The lead may let it be done all the
same, with a note; that it was, and what spoke against it, stays beside what was written down.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from api.entering import (
    ANY_REVISION,
    Change,
    Refused,
    Seeing,
    UnknownThing,
    change,
    checked_observation,
    device_origin,
    enter_observation,
    take_back,
)
from api.records.entries import Kind, history
from api.records.observations import observation_numbered, observation_of_origin
from api.records.session import reading
from rules.deeds import judged, judged_stage
from rules.local_time import local_day
from rules.model.fault import Fault
from rules.model.plan import plan_of
from rules.stages import Allowed, Warned

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlalchemy import Engine

    from api.book import Book, InForce
    from rules.model.batch import Batch, Stage
    from rules.stages import Refused as SpokenAgainst
    from rules.stages import Verdict

MOVED_BY = "moved.observation"
"""What the note of an entry begins with that a batch got by being moved at the bench."""


class AgainstPlan(Exception):
    """The care plan speaks against it, and nothing was kept; the lead may say otherwise."""

    def __init__(self, verdict: SpokenAgainst) -> None:
        self.verdict = verdict
        super().__init__(f"{verdict.reason.en}. {verdict.instead.en}")


class LeadOnly(Exception):
    """Only the lead may do what the plan speaks against, and only with a note that says why."""


@dataclass(frozen=True, slots=True)
class WrittenDown:
    """What was kept. `new` is false where it had been sent before; `warned` speaks against it."""

    number: int
    new: bool
    warned: Warned | None = None


def write_down(
    records: Engine, book: Book, seeing: Seeing, *, at: datetime, override: bool, lead: bool
) -> WrittenDown:
    """Keep what was seen or done; with a bench, the batch stands there from now on.

    Sent again with the same `device_id` it is kept once. `override`: it is to be done against the
    plan, which takes the word of a `lead`. Raises Refused, UnknownThing, AgainstPlan and LeadOnly.
    """
    now = book.now
    batch = _batch(now, seeing.batch)
    seen = checked_observation(now, seeing, at=at)
    origin = device_origin(seeing)
    if origin is not None:
        with reading(records) as db:
            known = observation_of_origin(db, origin)
        if known is not None and known.id is not None:
            return WrittenDown(known.id, new=False)
    today = local_day(seen.at, now.site.site)
    plan = plan_of(now.plans, batch.plan, seen.at)
    verdict = judged(batch, plan, now.site, seen.seen, share=seen.share, today=today)
    against = _demand(verdict, note=seen.note, override=override, lead=lead)
    if against is not None:
        seeing = replace(seeing, fields={**seeing.fields, "despite": against})
    if seen.bench is not None:
        # First the place, then the word of it: cut off between them, what is sent again finds
        # the batch there already and only adds the word.
        _put_on_bench(records, book, batch.code, seen.bench, by=seeing.by, at=at, note=MOVED_BY)
    number, new = enter_observation(records, now, seeing, at=at)
    return WrittenDown(number, new, verdict if isinstance(verdict, Warned) else None)


def undo(
    records: Engine, book: Book, number: int, *, by: str, at: datetime, note: str = ""
) -> None:
    """Take back what was written down; a batch that was moved by it stands where it stood before.

    Taken back twice is as once. Raises UnknownThing, TooLate and Refused.
    """
    take_back(records, book.now, number, by=by, at=at, note=note)
    with reading(records) as db:
        entered = observation_numbered(db, number)
        if entered is None or entered.observation.bench is None:
            return
        past = history(db, Kind.BATCH, entered.batch)
    if len(past) < 2 or past[-1].note != MOVED_BY or past[-1].body is None:
        return
    stood, stands = past[-2].body, past[-1].body
    if stood is None or stands["bench"] != entered.observation.bench:
        return
    bench = str(stood["bench"])
    _put_on_bench(records, book, entered.batch, bench, by=by, at=at, note="taken back")


def declare(
    records: Engine,
    book: Book,
    code: str,
    to: Stage,
    *,
    because: str,
    by: str,
    at: datetime,
    override: bool,
    lead: bool,
) -> None:
    """Move a batch to a stage from now on, for a reason that was seen.

    `override` and `lead` as in `write_down`.

    Raises Refused, UnknownThing, AgainstPlan, LeadOnly and ChangedMeanwhile.
    """
    now = book.now
    batch = _batch(now, code)
    if batch.stage_at(at) is to:
        return
    if not because.strip():
        fault = Fault("entered", 0, "because", "is empty", "Write what you saw.")
        raise Refused([fault])
    today = local_day(at, now.site.site)
    plan = plan_of(now.plans, batch.plan, at)
    verdict = judged_stage(batch, plan, now.site, to, because=because, today=today)
    against = _demand(verdict, note=because, override=override, lead=lead)
    form = now.written(Kind.BATCH, code)
    if form is None:
        raise _unknown(code)
    move: dict[str, object] = {"stage": to.value, "since": at.isoformat(), "because": because}
    if against is not None:
        move["despite"] = against
    moves = form["stage"]
    if not isinstance(moves, list):
        msg = f"the stages of batch {code} are no list"
        raise AssertionError(msg)  # noqa: TRY004 - a form of ours is at fault, not its type
    changed = Change(Kind.BATCH, code, {**form, "stage": [*moves, move]}, ANY_REVISION)
    change(records, book, [changed], by=by, at=at, note=because)


def says(verdict: Verdict, language: str) -> str:
    """Return why something is not to be done and what to do instead; "" if nothing is against it.

    >>> says(Allowed(), "en")
    ''
    """
    if isinstance(verdict, Allowed):
        return ""
    reason, instead = verdict.reason.in_language(language), verdict.instead.in_language(language)
    return f"{reason[:1].upper()}{reason[1:]}. {instead}"


def _demand(verdict: Verdict, *, note: str, override: bool, lead: bool) -> str | None:
    """Return what was overridden, None if nothing had to be; raise where it may not be done."""
    if isinstance(verdict, Allowed | Warned):
        return None
    if not override:
        raise AgainstPlan(verdict)
    if not lead or not note.strip():
        raise LeadOnly
    return verdict.guard.value


def _batch(now: InForce, code: str) -> Batch:
    found = next((one for one in now.site.batch if one.code == code), None)
    if found is None:
        raise _unknown(code)
    return found


def _unknown(code: str) -> UnknownThing:
    msg = f"there is no batch {code!r}"
    return UnknownThing(msg)


def _put_on_bench(
    records: Engine, book: Book, code: str, bench: str, *, by: str, at: datetime, note: str
) -> None:
    form: Mapping[str, object] | None = book.now.written(Kind.BATCH, code)
    if form is None:
        raise _unknown(code)
    moved = Change(Kind.BATCH, code, {**form, "bench": bench}, ANY_REVISION)
    change(records, book, [moved], by=by, at=at, note=note)
