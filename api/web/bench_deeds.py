"""What the page at the bench offers for one batch, and how a form names a deed.

A deed is sent as `seen`, with what belongs to it: `checked.pots`, `stock_cut~0.5`, `moved@b3`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.at_bench import says
from api.entering import UNDONE_WITHIN
from api.records.entries import Kind, history
from api.records.observations import entered
from api.records.photos import standing_photos
from api.records.session import reading
from api.web.telling import asked_of, grave
from api.web.words.bench import bench_words
from rules.care_today import care_today
from rules.deeds import fitting, stages_to_declare
from rules.local_time import local_day
from rules.model.batch import Seen
from rules.model.plan import plan_of
from rules.release import StepKind
from rules.stages import Refused

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from api.parts import Parts
    from api.v1.sight import Present
    from api.web.telling import Telling
    from rules.care_today import CareToday
    from rules.deeds import Fitting
    from rules.model.batch import Batch, Observation, Stage
    from rules.release import Step

DEED = re.compile(
    r"(?P<seen>[a-z_]{1,40})(?:\.(?P<check>[A-Za-z0-9._-]{1,40}))?"
    r"(?:~(?P<share>[01](?:\.\d{1,6})?))?(?:@(?P<bench>[A-Za-z0-9._-]{1,40}))?"
)


@dataclass(frozen=True, slots=True)
class Deed:
    """A button: what it sends, what it says, and what speaks against it ("" if nothing)."""

    value: str
    text: str
    against: str
    due: bool


@dataclass(frozen=True, slots=True)
class JustWritten:
    """Something that can still be taken back."""

    number: int
    text: str
    at: str
    has_photo: bool


@dataclass(frozen=True, slots=True)
class StageForm:
    """The stages that may be declared, the one that is due now, and why it is."""

    stages: tuple[tuple[str, str], ...]
    due: str
    because: str


@dataclass(frozen=True, slots=True)
class BenchPage:
    """All that the page says. `step` is the deed that is due today, with how late it is.

    `do_first` is what the standing alarms ask for, the gravest first.
    """

    code: str
    kind: str
    place: str
    standing: str
    standing_words: str
    do_first: tuple[str, ...]
    step: Deed | None
    step_button: str
    step_late: str
    sees: tuple[Deed, ...]
    does: tuple[Deed, ...]
    named: tuple[Deed, ...]
    refused: tuple[Deed, ...]
    benches: tuple[Deed, ...]
    count: int
    stage: StageForm
    written: tuple[JustWritten, ...]


def deed_value(
    seen: Seen, *, check: str | None = None, share: float | None = None, bench: str | None = None
) -> str:
    """Return how a form names a deed.

    >>> deed_value(Seen.STOCK_CUT, share=0.5)
    'stock_cut~0.5'
    """
    text = seen.value
    if check is not None:
        text += f".{check}"
    if share is not None:
        text += f"~{share:.6f}".rstrip("0").rstrip(".")
    return text if bench is None else f"{text}@{bench}"


def deed_fields(value: str) -> dict[str, object] | None:
    """Return the fields of an observation that a form names; None if it names none.

    >>> deed_fields("moved@b3")
    {'seen': 'moved', 'bench': 'b3'}
    """
    found = DEED.fullmatch(value)
    if found is None:
        return None
    fields: dict[str, object] = {k: v for k, v in found.groupdict().items() if v is not None}
    if "share" in fields:
        fields["share"] = float(found["share"])
    return fields


def bench_page(parts: Parts, present: Present, batch: Batch, telling: Telling) -> BenchPage:
    """Gather what the page at the bench offers for a batch now."""
    site, now = parts.site, telling.now
    today = local_day(now, site.site)
    plan = plan_of(parts.plans, batch.plan, now)
    care = None if plan is None else care_today(batch, plan, site, today=today)
    found = fitting(batch, plan, site, at=now, today=today)
    step = _step_today(care, telling)
    deeds = [(one, _deed(one, telling)) for one in found if one.seen not in _IN_FORMS]
    allowed = [(one, deed) for one, deed in deeds if not isinstance(one.verdict, Refused)]
    named = [deed for one, deed in allowed if one.says is not None]
    late = care.steps[0].overdue_days if care is not None and care.steps else 0
    outlook = present.outlooks.get(batch.code)
    standing = None if outlook is None else outlook.standing
    looks = care is not None and bool(care.steps) and care.steps[0].kind is StepKind.LOOK
    words = telling.words
    return BenchPage(
        code=batch.code,
        kind=telling.kind(batch),
        place=telling.bench(batch.bench),
        standing="unwatched" if standing is None else standing.value,
        standing_words=telling.standing(standing),
        do_first=tuple(_do_first(parts, present, batch, telling)),
        step=step,
        step_button=words.capital(words.seen[Seen.NEW_GROWTH])
        if looks
        else bench_words(words.code).done,
        step_late=telling.words.late_by(late) if late else "",
        sees=tuple(deed for one, deed in allowed if one.says is None and one.is_seen),
        does=tuple(deed for one, deed in allowed if one.says is None and not one.is_seen),
        named=tuple(sorted(named, key=lambda deed: not deed.due)),
        refused=tuple(deed for one, deed in deeds if isinstance(one.verdict, Refused)),
        benches=_benches(found, batch, telling),
        count=batch.count,
        stage=_stage_form(batch, care, stages_to_declare(batch, plan, site), telling),
        written=tuple(one for _, one in just_written(parts, telling, code=batch.code)),
    )


def _do_first(parts: Parts, present: Present, batch: Batch, telling: Telling) -> Iterator[str]:
    plan = plan_of(parts.plans, batch.plan, telling.now)
    alarms = [one for one in present.alarms if one.batch == batch.code]
    for alarm in sorted(alarms, key=lambda one: not grave(one.priority)):
        asked = asked_of(plan, batch, alarm.condition, telling.now)
        if asked is not None:
            wrong = telling.words.capital(telling.says(asked))
            yield f"{wrong}. {telling.action(asked)}"


_IN_FORMS = frozenset({Seen.MOVED, Seen.COUNTED, Seen.NOTED})
"""What needs a place, figures or words, and so has a form of its own."""


def _deed(one: Fitting, telling: Telling) -> Deed:
    words = telling.words
    text = words.seen[one.seen] if one.says is None else one.says.in_language(words.code)
    against = says(one.verdict, words.code)
    value = deed_value(one.seen, check=one.check, share=one.share)
    return Deed(value, words.capital(text), against, one.due)


def _step_today(care: CareToday | None, telling: Telling) -> Deed | None:
    """Return the step of the way out that is due; None if none is, or a stage is to be declared."""
    if care is None or not care.steps:
        return None
    step = care.steps[0]
    if step.on > local_day(telling.now, telling.site.site) or step.seen is None:
        return None
    return Deed(
        deed_value(step.seen, share=step.share if step.seen in _WITH_STEP_SHARE else None),
        step.says.in_language(telling.words.code),
        "",
        due=True,
    )


_WITH_STEP_SHARE = frozenset({Seen.COVER_OPENED, Seen.LIGHT_RAISED, Seen.LIGHT_LOWERED})


def _benches(found: Iterable[Fitting], batch: Batch, telling: Telling) -> tuple[Deed, ...]:
    if all(one.seen is not Seen.MOVED for one in found):
        return ()
    return tuple(
        Deed(deed_value(Seen.MOVED, bench=bench.id), telling.words.capital(bench.title), "", False)  # noqa: FBT003
        for bench in telling.site.bench
        if bench.id != batch.bench
    )


def _stage_form(
    batch: Batch, care: CareToday | None, stages: tuple[Stage, ...], telling: Telling
) -> StageForm:
    words = telling.words
    now = batch.stage_at(telling.now)
    step: Step | None = care.steps[0] if care is not None and care.steps else None
    due = step.stage if step is not None and step.stage is not None else None
    return StageForm(
        stages=tuple((one.value, words.stage_names[one]) for one in stages if one is not now),
        due="" if due is None else due.value,
        because="" if due is None or step is None else step.says.in_language(words.code),
    )


def just_written(
    parts: Parts, telling: Telling, *, code: str | None
) -> tuple[tuple[str, JustWritten], ...]:
    """Return what was written down and can still be taken back, with its batch, the newest first.

    Of one batch or (None) of all.
    """
    earliest = telling.now - UNDONE_WITHIN + timedelta(seconds=20)
    with reading(parts.records) as db:
        found = entered(db, batch=code, since=earliest)
        with_photo = {
            photo.observation
            for batch in {one.batch for one in found}
            for photo in standing_photos(db, batch)
        }
        standing = [one for one in found if not history(db, Kind.OBSERVATION, str(one.id))]
    standing.sort(key=lambda one: (one.entered_at, one.id or 0), reverse=True)
    return tuple(
        (
            one.batch,
            JustWritten(
                one.id or 0,
                observed(one.observation, telling),
                telling.time(one.observation.at),
                one.id in with_photo,
            ),
        )
        for one in standing
    )


def observed(one: Observation, telling: Telling) -> str:
    """Return what was seen or done in one line: "counted, 20 alive, 4 dead · Tobin"."""
    words, own = telling.words, bench_words(telling.words.code)
    said = [words.seen[one.seen]]
    if one.check is not None:
        said.append(one.check)
    if one.share is not None:
        said.append(f"{one.share * 100:.0f}\N{NO-BREAK SPACE}%")
    if one.alive is not None:
        said.append(own.living.format(alive=one.alive))
    if one.dead is not None:
        said.append(f"{one.dead} {own.dead.lower()}")
    if one.bench is not None:
        said.append(own.to_bench.format(bench=telling.bench(one.bench)))
    if one.despite is not None:
        said.append(own.overridden)
    rest = [one.note, telling.person(one.by) if one.by else ""]
    return " · ".join(part for part in (", ".join(said), *rest) if part)
