"""Begins and ends work in hand, as pages, the API and the command line all do it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from api.records.works import begin_work
from rules.model.batch import Cover
from rules.model.work import WorkPlace
from rules.work_in_hand import LONGEST_MIN, PLACES, USUAL_MIN

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from rules.model.site import Site
    from rules.model.work import Work, WorkKind


class WorkNotPossible(ValueError):
    """The work cannot be in hand there, or not for so long; the message says what can be."""


def begin(
    db: Connection,
    site: Site,
    kind: WorkKind,
    *,
    place: str,
    who: str,
    at: datetime,
    minutes: int | None = None,
    note: str | None = None,
) -> Work:
    """Begin work now, for the usual time of its kind if `minutes` is None.

    Raises WorkNotPossible, and api.records.works.InHandAlready.
    """
    known = places(site, kind)
    if place not in known:
        listed = ", ".join(known) or "none"
        msg = f"place: {kind.value} is done to a {PLACES[kind].value}, one of: {listed}"
        raise WorkNotPossible(msg)
    lasts = USUAL_MIN[kind] if minutes is None else minutes
    if not 1 <= lasts <= LONGEST_MIN[kind]:
        msg = f"minutes: {kind.value} can be in hand for 1 to {LONGEST_MIN[kind]} min, not {lasts}"
        raise WorkNotPossible(msg)
    until = at + timedelta(minutes=lasts)
    return begin_work(db, kind, place=place, at=at, until=until, who=who, note=note)


def places(site: Site, kind: WorkKind) -> tuple[str, ...]:
    """Return where work of a kind can be done: codes of batches with a cover, houses or sensors."""
    match PLACES[kind]:
        case WorkPlace.BATCH:
            return tuple(one.code for one in site.batch if one.cover is not Cover.NONE)
        case WorkPlace.HOUSE:
            return tuple(one.id for one in site.house)
        case WorkPlace.SENSOR:
            return tuple(one.id for one in site.sensor)
