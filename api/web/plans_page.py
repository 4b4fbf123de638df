"""The pages of care plans answer what each kind of batch needs."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from starlette.exceptions import HTTPException

from api.web.plan_changes import (
    PARTED,
    asked_in_words,
    changes_between,
    drying_figures,
    release_figures,
    vital_words,
)
from api.web.words.plans import plan_words
from rules.model.plan import plan_in_force

if TYPE_CHECKING:
    from collections.abc import Sequence

    from starlette.responses import Response

    from api.parts import Parts
    from api.web.pages import Desk
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
    """A version in the list: its number, from when it counts, and where it stands now."""

    version: int
    name: str
    since: str
    stands: str
    shown: bool


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """One version of a plan as a readable sheet. `changed` is against the version before it."""

    id: str
    title: str
    answer: str
    version: int
    versions: tuple[VersionLine, ...]
    batches: str
    source: str
    stages: tuple[StageSheet, ...]
    way_out: tuple[tuple[str, str], ...]
    drying: tuple[tuple[str, str], ...]
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
        known = {plan.version for plan in parts.plans.get(name, ())}
        if not known or (version is not None and version not in known):
            raise HTTPException(HTTPStatus.NOT_FOUND)
        sheet = plan_sheet(parts, name, telling, version=version)
        words = plan_words(telling.words.code)
        return at.answer(request, "plan.html", telling, sheet=sheet, p=words)

    return router


def plan_sheet(
    parts: Parts, name: str, telling: Telling, *, version: int | None = None
) -> PlanSheet:
    """Return one version of a plan that is there; None: the one in force now."""
    book = parts.book.now
    versions = book.plans[name]
    now = plan_in_force(versions, telling.now)
    shown = next((one for one in versions if one.version == version), now)
    place = versions.index(shown)
    words = plan_words(telling.words.code)
    codes = [batch.code for batch in book.site.batch if batch.plan == name]
    title = shown.title.in_language(telling.words.code)
    before = versions[place - 1] if place else None
    return PlanSheet(
        id=name,
        title=title,
        answer=words.plan_answer.format(title=title),
        version=shown.version,
        versions=tuple(_version(one, versions, now, shown, telling) for one in versions),
        batches=words.batches.format(codes=", ".join(codes)) if codes else words.no_batch,
        source=words.source.format(source=shown.source),
        stages=tuple(
            _stage(telling.words.stage_names[stage], needs, telling)
            for stage, needs in shown.stage.items()
        ),
        way_out=tuple(release_figures(shown, telling).items()),
        drying=tuple(drying_figures(shown, telling).items()),
        is_first=before is None,
        changed=() if before is None else tuple(changes_between(before, shown, telling)),
    )


def _version(
    one: CarePlan,
    versions: Sequence[CarePlan],
    now: CarePlan,
    shown: CarePlan,
    telling: Telling,
) -> VersionLine:
    words = plan_words(telling.words.code)
    since = words.always
    if one.in_force_from is not None:
        since = words.from_when.format(when=telling.time(one.in_force_from))
    stands = words.in_force
    if one is not now:
        later = versions.index(one) > versions.index(now)
        stands = words.to_come if later else words.over
    name = words.version.format(version=one.version)
    return VersionLine(one.version, name, since, stands, one is shown)


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
