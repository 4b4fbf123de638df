"""What a batch asks of people: the way out step by step, what is due, and what must not be done."""

from __future__ import annotations

from datetime import date
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Path, Request, Response
from pydantic import AwareDatetime, BaseModel

from api.records.entries import in_force, taken_back
from api.records.observations import entered
from api.records.photos import standing_photos
from api.records.session import reading
from api.v1.named import batch_named
from api.v1.paging import USUAL, Cursor, Limit, one_page
from api.v1.problems import Problem
from api.v1.todo import SaysBody, says_body
from rules.care_today import care_today
from rules.local_time import local_day
from rules.model.batch import Stage
from rules.model.plan import plan_of
from rules.release import StepKind
from rules.stages import Refused

if TYPE_CHECKING:
    from api.parts import Parts
    from api.records.observations import Entered
    from rules.care_today import CareToday
    from rules.due import Due
    from rules.model.batch import Seen
    from rules.release import Step
    from rules.stages import Warned

Code = Annotated[str, Path(max_length=80)]


class StepBody(BaseModel):
    """One step of the way out. `expected`: its day rests on what nobody has seen yet.

    `seen` is the observation that records it, `share` how far; `stage` is what it declares.
    """

    kind: StepKind
    on: date
    due_on: date
    overdue_days: int
    expected: bool
    says: SaysBody
    seen: str | None
    share: float | None
    stage: Stage | None


class DueBody(BaseModel):
    """A check or a step of the method, by its day."""

    id: str
    due_on: date
    overdue_days: int
    says: SaysBody


class AgainstBody(BaseModel):
    """What may not be done today, or was done: `refused` harms, else it is a warning."""

    what: str | None
    share: float | None
    on: date | None
    refused: bool
    reason: SaysBody
    instead: SaysBody


class CareBody(BaseModel):
    """What one batch asks for on the local day `today`; the first of `steps` is the next step.

    `steps` is empty once it is released or has ended, and where its plan has no release.
    """

    code: str
    today: date
    stage: Stage | None
    days_since_grafting: int
    steps: list[StepBody]
    due: list[DueBody]
    not_now: list[AgainstBody]
    against_plan: list[AgainstBody]


class EnteredBody(BaseModel):
    """An observation as it was entered; `taken_back`: it counts no more.

    `photo`: there is one of it, at /observations/{number}/photo.
    """

    number: int
    at: AwareDatetime
    entered_at: AwareDatetime
    by: str | None
    seen: str
    share: float | None
    check: str | None
    alive: int | None
    dead: int | None
    bench: str | None
    note: str
    taken_back: bool
    photo: bool


def care_router(parts: Parts) -> APIRouter:
    """Return the routes of a batch's care and of what was seen of it."""
    router = APIRouter(prefix="/batches", tags=["batches"])

    @router.get("/{code}/care")
    def care(code: Code) -> CareBody:
        """Return the way out of a batch day by day, what is due, and what must not be done."""
        batch, now = batch_named(parts, code), parts.clock.now()
        plan = plan_of(parts.plans, batch.plan, now)
        if plan is None:
            raise Problem(HTTPStatus.NOT_FOUND, f"No version of plan {batch.plan!r} is in force.")
        today = local_day(now, parts.site.site)
        return _care(care_today(batch, plan, parts.site, today=today), today)

    @router.get("/{code}/observations")
    def observations(
        request: Request,
        response: Response,
        code: Code,
        limit: Limit = USUAL,
        cursor: Cursor = None,
    ) -> list[EnteredBody]:
        """Return what people entered of a batch, the newest number first, page by page."""
        batch_named(parts, code)
        with reading(parts.records) as db:
            every = [one for one in entered(db, batch=code) if one.id is not None]
            back = taken_back(in_force(db))
            photos = {one.observation for one in standing_photos(db, code)}
        older = sorted(
            (one for one in every if cursor is None or _number(one) < cursor),
            key=_number,
            reverse=True,
        )
        page = one_page(
            older[: limit + 1], limit, number=_number, request=request, response=response
        )
        return [_entered(one, back, photos) for one in page]

    return router


def _number(one: Entered) -> int:
    return one.id or 0


def _care(care: CareToday, today: date) -> CareBody:
    return CareBody(
        code=care.code,
        today=today,
        stage=care.stage,
        days_since_grafting=care.days_since_grafting,
        steps=[_step(one) for one in care.steps],
        due=[_due(one, today) for one in care.due],
        not_now=[_against(one.what, one.verdict, share=one.share, on=None) for one in care.not_now],
        against_plan=[_against(one.what, one.verdict, share=None, on=one.on) for one in care.found],
    )


def _against(
    what: Seen | Stage | None, verdict: Warned | Refused, *, share: float | None, on: date | None
) -> AgainstBody:
    return AgainstBody(
        what=None if what is None else what.value,
        share=share,
        on=on,
        refused=isinstance(verdict, Refused),
        reason=says_body(verdict.reason),
        instead=says_body(verdict.instead),
    )


def _step(one: Step) -> StepBody:
    return StepBody(
        kind=one.kind,
        on=one.on,
        due_on=one.due_on,
        overdue_days=one.overdue_days,
        expected=one.expected,
        says=says_body(one.says),
        seen=None if one.seen is None else one.seen.value,
        share=one.share,
        stage=one.stage,
    )


def _due(one: Due, today: date) -> DueBody:
    return DueBody(
        id=one.id, due_on=one.due_on, overdue_days=one.overdue_days(today), says=says_body(one.says)
    )


def _entered(one: Entered, back: frozenset[int], photos: set[int]) -> EnteredBody:
    seen = one.observation
    return EnteredBody(
        number=_number(one),
        at=seen.at,
        entered_at=one.entered_at,
        by=seen.by,
        seen=seen.seen.value,
        share=seen.share,
        check=seen.check,
        alive=seen.alive,
        dead=seen.dead,
        bench=seen.bench,
        note=seen.note,
        taken_back=one.id in back,
        photo=one.id in photos,
    )
