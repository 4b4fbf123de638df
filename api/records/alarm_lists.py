"""Alarms in lists: of a span of time, and page by page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import or_, select

from api.records.alarms import alarm_record
from api.records.tables import alarms, as_ms
from rules.model.alarm import AlarmState

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.alarms import AlarmRecord

MOST_IN_A_SPAN = 500


def alarms_between(
    db: Connection, batch: str, start: datetime, end: datetime
) -> tuple[AlarmRecord, ...]:
    """Return the alarms of a batch that were true at some time of a span, the oldest first.

    The newest MOST_IN_A_SPAN of them.
    """
    found = (
        select(alarms)
        .where(
            alarms.c.batch == batch,
            alarms.c.opened_ms < as_ms(end),
            or_(alarms.c.ended_ms.is_(None), alarms.c.ended_ms > as_ms(start)),
        )
        .order_by(alarms.c.opened_ms.desc(), alarms.c.id.desc())
        .limit(MOST_IN_A_SPAN)
    )
    rows = [alarm_record(row) for row in db.execute(found)]
    return tuple(reversed(rows))


def alarms_page(
    db: Connection,
    *,
    most: int,
    before_id: int | None = None,
    batch: str | None = None,
    state: AlarmState | None = None,
) -> tuple[AlarmRecord, ...]:
    """Return alarms by their number, the newest first, from before a number on.

    A number is never given again, so a page stays what it was while new alarms come in.
    """
    found = select(alarms).order_by(alarms.c.id.desc()).limit(most)
    if before_id is not None:
        found = found.where(alarms.c.id < before_id)
    if batch is not None:
        found = found.where(alarms.c.batch == batch)
    if state is not None:
        found = found.where(alarms.c.state == state.value)
    return tuple(alarm_record(row) for row in db.execute(found))
