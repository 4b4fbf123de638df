"""The pages of care plans answer what each kind of batch needs."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from api.plan_versions import text_of, versions_kept, versions_of
from api.web.plan_changes import PARTED, asked_in_words, changes_between, vital_words
from api.web.plan_figures import drying_rows, method_sheets, release_figures
from api.web.words.plans import plan_words
from rules.model.plan import plan_in_force

if TYPE_CHECKING:
    from api.book import InForce
    from api.parts import Parts
    from api.plan_versions import KeptVersion
    from api.web.pages import Desk
    from api.web.plan_figures import FigureRow, MethodSheet
    from api.web.telling import Telling
    from rules.model.dose import DoseLimit
    from rules.model.plan import CarePlan, Limit, StagePlan


@dataclass(frozen=True, slots=True)
class Asked:
    """One limit or sum of a stage, in words."""

    asks: str
    details: str
    says: str
    action: str


@dataclass(frozen=True, slots=True)
class StageSheet:
    """What a plan asks for in one stage."""

    name: str
    limits: tuple[Asked, ...]
    sums: tuple[Asked, ...]
    checks: tuple[str, ...]
    vital: str


@dataclass(frozen=True, slots=True)
class VersionLine:
    """A version in the list: from when it counts, where it stands now, and who wrote it why."""

    version: int
    name: str
    since: str
    stands: str
    written: str
    shown: bool


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """One version of a plan as a readable sheet. `changed` is against the version before it."""

    id: str
    title: str
    answer: str
    version: int
    is_newest: bool
    versions: tuple[VersionLine, ...]
    batches: str
    source: str
    stages: tuple[StageSheet, ...]
    way_out: tuple[tuple[str, str], ...]
    way_out_source: str
    methods: tuple[MethodSheet, ...]
    drying: tuple[FigureRow, ...]
    is_first: bool
    changed: tuple[str, ...]


def plans_router(at: Desk) -> APIRouter:
    """Return the routes of both pages."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    @router.get("/plans")
    def plans(request: Request) -> Response:
        telling = at.telling(request)
        sheets = [plan_sheet(parts, name, telling) for name in sorted(parts.plans)]
        words = plan_words(telling.words.code)
        return at.answer(request, "plans.html", telling, sheets=sheets, p=words)

    @router.get("/plans/{name}")
    def one_plan(
        request: Request, name: str, version: Annotated[int | None, Query()] = None
    ) -> Response:
        telling = at.telling(request)
        demand_version(parts, name, version)
        sheet = plan_sheet(parts, name, telling, version=version)
        words = plan_words(telling.words.code)
        return at.answer(request, "plan.html", telling, sheet=sheet, p=words)

    @router.get("/plans/{name}/versions/{version}")
    def as_file(name: str, version: int) -> Response:
        demand_version(parts, name, version)
        book = parts.book.now
        plan = next(one for one in versions_of(book, name) if one.version == version)
        named = f'attachment; filename="{name}-{version}.toml"'
        return Response(
            text_of(book, plan),
            media_type="application/toml",
            headers={"content-disposition": named},
        )

    return router


def demand_version(parts: Parts, name: str, version: int | None) -> None:
    """Answer 404 unless there is such a plan, and such a version of it where one is named."""
    known = {plan.version for plan in versions_of(parts.book.now, name)}
    if not known or (version is not None and version not in known):
        raise HTTPException(HTTPStatus.NOT_FOUND)


def plan_sheet(
    parts: Parts, name: str, telling: Telling, *, version: int | None = None
) -> PlanSheet:
    """Return one version of a plan that is there; None: the one in force now."""
    book = parts.book.now
    counting, every = book.plans[name], versions_of(book, name)
    now = plan_in_force(counting, telling.now)
    shown = next((one for one in every if one.version == version), now)
    words = plan_words(telling.words.code)
    codes = [batch.code for batch in book.site.batch if batch.plan == name]
    title = shown.title.in_language(telling.words.code)
    earlier = [one for one in counting if one.version < shown.version]
    before = earlier[-1] if earlier else None
    kept = versions_kept(parts.records, name)
    return PlanSheet(
        id=name,
        title=title,
        answer=words.plan_answer.format(title=title),
        version=shown.version,
        is_newest=shown is every[-1],
        versions=tuple(_version(one, book, shown, kept.get(one.version), telling) for one in every),
        batches=words.batches.format(codes=", ".join(codes)) if codes else words.no_batch,
        source=words.source.format(source=shown.source),
        stages=tuple(
            _stage(telling.words.stage_names[stage], needs, telling)
            for stage, needs in shown.stage.items()
        ),
        way_out=tuple(release_figures(shown, telling).items()),
        way_out_source=shown.release.source if shown.release else "",
        methods=tuple(method_sheets(shown, telling)),
        drying=tuple(drying_rows(shown.drying, telling)),
        is_first=before is None,
        changed=() if before is None else tuple(changes_between(before, shown, telling)),
    )


def _version(
    one: CarePlan, book: InForce, shown: CarePlan, kept: KeptVersion | None, telling: Telling
) -> VersionLine:
    words = plan_words(telling.words.code)
    since = words.always
    if one.in_force_from is not None:
        since = words.from_when.format(when=telling.time(one.in_force_from))
    written = words.from_file
    if kept is not None:
        name, when = telling.person(kept.by), telling.time(kept.at)
        written = words.entered.format(name=name, when=when, note=kept.note)
    name = words.version.format(version=one.version)
    return VersionLine(one.version, name, since, _stands(one, book, telling), written, one is shown)


def _stands(one: CarePlan, book: InForce, telling: Telling) -> str:
    words, versions = plan_words(telling.words.code), book.plans[one.id]
    if one not in versions:
        instead = next(other for other in versions if other.version > one.version)
        return words.overtaken.format(version=instead.version)
    now = plan_in_force(versions, telling.now)
    if one is now:
        return words.in_force
    return words.to_come if versions.index(one) > versions.index(now) else words.over


def _stage(name: str, needs: StagePlan, telling: Telling) -> StageSheet:
    words = plan_words(telling.words.code)

    def asked(one: Limit | DoseLimit) -> Asked:
        asks, *details = asked_in_words(one, telling).split(PARTED)
        return Asked(asks, PARTED.join(details), telling.says(one), telling.action(one))

    return StageSheet(
        name=telling.words.capital(name),
        limits=tuple(asked(one) for one in needs.limit),
        sums=tuple(asked(one) for one in needs.dose),
        checks=tuple(
            words.every.format(days=one.every_days, says=one.says.in_language(telling.words.code))
            for one in needs.check
        ),
        vital=vital_words(needs, telling),
    )
