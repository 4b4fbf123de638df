"""Work in hand: what is being done on purpose, and so is not told as trouble."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel, Field

from api.records.session import reading, writing
from api.records.works import InHandAlready, UnknownWork, WorkOver, end_work, works_in_hand
from api.v1.numbers import Number
from api.v1.people import demand_person
from api.v1.problems import Problem
from api.watch.working import WorkNotPossible, begin
from rules.model.work import WorkKind
from rules.work_in_hand import SUPPRESSES

if TYPE_CHECKING:
    from api.parts import Parts
    from rules.model.work import Work


class WorkBody(BaseModel):
    """One piece of work. `suppresses` are the quantities whose alarms it holds back."""

    id: int
    kind: WorkKind
    place: str
    began: AwareDatetime
    until: AwareDatetime
    ended: AwareDatetime | None
    who: str
    note: str | None
    suppresses: list[str]


class Beginning(BaseModel):
    """What begins now, where, and who does it; without `minutes`, for the usual time."""

    kind: WorkKind
    place: str = Field(min_length=1, max_length=40)
    by: str = Field(min_length=1, max_length=40)
    minutes: int | None = None
    note: str | None = Field(default=None, max_length=300)


class Ending(BaseModel):
    """Who ends the work."""

    by: str = Field(min_length=1, max_length=40)


def works_router(parts: Parts) -> APIRouter:
    """Return the routes under /works."""
    router = APIRouter(prefix="/works", tags=["work in hand"])

    @router.get("")
    def works() -> list[WorkBody]:
        """Return the work that is in hand now."""
        with reading(parts.records) as db:
            return [_body(one) for one in works_in_hand(db, parts.clock.now())]

    @router.post("", status_code=HTTPStatus.CREATED)
    def begin_one(body: Beginning) -> WorkBody:
        """Begin work now; it ends by itself."""
        demand_person(parts, body.by)
        with writing(parts.records) as db:
            try:
                begun = begin(
                    db,
                    parts.site,
                    body.kind,
                    place=body.place,
                    who=body.by,
                    at=parts.clock.now(),
                    minutes=body.minutes,
                    note=body.note,
                )
            except WorkNotPossible as trouble:
                raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, f"{trouble}.") from trouble
            except InHandAlready as trouble:
                raise Problem(HTTPStatus.CONFLICT, f"{trouble}; end that first.") from trouble
        return _body(begun)

    @router.post("/{work_id}/end")
    def end_one(work_id: Number, body: Ending) -> WorkBody:
        """End work now, before its time; what is still wrong alarms from then on."""
        demand_person(parts, body.by)
        with writing(parts.records) as db:
            try:
                return _body(end_work(db, work_id, by=body.by, at=parts.clock.now()))
            except UnknownWork as trouble:
                raise Problem(HTTPStatus.NOT_FOUND, f"There is no work {work_id}.") from trouble
            except WorkOver as trouble:
                raise Problem(HTTPStatus.CONFLICT, f"Work {work_id} is over.") from trouble

    return router


def _body(work: Work) -> WorkBody:
    return WorkBody(
        id=work.id,
        kind=work.kind,
        place=work.place,
        began=work.began,
        until=work.until,
        ended=work.ended,
        who=work.who,
        note=work.note,
        suppresses=sorted(felt.value for felt in SUPPRESSES[work.kind]),
    )
