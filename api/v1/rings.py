"""What alarms ask of people: how often they ring, beside published figures, and which cry wolf."""

from __future__ import annotations

from datetime import datetime
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, BeforeValidator

from api.records.history import load_between
from api.records.session import reading
from api.records.tables import as_ms, instant
from api.records.watch import load_position
from api.v1.problems import Problem
from rules.alarm_load import BRIEF_MIN, LEAST_RINGS
from rules.benchmarks import ASSESSED_DAYS, Figure, Verdict, beside, beside_rate
from rules.model.alarm import Priority
from rules.model.reading import MINUTE_MS, minute_of

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from api.parts import Parts
    from rules.alarm_load import AlarmLoad, LimitLoad, Rate
    from rules.benchmarks import Beside
    from rules.model.site import Site

USUAL_DAYS = 30


class BesideBody(BaseModel):
    """A figure, null with too few to say, beside the published one and where that comes from."""

    figure: Figure
    value: float | None
    good: float
    most: float
    verdict: Verdict
    source: str


class RateBody(BaseModel):
    """How often something came. `per_night` is null where no whole night lies in the span."""

    count: int
    per_night: float | None
    by_day: list[int]
    figures: list[BesideBody]


class LimitBody(BaseModel):
    """What one limit asked of people; shares and medians are null with too few to say."""

    plan: str
    stage: str
    condition: str
    priority: Priority
    rings: int
    batches: int
    open_min: int
    median_open_min: float | None
    longest_open_min: int
    median_answer_min: float | None
    brief: int
    brief_share: float | None
    unanswered_share: float | None
    chatter_share: float | None


class LoadBody(BaseModel):
    """The load of a span. `rings` are as if one person had been told every one of them.

    A ring is brief if it was over within `brief_min` with nobody having answered. Published
    figures ask for `assessed_days` at least.
    """

    start: AwareDatetime
    end: AwareDatetime
    days: float
    assessed_days: int
    brief_min: int
    least_rings: int
    rings: RateBody
    messages: dict[str, RateBody]
    standing_mean: float
    standing_most: int
    chattering: int
    stale_most: int
    figures: list[BesideBody]
    limits: list[LimitBody]


class NothingWatched(ValueError):
    """No minute of the span was watched; the message says what was."""


def load_body(load: AlarmLoad) -> LoadBody:
    """Return a load as it is handed out."""
    rate_figures = {one.figure for one in beside_rate(load.rings, load.days)}
    return LoadBody(
        start=instant(load.first_minute * MINUTE_MS),
        end=instant(load.end_minute * MINUTE_MS),
        days=load.days,
        assessed_days=ASSESSED_DAYS,
        brief_min=BRIEF_MIN,
        least_rings=LEAST_RINGS,
        rings=_rate(load.rings, load.days),
        messages={name: _rate(rate, load.days) for name, rate in load.messages.items()},
        standing_mean=load.standing_mean,
        standing_most=load.standing_most,
        chattering=load.chattering,
        stale_most=load.stale_most,
        figures=[_beside(one) for one in beside(load) if one.figure not in rate_figures],
        limits=[_limit(one) for one in load.limits],
    )


def watched_load(
    db: Connection, site: Site, *, start: datetime | None, end: datetime | None
) -> AlarmLoad:
    """Return the load of the part of a span that the watch has judged.

    Without a start, of the last thirty days before its end. NothingWatched if there is no part.
    """
    position = load_position(db)
    if position is None:
        msg = "nothing has been watched yet"
        raise NothingWatched(msg)
    end_minute = position.next_minute
    if end is not None:
        end_minute = min(end_minute, minute_of(as_ms(end)))
    first = end_minute - USUAL_DAYS * 1440 if start is None else minute_of(as_ms(start))
    first = max(first, position.began_minute)
    if first >= end_minute:
        began, until = (
            instant(minute * MINUTE_MS).isoformat()
            for minute in (position.began_minute, position.next_minute)
        )
        msg = f"nothing of that time was watched; the watch has judged {began} to {until}"
        raise NothingWatched(msg)
    return load_between(db, site, first_minute=first, end_minute=end_minute)


def no_number(typed: object) -> object:
    """Hand on what may be an instant; ValueError for a bare number, which names no time zone."""
    try:
        float(str(typed))
    except ValueError:
        return typed
    msg = "write an instant as in 2026-11-14T15:00:00Z"
    raise ValueError(msg)


def rings_router(parts: Parts) -> APIRouter:
    """Return the route /rings."""
    router = APIRouter(prefix="/rings", tags=["alarms"])

    @router.get("")
    def rings(
        start: Annotated[AwareDatetime | None, BeforeValidator(no_number), Query()] = None,
        end: Annotated[AwareDatetime | None, BeforeValidator(no_number), Query()] = None,
    ) -> LoadBody:
        """Return what alarms asked of people, by default in the last thirty days watched."""
        with reading(parts.records) as db:
            try:
                return load_body(watched_load(db, parts.site, start=start, end=end))
            except (NothingWatched, OverflowError) as trouble:
                detail = f"{trouble}.".capitalize()
                raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, detail) from trouble

    return router


def _rate(rate: Rate, days: float) -> RateBody:
    return RateBody(
        count=rate.count,
        per_night=rate.per_night,
        by_day=list(rate.by_day),
        figures=[_beside(one) for one in beside_rate(rate, days)],
    )


def _beside(one: Beside) -> BesideBody:
    return BesideBody(
        figure=one.figure,
        value=one.value,
        good=one.benchmark.good,
        most=one.benchmark.most,
        verdict=one.verdict,
        source=one.benchmark.source,
    )


def _limit(one: LimitLoad) -> LimitBody:
    return LimitBody(
        plan=one.limit.plan,
        stage=one.limit.stage,
        condition=one.limit.condition,
        priority=one.priority,
        rings=one.rings,
        batches=one.batches,
        open_min=one.open_min,
        median_open_min=one.median_open_min,
        longest_open_min=one.longest_open_min,
        median_answer_min=one.median_answer_min,
        brief=one.brief,
        brief_share=one.brief_share,
        unanswered_share=one.unanswered_share,
        chatter_share=one.chatter_share,
    )
