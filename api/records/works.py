"""Work in hand as records: begun, ended, and never taken out of the list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import insert, or_, select, update

from api.records.tables import as_ms, instant, instant_or_none, work_in_hand
from rules.model.work import Work, WorkKind

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection, Row, Select


class UnknownWork(Exception):
    """There is no work of this number."""

    def __init__(self, work_id: int) -> None:
        self.work_id = work_id
        super().__init__(f"there is no work {work_id}")


class InHandAlready(Exception):
    """The same work is in hand at the same place; `work` is that."""

    def __init__(self, work: Work) -> None:
        self.work = work
        super().__init__(f"{work.kind} at {work.place} is in hand already, as work {work.id}")


class WorkOver(Exception):
    """The work has ended; `work` says when."""

    def __init__(self, work: Work) -> None:
        self.work = work
        super().__init__(f"work {work.id} is over")


def begin_work(
    db: Connection,
    kind: WorkKind,
    *,
    place: str,
    at: datetime,
    until: datetime,
    who: str,
    note: str | None = None,
) -> Work:
    """Keep that work begins now; InHandAlready if the same is in hand there."""
    for one in works_in_hand(db, at):
        if (one.kind, one.place) == (kind, place):
            raise InHandAlready(one)
    fresh = insert(work_in_hand).values(
        kind=kind.value,
        place=place,
        began_ms=as_ms(at),
        until_ms=as_ms(until),
        who=who,
        note=note,
    )
    work_id: int = db.execute(fresh.returning(work_in_hand.c.id)).scalar_one()
    return work(db, work_id)


def end_work(db: Connection, work_id: int, *, by: str, at: datetime) -> Work:
    """Keep that work ends now, before its time; WorkOver if it has ended, UnknownWork if none."""
    before = work(db, work_id)
    if before.over <= at:
        raise WorkOver(before)
    db.execute(
        update(work_in_hand)
        .where(work_in_hand.c.id == work_id)
        .values(ended_ms=as_ms(at), ended_by=by)
    )
    return work(db, work_id)


def work(db: Connection, work_id: int) -> Work:
    """Return one work, else raise UnknownWork."""
    row = db.execute(select(work_in_hand).where(work_in_hand.c.id == work_id)).one_or_none()
    if row is None:
        raise UnknownWork(work_id)
    return _work(row)


def works_in_hand(db: Connection, at: datetime) -> tuple[Work, ...]:
    """Return the work that is in hand at an instant, the oldest first."""
    now = as_ms(at)
    ended = work_in_hand.c.ended_ms
    found = select(work_in_hand).where(
        work_in_hand.c.began_ms <= now,
        work_in_hand.c.until_ms > now,
        or_(ended.is_(None), ended > now),
    )
    return _all(db, found.order_by(work_in_hand.c.id))


def works_over(db: Connection, at: datetime, *, most: int) -> tuple[Work, ...]:
    """Return work that was over by an instant, the newest first, `most` at most."""
    now = as_ms(at)
    found = select(work_in_hand).where(
        or_(work_in_hand.c.until_ms <= now, work_in_hand.c.ended_ms <= now)
    )
    return _all(db, found.order_by(work_in_hand.c.id.desc()).limit(most))


def _all(db: Connection, found: Select[tuple[object, ...]]) -> tuple[Work, ...]:
    return tuple(_work(row) for row in db.execute(found))


def _work(row: Row[tuple[object, ...]]) -> Work:
    return Work(
        id=row.id,
        kind=WorkKind(row.kind),
        place=row.place,
        began=instant(row.began_ms),
        until=instant(row.until_ms),
        ended=instant_or_none(row.ended_ms),
        who=row.who,
        note=row.note,
    )
