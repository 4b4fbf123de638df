"""How far the watch has come, and when nobody watched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel

from api.records.session import reading
from api.records.tables import instant
from api.records.watch import late_count, load_position, watch_gaps_newest
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from api.book import Book
    from api.parts import Parts


class GapBody(BaseModel):
    """Nobody watched from `start` until `end`; it was judged afterwards."""

    start: AwareDatetime
    end: AwareDatetime


class FaultBody(BaseModel):
    """What keeps a newer state of the files out: where, what, and the way out."""

    file: str
    line: int
    field: str
    problem: str
    fix: str


class BookBody(BaseModel):
    """The site and plans in force. The watch judges by `revision` from the next minute on.

    `observations` and `entries` are the newest numbers of what people entered that are in it.
    `kept_out` holds the faults of what is written now; while there are any, the last good state
    counts.
    """

    revision: str
    observations: int
    entries: int
    kept_out: list[FaultBody]


class WatchBody(BaseModel):
    """How far the watch has come. `lag_s` counts from the end of the last judged minute.

    `revision` is that of the book by which the last minute was judged.
    """

    now: AwareDatetime
    judged_to: AwareDatetime | None
    lag_s: int | None
    revision: str | None
    last_sequence_seen: int | None
    readings_kept: int
    late_readings: int
    unwatched: list[GapBody]
    book: BookBody


def watch_router(parts: Parts) -> APIRouter:
    """Return the route /watch."""
    router = APIRouter(tags=["watch"])

    @router.get("/watch")
    def watch() -> WatchBody:
        """Return how far the watch has come."""
        now = parts.clock.now()
        with reading(parts.records) as db:
            position = load_position(db)
            late = late_count(db)
            gaps = watch_gaps_newest(db, most=20)
        judged_to = instant(position.next_minute * MINUTE_MS) if position else None
        return WatchBody(
            now=now,
            judged_to=judged_to,
            lag_s=int((now - judged_to).total_seconds()) if judged_to else None,
            revision=position.revision if position else None,
            last_sequence_seen=position.sequence if position else None,
            readings_kept=parts.store.count(),
            late_readings=late,
            unwatched=[GapBody(start=gap.start, end=gap.end) for gap in gaps],
            book=_book(parts.book),
        )

    return router


def _book(book: Book) -> BookBody:
    now = book.now
    return BookBody(
        revision=now.revision,
        observations=now.known.observations,
        entries=now.known.entries,
        kept_out=[
            FaultBody(
                file=one.file, line=one.line, field=one.field, problem=one.problem, fix=one.fix
            )
            for one in book.trouble
        ],
    )
