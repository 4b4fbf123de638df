"""What people wrote down themselves, from a message or at the bench, beside the site file's own.

An observation counts from the next minute that the watch closes, like one written in the site file.
One that was taken back counts no more; it stays here, and an entry of `api.records.entries` says
who took it back.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import ValidationError
from sqlalchemy import insert, select, true

from api.records.tables import as_ms, instant, observations
from rules.model.batch import Observation

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from sqlalchemy import ColumnElement, Connection

    from rules.model.site import Site

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Entered:
    """An observation of a batch and when it was written down.

    `origin` names what it was entered from, such as one answer to one alarm; None: an entry form.
    `id` is its number once it is kept.
    """

    batch: str
    observation: Observation
    entered_at: datetime
    origin: str | None = None
    id: int | None = None


def enter(db: Connection, one: Entered) -> int | None:
    """Keep an observation and return its number; None, and nothing kept, if its origin is known."""
    if one.origin is not None:
        known = select(observations.c.id).where(observations.c.origin == one.origin)
        if db.execute(known).first() is not None:
            return None
    seen = one.observation
    row = insert(observations).values(
        batch=one.batch,
        at_ms=as_ms(seen.at),
        seen=seen.seen.value,
        share=seen.share,
        check=seen.check,
        by=seen.by,
        note=seen.note,
        origin=one.origin,
        entered_ms=as_ms(one.entered_at),
        alive=seen.alive,
        dead=seen.dead,
        bench=seen.bench,
        despite=seen.despite,
    )
    number: int = db.execute(row.returning(observations.c.id)).scalar_one()
    return number


def observation_of_origin(db: Connection, origin: str) -> Entered | None:
    """Return what was entered from an origin; None if nothing was."""
    return next(iter(_found(db, observations.c.origin == origin)), None)


def observation_numbered(db: Connection, number: int) -> Entered | None:
    """Return the observation of a number; None if there is none."""
    return next(iter(_found(db, observations.c.id == number)), None)


def entered(
    db: Connection, *, batch: str | None = None, since: datetime | None = None
) -> tuple[Entered, ...]:
    """Return what people entered, of one batch or (None) of all, in the order in which it was seen.

    `since` leaves out what was entered before that aware instant. A row that is no observation any
    more, as after a word was given up, is left out and logged.
    """
    of_batch = true() if batch is None else observations.c.batch == batch
    newer = true() if since is None else observations.c.entered_ms >= as_ms(since)
    return _found(db, of_batch & newer)


def _found(db: Connection, where: ColumnElement[bool]) -> tuple[Entered, ...]:
    found = select(observations).where(where).order_by(observations.c.at_ms, observations.c.id)
    every: list[Entered] = []
    for row in db.execute(found):
        try:
            seen = Observation.model_validate(
                {
                    "at": instant(row.at_ms),
                    "seen": row.seen,
                    "by": row.by,
                    "note": row.note,
                    "share": row.share,
                    "check": row.check,
                    "alive": row.alive,
                    "dead": row.dead,
                    "bench": row.bench,
                    "despite": row.despite,
                }
            )
        except ValidationError:
            log.warning("observation_unreadable id=%d seen=%s", row.id, row.seen)
            continue
        every.append(Entered(row.batch, seen, instant(row.entered_ms), row.origin, row.id))
    return tuple(every)


def with_entered(site: Site, every: Iterable[Entered]) -> Site:
    """Return the site with the observations that people entered beside those of its file."""
    by_batch: dict[str, list[Observation]] = {}
    for one in every:
        by_batch.setdefault(one.batch, []).append(one.observation)
    if not by_batch:
        return site
    batches = tuple(
        batch.model_copy(
            update={"observation": (*batch.observation, *by_batch.get(batch.code, ()))}
        )
        for batch in site.batch
    )
    return site.model_copy(update={"batch": batches})
