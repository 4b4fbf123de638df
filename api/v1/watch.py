"""How far the watch has come, and when nobody watched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel

from api.records.alarms import standing_alarms
from api.records.runs import Stop, stop_behind
from api.records.session import reading
from api.records.tables import instant
from api.records.watch import late_count, load_position, watch_gaps_newest
from api.v1.alarms import AlarmBody, body_of
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from api.book import Book
    from api.parts import Parts


class GapBody(BaseModel):
    """Nobody watched from `start` until `end`; it was judged afterwards. `why` tells the stop."""

    start: AwareDatetime
    end: AwareDatetime
    why: Stop


class HeartbeatBody(BaseModel):
    """How often the outside was told that all is well, and how many tries in a row have failed."""

    sent: int
    failed: int
    error: str


class HealthBody(BaseModel):
    """How the tool itself is, as the guard last saw it. Null: not known, or not in use.

    `well`: everything turns without which nobody would be warned; only then the heartbeat goes out.
    `clock_set` tells whether a time server sets this machine's clock.
    """

    well: bool
    broker: str | None
    store: str | None
    archive: str | None
    records: str | None
    disk_free_bytes: int | None
    disk_inodes: int | None
    disk_full_in_h: float | None
    clock_set: bool | None
    heartbeat: HeartbeatBody | None


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
    `tool` are the standing alarms of the tool itself and of ways, the gravest first. `health` is
    null where nobody looks after it, as in a demonstration.
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
    tool: list[AlarmBody]
    health: HealthBody | None


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
            whys = [stop_behind(db, gap) for gap in gaps]
            tool = [body_of(one) for one in standing_alarms(db) if not one.batch]
        judged_to = instant(position.next_minute * MINUTE_MS) if position else None
        return WatchBody(
            now=now,
            judged_to=judged_to,
            lag_s=int((now - judged_to).total_seconds()) if judged_to else None,
            revision=position.revision if position else None,
            last_sequence_seen=position.sequence if position else None,
            readings_kept=parts.store.count(),
            late_readings=late,
            unwatched=[
                GapBody(start=gap.start, end=gap.end, why=why)
                for gap, why in zip(gaps, whys, strict=True)
            ],
            book=_book(parts.book),
            tool=tool,
            health=_health(parts),
        )

    return router


def _health(parts: Parts) -> HealthBody | None:
    guard = parts.guard
    facts = None if guard is None else guard.facts
    if guard is None or facts is None:
        return None
    disk, beat = facts.disk, guard.heartbeat
    full_in_s = None if disk is None else disk.full_in_s
    return HealthBody(
        well=guard.is_well(),
        broker=facts.broker,
        store=facts.keeping,
        archive=facts.archive,
        records=facts.records,
        disk_free_bytes=None if disk is None else disk.free,
        disk_inodes=None if disk is None else disk.inodes,
        disk_full_in_h=None if full_in_s is None else full_in_s / 3600,
        clock_set=facts.clock_set,
        heartbeat=None
        if beat is None
        else HeartbeatBody(sent=beat.sent, failed=beat.failed, error=beat.error),
    )


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
