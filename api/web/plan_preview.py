"""What a version of a care plan would do, looked at before it is kept; and who was faster."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.plan_effects import plan_differences, starts_afresh, touched
from api.plan_versions import newest_version, plan_revision, versions_kept, versions_of
from api.records.alarms import standing_alarms
from api.records.session import reading
from api.web.plan_changes import changes_between
from api.web.words.plan_editing import editing_words
from api.web.words.plans import plan_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from api.parts import Parts
    from api.plan_effects import Touched
    from api.plan_versions import Draft
    from api.web.telling import Telling


@dataclass(frozen=True, slots=True)
class Preview:
    """All that is said of a version that is not kept yet. `fields`: name, was, becomes."""

    looked: str
    counts: tuple[str, ...]
    against: str
    changes: tuple[str, ...]
    fields: tuple[tuple[str, str, str], ...]
    meets: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Meanwhile:
    """What somebody else kept while this was typed."""

    said: str
    changes: tuple[str, ...]


def preview_of(parts: Parts, draft: Draft, telling: Telling) -> Preview:
    """Return what a draft would change and which batches it would meet from when."""
    words = editing_words(telling.words.code)
    return Preview(
        looked=words.looked.format(version=draft.plan.version),
        counts=tuple(_counts(draft, telling)),
        against=words.changes.format(version=draft.before.version),
        changes=tuple(changes_between(draft.before, draft.plan, telling)),
        fields=tuple(
            (one.field, _exactly(one.was, words.nothing), _exactly(one.now, words.nothing))
            for one in plan_differences(draft.before, draft.plan)
        ),
        meets=tuple(_meets(parts, draft, telling)),
    )


def _counts(draft: Draft, telling: Telling) -> Iterator[str]:
    words = editing_words(telling.words.code)
    soon = (draft.begins - telling.now).total_seconds() <= 60
    said = words.counts_from if soon else words.counts_later
    yield said.format(when=telling.time(draft.begins))
    if draft.overtakes:
        versions = telling.words.listed([str(one) for one in draft.overtakes])
        yield words.overtakes.format(versions=versions)


def _meets(parts: Parts, draft: Draft, telling: Telling) -> Iterator[str]:
    words = editing_words(telling.words.code)
    every = touched(parts.site, draft.before, draft.plan, begins=draft.begins)
    if not every:
        yield words.no_batch
    at_once = [_named(one, telling) for one in every if one.at_once]
    later = [_named(one, telling) for one in every if not one.at_once]
    if at_once:
        yield words.at_once.format(codes=", ".join(at_once), when=telling.time(draft.begins))
    anew = _starting_afresh(parts, draft, every)
    if anew:
        yield words.anew.format(codes=", ".join(anew))
    if later:
        yield words.later.format(codes=", ".join(later))


def _starting_afresh(parts: Parts, draft: Draft, every: Sequence[Touched]) -> list[str]:
    """Return the batches on which an alarm is open that the version ends, to begin anew."""
    ending = {
        (one.code, name)
        for one in every
        for name in starts_afresh(draft.before, draft.plan, one.stage)
    }
    with reading(parts.records) as db:
        ringing = [one for one in standing_alarms(db) if one.ended_at is None]
    found = (one.batch for one in ringing if (one.batch, one.condition) in ending)
    return list(dict.fromkeys(found))


def _named(one: Touched, telling: Telling) -> str:
    words = editing_words(telling.words.code)
    return words.later_line.format(code=one.code, stage=telling.words.stage_names[one.stage])


def _exactly(value: object, nothing: str) -> str:
    """Return a value as it is written in the text, not rounded and in no language."""
    return nothing if value is None else json.dumps(value, ensure_ascii=False)


def meanwhile_of(parts: Parts, name: str, revision: str, telling: Telling) -> Meanwhile:
    """Return who kept a newer version than the one that `revision` names, and what it changed."""
    words, versions = editing_words(telling.words.code), versions_of(parts.book.now, name)
    newest = newest_version(versions)
    kept = versions_kept(parts.records, name).get(newest.version)
    who, when, why = plan_words(telling.words.code).from_file, telling.time(telling.now), "–"
    if kept is not None:
        who, when, why = telling.person(kept.by), telling.time(kept.at), kept.note
    said = words.meanwhile.format(version=newest.version, name=who, when=when, note=why)
    begun = next((one for one in versions if plan_revision(one) == revision), None)
    changes = () if begun is None else tuple(changes_between(begun, newest, telling))
    return Meanwhile(said, changes)
