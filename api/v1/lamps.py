"""Lamps and sirens: what each should be now, and a trial that lights one for some seconds."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Path
from pydantic import AwareDatetime, BaseModel

from api.alerts.lamps import is_lit
from api.records.alarms import standing_alarms
from api.records.session import reading
from api.v1.problems import Problem
from collector.outgoing import Fate
from rules.model.alarm import Priority

if TYPE_CHECKING:
    from api.parts import Parts
    from rules.model.lamp import Lamp


class TrialBody(BaseModel):
    """The last trial since this process started; `accepted`: the broker passed it on."""

    at: AwareDatetime
    fate: Fate
    trouble: str


class LampBody(BaseModel):
    """A lamp or siren of the site: `houses` whose alarms light it, none: all; what it should be."""

    id: str
    title: str
    topic: str
    houses: list[str]
    priority: Priority
    lit: bool
    trial: TrialBody | None


def lamps_router(parts: Parts) -> APIRouter:
    """Return the routes under /lamps."""
    router = APIRouter(prefix="/lamps", tags=["people"])

    @router.get("")
    def lamps() -> list[LampBody]:
        """Return the lamps and sirens of the site, and whether each should be lit now."""
        return lamp_bodies(parts)

    @router.post("/{lamp}/light", status_code=HTTPStatus.ACCEPTED)
    def light(lamp: Annotated[str, Path(max_length=40)]) -> LampBody:
        """Light a lamp for five seconds, then tell it what it should be."""
        found = next((one for one in parts.site.lamp if one.id == lamp), None)
        if found is None:
            raise Problem(HTTPStatus.NOT_FOUND, f"There is no lamp {lamp!r} in the site file.")
        if parts.lamp_trials is None:
            raise Problem(HTTPStatus.CONFLICT, "No lamp can be tried from here.")
        if not parts.lamp_trials.begin(found):
            raise Problem(HTTPStatus.CONFLICT, f"The lamp {lamp!r} is being tried already.")
        return next(one for one in lamp_bodies(parts) if one.id == lamp)

    return router


def lamp_bodies(parts: Parts) -> list[LampBody]:
    """Return the lamps as the API says them."""
    site = parts.site
    if not site.lamp:
        return []
    with reading(parts.records) as db:
        alarms = standing_alarms(db)
    return [_body(one, parts, lit=is_lit(one, alarms, site)) for one in site.lamp]


def _body(lamp: Lamp, parts: Parts, *, lit: bool) -> LampBody:
    last = None if parts.lamp_trials is None else parts.lamp_trials.last(lamp.id)
    return LampBody(
        id=lamp.id,
        title=lamp.title,
        topic=lamp.topic,
        houses=list(lamp.houses),
        priority=lamp.priority,
        lit=lit,
        trial=None if last is None else TrialBody(at=last.at, fate=last.fate, trouble=last.trouble),
    )
