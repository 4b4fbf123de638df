"""What keeps the tool from doing its work, as the page of settings has it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel

from api.lacking import Lack, lacking
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from api.lacking import Lacking
    from api.parts import Parts


class SpanBody(BaseModel):
    """A stretch of time."""

    start: AwareDatetime
    end: AwareDatetime


class FaultBody(BaseModel):
    """What is wrong with what is written, where, and what to do."""

    file: str
    line: int
    field: str
    problem: str
    fix: str


class LackingBody(BaseModel):
    """One thing that is missing.

    `about` are the ids it speaks of: a person, a batch, or channels. `felt` is what a batch can't
    be seen by, `spans` the hours without anybody on duty, `fault` what is kept out.
    """

    kind: Lack
    about: list[str]
    felt: list[Felt]
    spans: list[SpanBody]
    fault: FaultBody | None


def settings_router(parts: Parts) -> APIRouter:
    """Return the route of what is missing. Values of settings are for the page alone."""
    router = APIRouter(prefix="/settings", tags=["watch"])

    @router.get("/lacking")
    def what_is_missing() -> list[LackingBody]:
        """Return what keeps the tool from doing its work, the gravest first; empty: nothing."""
        return [_body(one) for one in lacking(parts, parts.clock.now())]

    return router


def _body(one: Lacking) -> LackingBody:
    fault = one.fault
    return LackingBody(
        kind=one.kind,
        about=list(one.about),
        felt=list(one.felt),
        spans=[SpanBody(start=start, end=end) for start, end in one.spans],
        fault=None
        if fault is None
        else FaultBody(
            file=fault.file,
            line=fault.line,
            field=fault.field,
            problem=fault.problem,
            fix=fault.fix,
        ),
    )
