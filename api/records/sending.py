"""A message on its way: found when it is due, claimed by one worker, sent, and what came of it.

What is owed to whom is `api.records.outbox`'s; here nothing is owed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import and_, case, func, or_, select, update

from api.records.outbox import MessageKind, OutboxRow, outbox_row
from api.records.tables import alarm_group_members, as_ms, outbox

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

    from sqlalchemy import Connection, ScalarSelect, Select
    from sqlalchemy.sql.elements import ColumnElement


def due(
    db: Connection,
    *,
    now: datetime,
    most: int,
    last: Collection[str] = (),
    without: Collection[str] = (),
) -> tuple[OutboxRow, ...]:
    """Return messages to be sent now, the oldest first; those by the ways in `last` after others.

    Of these the least tried come first, so that each gets its tries and is passed over in time.
    Messages by the ways in `without` are left out.
    A message waits while an earlier one of the same alarm is still on its way to the same person
    by the same channel, so that "back inside" never arrives before "too dry".
    """
    earlier = outbox.alias("earlier")
    overtakes = (
        select(earlier.c.id)
        .where(
            earlier.c.id < outbox.c.id,
            or_(
                earlier.c.alarm_id == outbox.c.alarm_id,
                and_(earlier.c.group_id == outbox.c.group_id, earlier.c.due_ms <= as_ms(now)),
            ),
            earlier.c.person == outbox.c.person,
            earlier.c.channel == outbox.c.channel,
            earlier.c.sent_ms.is_(None),
            earlier.c.gave_up_ms.is_(None),
        )
        .exists()
    )
    found = select(outbox).where(
        _free(as_ms(now)),
        outbox.c.due_ms <= as_ms(now),
        outbox.c.channel.not_in(without),
        ~overtakes,
    )
    tries_if_last = case((outbox.c.channel.in_(last), outbox.c.attempts + 1), else_=0)
    return _all(db, found.order_by(tries_if_last, outbox.c.id).limit(most))


def claim(
    db: Connection, message: OutboxRow, *, now: datetime, until: datetime, line: str, body: str
) -> bool:
    """Return whether this worker, and no other, is to send the message now, in these words.

    Counts as a try whatever comes of it: a process killed while sending is a try too.
    """
    newest_round = _newest_round(message.group_id)
    claimed = (
        update(outbox)
        .where(outbox.c.id == message.id, _free(as_ms(now)))
        .values(
            leased_until_ms=as_ms(until),
            attempts=outbox.c.attempts + 1,
            line=line,
            body=body,
            group_round=None if message.group_id is None else newest_round,
        )
    )
    return db.execute(claimed).rowcount == 1


def record_held(db: Connection, message_id: int, *, until: datetime) -> None:
    """Keep that a message waits until an instant, to go then with others that wait for it."""
    db.execute(
        update(outbox)
        .where(outbox.c.id == message_id)
        .values(held_until_ms=as_ms(until), due_ms=as_ms(until))
    )


def waiting_with(db: Connection, row: OutboxRow, *, now: datetime) -> tuple[OutboxRow, ...]:
    """Return the messages that go together with one that was held back, itself first.

    They are those to the same person by the same way whose wait is over, and word that one of
    their alarms has ended. A message that was not held back, or is not about an alarm of a batch,
    goes alone.
    """
    together = (MessageKind.OPENED, MessageKind.CLOSED, MessageKind.GROUPED)
    if row.held_until is None or row.kind not in together:
        return (row,)
    free = select(outbox).where(
        outbox.c.kind.in_(together),
        outbox.c.id != row.id,
        outbox.c.person == row.person,
        outbox.c.channel == row.channel,
        _free(as_ms(now)),
    )
    held = _all(
        db,
        free.where(outbox.c.held_until_ms.is_not(None), outbox.c.due_ms <= as_ms(now)).order_by(
            outbox.c.id
        ),
    )
    about = {one.alarm_id for one in (row, *held)} - {None}
    ends = _all(
        db,
        free.where(
            outbox.c.kind == MessageKind.CLOSED,
            outbox.c.alarm_id.in_(about),
            outbox.c.held_until_ms.is_(None),
        ).order_by(outbox.c.id),
    )
    return (row, *held, *ends)


def record_sent(db: Connection, message_id: int, *, at: datetime) -> None:
    """Keep that the channel accepted the message."""
    db.execute(
        update(outbox)
        .where(outbox.c.id == message_id)
        .values(sent_ms=as_ms(at), leased_until_ms=None, last_error=None)
    )


def record_failed(db: Connection, message_id: int, *, error: str, due_at: datetime) -> None:
    """Keep why a try failed, and when the next one is due."""
    db.execute(
        update(outbox)
        .where(outbox.c.id == message_id)
        .values(last_error=error, due_ms=as_ms(due_at), leased_until_ms=None)
    )


def record_given_up(db: Connection, message_id: int, *, error: str, at: datetime) -> None:
    """Keep that the message is not tried again, and why."""
    db.execute(
        update(outbox)
        .where(outbox.c.id == message_id)
        .values(last_error=error, gave_up_ms=as_ms(at), leased_until_ms=None)
    )


def said_again(db: Connection, row: OutboxRow, *, now: datetime) -> bool:
    """Return whether a later message tells the person the same by the same way.

    Of an alarm, one that is due too; of a group, also one that has gone and held all that this one
    would hold.
    """
    waits = and_(outbox.c.due_ms <= as_ms(now), _free(as_ms(now)))
    later = select(outbox.c.id).where(
        outbox.c.id > row.id,
        outbox.c.person == row.person,
        outbox.c.channel == row.channel,
        outbox.c.kind == row.kind.value,
    )
    match row.kind:
        case MessageKind.OPENED:
            later = later.where(outbox.c.alarm_id == row.alarm_id, waits)
        case MessageKind.GROUPED:
            newest = _newest_round(row.group_id)
            gone = and_(outbox.c.sent_ms.is_not(None), outbox.c.group_round >= newest)
            later = later.where(outbox.c.group_id == row.group_id, or_(waits, gone))
        case _:
            return False
    return db.execute(later).first() is not None


def _free(now_ms: int) -> ColumnElement[bool]:
    return and_(
        outbox.c.sent_ms.is_(None),
        outbox.c.gave_up_ms.is_(None),
        or_(outbox.c.leased_until_ms.is_(None), outbox.c.leased_until_ms < now_ms),
    )


def _newest_round(group_id: int | None) -> ScalarSelect[int]:
    return (
        select(func.max(alarm_group_members.c.round))
        .where(alarm_group_members.c.group_id == group_id)
        .scalar_subquery()
    )


def _all(db: Connection, found: Select[tuple[object, ...]]) -> tuple[OutboxRow, ...]:
    return tuple(outbox_row(row) for row in db.execute(found))
