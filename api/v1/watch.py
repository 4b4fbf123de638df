"""How far the watch has come, and when nobody watched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel

from api.nodes.seen import houses_seen_to, nodes_seen
from api.records.alarms import standing_alarms
from api.records.runs import Stop, stop_behind
from api.records.session import reading
from api.records.tables import instant
from api.records.watch import late_count, load_position, watch_gaps_newest
from api.v1.alarms import AlarmBody, body_of
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from sqlalchemy import Connection

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


class HouseBody(BaseModel):
    """Which process sees to a house, and since when; null for nobody at this moment."""

    house: str
    node: str | None
    since: AwareDatetime | None


class NodeBody(BaseModel):
    """One of several processes over the same records, as it was last seen.

    `trouble` is empty, or starting, deaf (no broker), files (others than those in force), stuck,
    gone (not seen) or ended (asked to). `watches`: it may see to houses. `speaks`: what is done
    once for the whole nursery is done by this one.
    """

    name: str
    seen: AwareDatetime
    trouble: str
    watches: bool
    speaks: bool


class WatchBody(BaseModel):
    """How far the watch has come. `lag_s` counts from the end of the last judged minute.

    `revision` is that of the book by which the last minute was judged.
    `tool` are the standing alarms of the tool itself and of ways, the gravest first. `health` is
    null where nobody looks after it, as in a demonstration. `houses` and `nodes` are empty where
    one process is all there is; `last_sequence_seen` is null where there may be several.
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
    houses: list[HouseBody]
    nodes: list[NodeBody]


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
            houses, nodes = _nodes(parts, db)
        judged_to = instant(position.next_minute * MINUTE_MS) if position else None
        return WatchBody(
            now=now,
            judged_to=judged_to,
            lag_s=int((now - judged_to).total_seconds()) if judged_to else None,
            revision=position.revision if position else None,
            last_sequence_seen=position.sequence if position and parts.leases is None else None,
            readings_kept=parts.store.count(),
            late_readings=late,
            unwatched=[
                GapBody(start=gap.start, end=gap.end, why=why)
                for gap, why in zip(gaps, whys, strict=True)
            ],
            book=_book(parts.book),
            tool=tool,
            health=_health(parts),
            houses=houses,
            nodes=nodes,
        )

    return router


def _nodes(parts: Parts, db: Connection) -> tuple[list[HouseBody], list[NodeBody]]:
    if parts.leases is None:
        return [], []
    now_ms = parts.leases.now_ms(db)
    houses = houses_seen_to(db, [house.id for house in parts.site.house], now_ms=now_ms)
    return (
        [HouseBody(house=one.house, node=one.node or None, since=one.since) for one in houses],
        [
            NodeBody(
                name=one.name,
                seen=one.seen_at,
                trouble=one.trouble,
                watches=one.watches,
                speaks=one.speaks,
            )
            for one in nodes_seen(db, now_ms=now_ms)
        ],
    )


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
