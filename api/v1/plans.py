"""Care plans with their versions: read, a change looked at before it is kept, a new version."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Header, Path, Response
from pydantic import AwareDatetime, BaseModel, Field

from api.entering import Refused, UnknownThing
from api.plan_effects import plan_differences, touched
from api.plan_versions import (
    LONGEST_NOTE,
    MOST_CHARACTERS,
    keep_version,
    newest_version,
    plan_revision,
    text_of,
    versions_kept,
    versions_of,
)
from api.records.entries import ChangedMeanwhile
from api.v1.problems import Problem, Wrong
from api.v1.written import DifferenceBody, demanded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from api.parts import Parts
    from api.plan_versions import Draft, KeptVersion
    from rules.model.fault import Fault
    from rules.model.plan import CarePlan

PlanName = Annotated[str, Path(max_length=80)]
VersionNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]
IfMatch = Annotated[str | None, Header()]


class PlanText(BaseModel):
    """A care plan whole, as its text; who changes it, and why.

    Its `version` is given by the program. Without a later `in_force_from` in the text it counts
    from the next minute. `note` may be left out for a look only.
    """

    by: str = Field(min_length=1, max_length=40)
    note: str = Field(default="", max_length=LONGEST_NOTE)
    toml: str = Field(max_length=MOST_CHARACTERS)


class VersionLine(BaseModel):
    """One version: from when it counts (null: from the beginning), and who wrote it when and why.

    `by` is empty for what a file holds. `overtaken`: another took its place before it began, so it
    never counted.
    """

    version: int
    in_force_from: AwareDatetime | None
    overtaken: bool
    by: str
    at: AwareDatetime | None
    note: str


class PlanLine(BaseModel):
    """A plan in the list, with the number of its newest version."""

    id: str
    title: dict[str, str]
    version: int
    batches: list[str]


class PlanBody(BaseModel):
    """The newest version of a plan as its text, and all versions. `revision` goes into If-Match."""

    id: str
    version: int
    revision: str
    toml: str
    versions: list[VersionLine]


class VersionBody(BaseModel):
    """One version of a plan: its line, its text, and what it says, field by field."""

    line: VersionLine
    toml: str
    form: dict[str, object]


class MetBody(BaseModel):
    """A batch that follows the plan, in its stage when the version begins.

    `at_once` is false where nothing that counts for it then is changed.
    """

    batch: str
    stage: str | None
    at_once: bool


class NewVersion(BaseModel):
    """A version that is new, or, of a look, would be: from when, and what it does.

    `differences` are against version `before`, in force until then; versions in `overtakes` had
    not begun and never will.
    """

    version: int
    in_force_from: AwareDatetime
    before: int
    overtakes: list[int]
    differences: list[DifferenceBody]
    batches: list[MetBody]
    toml: str


def plans_api_router(parts: Parts) -> APIRouter:
    """Return the routes of care plans."""
    router = APIRouter(tags=["plans"])

    def made(name: str, body: PlanText, if_match: str | None, *, dry: bool) -> Draft:
        if name not in parts.plans:
            raise _no_plan(name)
        try:
            return keep_version(
                parts.records,
                parts.book,
                name,
                text=body.toml.replace("\r\n", "\n"),
                revision=demanded(if_match, None),
                by=body.by,
                note=body.note,
                at=parts.clock.now(),
                dry=dry,
            )
        except Refused as trouble:
            raise _refused(trouble.faults) from trouble
        except ChangedMeanwhile as trouble:
            raise Problem(HTTPStatus.PRECONDITION_FAILED, f"Not kept: {trouble}.") from trouble
        except UnknownThing as trouble:
            raise _no_plan(name) from trouble

    @router.get("/plans")
    def plans() -> list[PlanLine]:
        """Return every care plan with the batches that follow it."""
        return [
            PlanLine(
                id=name,
                title=(newest := newest_version(versions)).title.model_dump(),
                version=newest.version,
                batches=[one.code for one in parts.site.batch if one.plan == name],
            )
            for name, versions in sorted(parts.plans.items())
        ]

    @router.get("/plans/{name}")
    def plan(response: Response, name: PlanName) -> PlanBody:
        """Return the newest version as its text; its ETag goes into If-Match with a change."""
        book = parts.book.now
        if name not in book.plans:
            raise _no_plan(name)
        newest = newest_version(book.plans[name])
        kept = versions_kept(parts.records, name)
        counting = {one.version for one in book.plans[name]}
        revision = plan_revision(newest)
        response.headers["ETag"] = f'"{revision}"'
        return PlanBody(
            id=name,
            version=newest.version,
            revision=revision,
            toml=text_of(book, newest),
            versions=[
                _line(one, kept.get(one.version), overtaken=one.version not in counting)
                for one in versions_of(book, name)
            ],
        )

    @router.get("/plans/{name}/versions/{version}")
    def one_version(name: PlanName, version: VersionNumber) -> VersionBody:
        """Return one version, also one that never counted, as its text and field by field."""
        book = parts.book.now
        found = next((one for one in versions_of(book, name) if one.version == version), None)
        if found is None:
            msg = f"There is no version {version} of a plan {name!r}."
            raise Problem(HTTPStatus.NOT_FOUND, msg)
        kept = versions_kept(parts.records, name).get(version)
        return VersionBody(
            line=_line(found, kept, overtaken=found not in book.plans[name]),
            toml=text_of(book, found),
            form=found.model_dump(mode="json", exclude_none=True),
        )

    @router.post("/plans/{name}/preview")
    def preview(name: PlanName, body: PlanText, if_match: IfMatch = None) -> NewVersion:
        """Check a change and say what it would do; nothing is kept."""
        return _new_version(parts, made(name, body, if_match, dry=True))

    @router.put("/plans/{name}", status_code=HTTPStatus.CREATED)
    def put_plan(
        response: Response, name: PlanName, body: PlanText, if_match: IfMatch = None
    ) -> NewVersion:
        """Keep a new version, with If-Match of the newest one that was changed."""
        draft = made(name, body, if_match, dry=False)
        answer = _new_version(parts, draft)
        parts.refresh()
        response.headers["ETag"] = f'"{plan_revision(draft.plan)}"'
        response.headers["Location"] = f"/api/v1/plans/{name}/versions/{draft.plan.version}"
        return answer

    return router


def _new_version(parts: Parts, draft: Draft) -> NewVersion:
    batches = touched(parts.site, draft.before, draft.plan, begins=draft.begins)
    return NewVersion(
        version=draft.plan.version,
        in_force_from=draft.begins,
        before=draft.before.version,
        overtakes=list(draft.overtakes),
        differences=[
            DifferenceBody(field=one.field, was=one.was, now=one.now)
            for one in plan_differences(draft.before, draft.plan)
        ],
        batches=[MetBody(batch=one.code, stage=one.stage, at_once=one.at_once) for one in batches],
        toml=draft.text,
    )


def _line(plan: CarePlan, kept: KeptVersion | None, *, overtaken: bool) -> VersionLine:
    return VersionLine(
        version=plan.version,
        in_force_from=plan.in_force_from,
        overtaken=overtaken,
        by="" if kept is None else kept.by,
        at=None if kept is None else kept.at,
        note="" if kept is None else kept.note,
    )


def _no_plan(name: str) -> Problem:
    return Problem(HTTPStatus.NOT_FOUND, f"There is no care plan {name!r}.")


def _refused(faults: Sequence[Fault]) -> Problem:
    """Return the faults of a text, each with its line; what was said beside the text has none."""
    wrongs = [
        Wrong(
            where=one.field,
            detail=f"{one.problem}. {one.fix}",
            line=one.line if one.file == "text" else None,
        )
        for one in faults
    ]
    msg = "Nothing was kept: the plan has faults; see errors."
    return Problem(HTTPStatus.UNPROCESSABLE_ENTITY, msg, errors=wrongs)
