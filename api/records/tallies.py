"""Counts of alarms and messages, for whoever watches the tool from outside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import case, func, select

from api.records.tables import alarms, instant_or_none, outbox

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlalchemy import Connection


@dataclass(frozen=True, slots=True)
class WayTally:
    """What became of the messages by one way: how many arrived, failed tries, given up."""

    sent: int
    failed_tries: int
    gave_up: int


@dataclass(frozen=True, slots=True)
class Tallies:
    """`alarms` by (state, priority), those over and seen left out; ways by their names.

    `owed` are messages that still wait or are tried, `oldest_owed_at` when the oldest was owed.
    """

    alarms: Mapping[tuple[str, str], int]
    owed: int
    oldest_owed_at: datetime | None
    ways: Mapping[str, WayTally]


def tallies(db: Connection) -> Tallies:
    """Return the counts at one moment."""
    standing = (
        select(alarms.c.state, alarms.c.priority, func.count())
        .where(alarms.c.state != "normal")
        .group_by(alarms.c.state, alarms.c.priority)
    )
    waits = (outbox.c.sent_ms.is_(None), outbox.c.gave_up_ms.is_(None))
    owed, oldest_ms = db.execute(
        select(func.count(), func.min(outbox.c.owed_ms)).where(*waits)
    ).one()
    arrived = case((outbox.c.sent_ms.is_not(None), 1), else_=0)
    given_up = case((outbox.c.gave_up_ms.is_not(None), 1), else_=0)
    under_way = case((outbox.c.leased_until_ms.is_not(None), 1), else_=0)
    by_way = select(
        outbox.c.channel,
        func.sum(arrived),
        func.sum(outbox.c.attempts - arrived - under_way),
        func.sum(given_up),
    ).group_by(outbox.c.channel)
    return Tallies(
        alarms={(state, priority): count for state, priority, count in db.execute(standing)},
        owed=owed,
        oldest_owed_at=instant_or_none(oldest_ms),
        ways={
            way: WayTally(int(sent), max(0, int(failed)), int(gave_up))
            for way, sent, failed, gave_up in db.execute(by_way)
        },
    )
