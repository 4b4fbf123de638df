"""How anything is entered while all runs: pages, the API and commands all come through here.

What is entered is held to the same checks as the site file, together with all that is in force, and
kept only if the whole has no fault. Kept, it counts from the next minute that the watch closes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from pydantic import ValidationError

from api.book import NAMED, form_in, form_revision, with_plans
from api.records.entries import ChangedMeanwhile, Kind, append, in_force, newest_of
from api.records.observations import Entered, enter, observation_numbered, observation_of_origin
from api.records.photos import remove_photo
from api.records.session import writing
from api.site_files import site_in
from api.written.entered import Put, key_of
from api.written.sentences import own_words
from rules.model.batch import Observation
from rules.model.fault import Fault

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlalchemy import Connection, Engine

    from api.book import Book, InForce
    from rules.model.batch import Batch
    from rules.model.site import Site

ANY_REVISION = "*"
"""In place of a revision: whatever the thing is now."""

UNDONE_WITHIN = timedelta(minutes=15)
"""For how long an observation can be taken back. House rule: after that, write another."""

AHEAD = timedelta(minutes=5)
"""By how much a device's clock may be fast."""

THE_FILE = ""
"""Who stands for the site file in the trail: what an entry was put over is kept before it."""


class Refused(Exception):
    """Nothing was kept. Each fault names the field, what is wrong, and the way out."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(f"{one.field}: {one.problem}. {one.fix}" for one in faults))


class TooLate(Exception):
    """An observation can't be taken back any more."""


class UnknownThing(LookupError):
    """There is nothing of that name."""


@dataclass(frozen=True, slots=True)
class Change:
    """A thing as it is to be; `body` None takes it away.

    `revision` is that of the form which was changed, see `api.book.form_revision`: "none" for a
    thing that is to be new.
    """

    kind: Kind
    key: str
    body: Mapping[str, object] | None
    revision: str


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a change. `form` is the whole written form now; `number` None: no change."""

    change: Change
    form: Mapping[str, object] | None
    number: int | None

    @property
    def revision(self) -> str:
        """The revision of the form, for the next change."""
        return form_revision(self.form)


def change(
    records: Engine,
    book: Book,
    changes: Sequence[Change],
    *,
    by: str,
    at: datetime,
    note: str = "",
    dry: bool = False,
) -> tuple[Kept, ...]:
    """Keep all changes together, or none of them. The book takes them up at its next look.

    `dry`: check only. Raises Refused, ChangedMeanwhile and UnknownThing.
    """
    now = book.now
    with writing(records) as db:
        entered = in_force(db)
        known = {(one.kind, one.key): one for one in entered}
        before = {}
        for one in changes:
            mine = known.get((one.kind, one.key))
            form = now.written(one.kind, one.key) if mine is None else mine.body
            before[one.kind, one.key] = form
            _demand_same(one, form)
        puts = {(e.kind, e.key): Put(e.kind.value, e.key, e.body, e.id) for e in entered}
        puts |= {(c.kind, c.key): Put(c.kind.value, c.key, c.body, 0) for c in changes}
        lists = [put for (kind, _), put in puts.items() if kind in NAMED]
        site, faults = site_in(with_plans(now.base.files, entered), lists)
        faults = (*_own_faults(changes), *faults, *unknown_person(site or now.site, by))
        if site is None or faults:
            raise Refused(faults)
        return tuple(
            _keep(db, site, one, before[one.kind, one.key], by=by, at=at, note=note, dry=dry)
            for one in changes
        )


def _demand_same(one: Change, form: Mapping[str, object] | None) -> None:
    if form is None and one.body is None:
        msg = f"there is no {one.kind} {one.key!r}"
        raise UnknownThing(msg)
    if one.revision not in (ANY_REVISION, form_revision(form)):
        what = "is there already" if form is not None and one.revision == "none" else "was changed"
        if form is None:
            what = "is not there"
        msg = f"{one.kind} {one.key!r} {what}: look at it as it is now, and change that"
        raise ChangedMeanwhile(msg)


def _own_faults(changes: Sequence[Change]) -> list[Fault]:
    faults: list[Fault] = []
    for one in changes:
        if one.body is None:
            continue
        field = f"{one.kind}[{one.key}]"
        if one.kind is Kind.BATCH and "observation" in one.body:
            problem, fix = "is not part of a batch here", "Enter observations one by one."
            faults.append(Fault("entered", 0, f"{field}.observation", problem, fix))
        if key_of(one.kind.value, one.body) != one.key:
            names = ", ".join(NAMED[one.kind])
            problem = f'says "{key_of(one.kind.value, one.body)}", and this is about "{one.key}"'
            fix = "A name is never changed; enter a new one and close the old one."
            faults.append(Fault("entered", 0, f"{field}.{names}", problem, fix))
    return faults


def unknown_person(site: Site, by: str) -> list[Fault]:
    """Return the fault of a name that nobody at the nursery has; nothing if someone has it."""
    known = [person.id for person in site.person]
    if by in known:
        return []
    return [
        Fault("entered", 0, "by", f'nobody has the id "{by}"', f"Write one of {', '.join(known)}.")
    ]


def _keep(
    db: Connection,
    site: Site,
    one: Change,
    before: Mapping[str, object] | None,
    *,
    by: str,
    at: datetime,
    note: str,
    dry: bool,
) -> Kept:
    form = None if one.body is None else form_in(site, one.kind, one.key)
    if form == before:
        return Kept(one, form, None)
    if dry:
        return Kept(one, form, 0)
    if before is not None and newest_of(db, one.kind, one.key) is None:
        append(db, one.kind, one.key, body=before, by=THE_FILE, note="", at=at)
    number = append(db, one.kind, one.key, body=form, by=by, note=note, at=at)
    return Kept(one, form, number)


@dataclass(frozen=True, slots=True)
class Seeing:
    """An observation as someone enters it. `device_id` is made by the sender, to send it again."""

    batch: str
    fields: Mapping[str, object]
    by: str
    device_id: str | None = None


def device_origin(seeing: Seeing) -> str | None:
    """Return what an observation is known by when it is sent again; None: by nothing."""
    return None if seeing.device_id is None else f"device.{seeing.by}.{seeing.device_id}"


def checked_observation(now: InForce, seeing: Seeing, *, at: datetime) -> Observation:
    """Return what was entered as an observation that fits its batch.

    Raises Refused with every fault, and UnknownThing.
    """
    batch = next((one for one in now.site.batch if one.code == seeing.batch), None)
    if batch is None:
        msg = f"there is no batch {seeing.batch!r}"
        raise UnknownThing(msg)
    faults = unknown_person(now.site, seeing.by)
    seen: Observation | None = None
    try:
        seen = Observation.model_validate({"at": at, **seeing.fields, "by": seeing.by})
    except ValidationError as trouble:
        for wrong in trouble.errors(include_url=False):
            field, problem, fix = own_words(Observation, wrong)
            faults.append(Fault("entered", 0, field, problem, fix))
    if seen is not None:
        faults += _unfitting(now.site, batch, seen, at=at)
    if seen is None or faults:
        raise Refused(faults)
    return seen


def _unfitting(site: Site, batch: Batch, seen: Observation, *, at: datetime) -> list[Fault]:
    faults: list[Fault] = []
    if seen.at > at + AHEAD:
        fix = "Write when it was, or leave it out for now."
        faults.append(Fault("entered", 0, "at", "is still to come", fix))
    if seen.counted > batch.count:
        problem = f"{seen.counted} plants are more than the {batch.count} of {batch.code}"
        faults.append(Fault("entered", 0, "alive", problem, "Count again."))
    benches = [bench.id for bench in site.bench]
    if seen.bench is not None and seen.bench not in benches:
        problem, fix = f'there is no bench "{seen.bench}"', f"Write one of {', '.join(benches)}."
        faults.append(Fault("entered", 0, "bench", problem, fix))
    return faults


def enter_observation(
    records: Engine, now: InForce, seeing: Seeing, *, at: datetime
) -> tuple[int, bool]:
    """Keep an observation; return its number, and whether it is new.

    Sent again with the same `device_id` it is kept once. Raises Refused and UnknownThing.
    """
    seen = checked_observation(now, seeing, at=at)
    origin = device_origin(seeing)
    with writing(records) as db:
        known = None if origin is None else observation_of_origin(db, origin)
        if known is not None and known.id is not None:
            return known.id, False
        number = enter(db, Entered(seeing.batch, seen, at, origin))
        if number is None:
            msg = f"origin {origin} was entered meanwhile"
            raise AssertionError(msg)
        return number, True


def take_back(
    records: Engine, now: InForce, number: int, *, by: str, at: datetime, note: str = ""
) -> None:
    """Take an observation back: it counts no more, and stays in the trail; its photo is wiped.

    Taken back twice is as once. Raises UnknownThing, TooLate and Refused.
    """
    faults = unknown_person(now.site, by)
    if faults:
        raise Refused(faults)
    with writing(records) as db:
        entered = observation_numbered(db, number)
        if entered is None:
            msg = f"there is no observation {number}"
            raise UnknownThing(msg)
        if newest_of(db, Kind.OBSERVATION, str(number)) is not None:
            return
        if at - entered.entered_at > UNDONE_WITHIN:
            minutes = int(UNDONE_WITHIN.total_seconds() // 60)
            msg = f"it was entered over {minutes} minutes ago; enter another that puts it right"
            raise TooLate(msg)
        append(db, Kind.OBSERVATION, str(number), body=None, by=by, note=note, at=at)
        remove_photo(db, number, by=by, at=at, why=note)
