"""Messages owed to people: owed in the transaction that made them due, claimed, sent, recorded.

A row is one message to one person by one channel. It is never deleted: the outbox is also the
record of what was said to whom.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import and_, func, insert, or_, select, update

from api.records.tables import alarms, as_ms, instant, instant_or_none, outbox, watch_gaps
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection, Row, Select
    from sqlalchemy.sql.elements import ColumnElement

    from rules.model.people import Person

EMAIL = "email"


class MessageKind(StrEnum):
    """What a message is about."""

    OPENED = "opened"
    CLOSED = "closed"
    UNWATCHED = "unwatched"
    GROUPED = "grouped"


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """A message owed, on its way, sent or given up.

    `cause` names what made it due; nobody is owed the same cause twice by one channel. `about` is
    the instant of what happened. `alarm_id` is None for kind `unwatched`, whose `gap_id` says when
    nobody watched, and for `grouped`, whose `group_id` says which alarms are told together.
    `channel` is "email" or a name from the person's `reach`. `line` and `body` are the words last
    tried; None before the first try. `instead_of` is the person who could not be reached. `due_at`
    is the next try.
    """

    id: int
    cause: str
    batch: str
    about: datetime
    alarm_id: int | None
    gap_id: int | None
    person: str
    kind: MessageKind
    language: str
    channel: str
    instead_of: str | None
    line: str | None
    body: str | None
    owed_at: datetime
    due_at: datetime
    leased_until: datetime | None
    attempts: int
    sent_at: datetime | None
    last_error: str | None
    gave_up_at: datetime | None
    group_id: int | None = None


@dataclass(frozen=True, slots=True)
class Cause:
    """What makes a message due. `key` is unique to it: "change.12", "gap.3.MG-07".

    `about` is the instant of what happened, in UTC.
    """

    key: str
    kind: MessageKind
    batch: str
    about: datetime
    alarm_id: int | None = None
    gap_id: int | None = None
    group_id: int | None = None


def channels_of(person: Person) -> tuple[str, ...]:
    """Return every channel by which a person is reached: e-mail first."""
    return ((EMAIL,) if person.email is not None else ()) + person.reach


def owe(
    db: Connection,
    cause: Cause,
    *,
    person: Person,
    at: datetime,
    instead_of: str | None = None,
    due_at: datetime | None = None,
) -> int:
    """Owe a person a message by each of their channels; return how many rows are new.

    Owing the same cause again changes nothing. It goes out at `due_at`, None: at once.
    """
    owed = set(
        db.execute(
            select(outbox.c.channel).where(
                outbox.c.cause == cause.key, outbox.c.person == person.id
            )
        ).scalars()
    )
    fresh = [channel for channel in channels_of(person) if channel not in owed]
    for channel in fresh:
        db.execute(
            insert(outbox).values(
                cause=cause.key,
                batch=cause.batch,
                about_ms=as_ms(cause.about),
                alarm_id=cause.alarm_id,
                gap_id=cause.gap_id,
                group_id=cause.group_id,
                person=person.id,
                kind=cause.kind.value,
                language=person.language,
                channel=channel,
                instead_of=instead_of,
                owed_ms=as_ms(at),
                due_ms=as_ms(at if due_at is None else due_at),
                attempts=0,
            )
        )
    return len(fresh)


def due(db: Connection, *, now: datetime, most: int) -> tuple[OutboxRow, ...]:
    """Return messages to be sent now, the oldest first.

    A message waits while an earlier one of the same alarm is still on its way to the same person
    by the same channel, so that "back inside" never arrives before "too dry".
    """
    earlier = outbox.alias("earlier")
    overtakes = (
        select(earlier.c.id)
        .where(
            earlier.c.id < outbox.c.id,
            earlier.c.alarm_id == outbox.c.alarm_id,
            earlier.c.person == outbox.c.person,
            earlier.c.channel == outbox.c.channel,
            earlier.c.sent_ms.is_(None),
            earlier.c.gave_up_ms.is_(None),
        )
        .exists()
    )
    found = select(outbox).where(_free(as_ms(now)), outbox.c.due_ms <= as_ms(now), ~overtakes)
    return _all(db, found.order_by(outbox.c.id).limit(most))


def claim(
    db: Connection, message: OutboxRow, *, now: datetime, until: datetime, line: str, body: str
) -> bool:
    """Return whether this worker, and no other, is to send the message now, in these words.

    Counts as a try whatever comes of it: a process killed while sending is a try too.
    """
    claimed = (
        update(outbox)
        .where(outbox.c.id == message.id, _free(as_ms(now)))
        .values(
            leased_until_ms=as_ms(until),
            attempts=outbox.c.attempts + 1,
            line=line,
            body=body,
        )
    )
    return db.execute(claimed).rowcount == 1


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


def message(db: Connection, message_id: int) -> OutboxRow | None:
    """Return one message as it stands now."""
    row = db.execute(select(outbox).where(outbox.c.id == message_id)).one_or_none()
    return None if row is None else outbox_row(row)


def messages_of(db: Connection, alarm_id: int) -> tuple[OutboxRow, ...]:
    """Return every message about an alarm, in the order in which they were owed."""
    return _all(db, select(outbox).where(outbox.c.alarm_id == alarm_id).order_by(outbox.c.id))


def messages_for(db: Connection, cause_key: str) -> tuple[OutboxRow, ...]:
    """Return every message with one cause: who else is told, and how it goes."""
    return _all(db, select(outbox).where(outbox.c.cause == cause_key).order_by(outbox.c.id))


def told_of(db: Connection, alarm_id: int) -> tuple[str, ...]:
    """Return the ids of people who were told, or are about to be told, that an alarm opened.

    They were told of it alone, or in the one message about the time in which nobody watched.
    """
    opened = select(alarms.c.opened_ms).where(alarms.c.id == alarm_id).scalar_subquery()
    batch = select(alarms.c.batch).where(alarms.c.id == alarm_id).scalar_subquery()
    in_summary = (
        select(watch_gaps.c.id)
        .where(
            watch_gaps.c.id == outbox.c.gap_id,
            watch_gaps.c.from_minute * MINUTE_MS <= opened,
            watch_gaps.c.to_minute * MINUTE_MS > opened,
        )
        .exists()
    )
    found = (
        select(outbox.c.person)
        .where(
            or_(
                and_(outbox.c.alarm_id == alarm_id, outbox.c.kind == MessageKind.OPENED),
                and_(outbox.c.batch == batch, in_summary),
            ),
            outbox.c.gave_up_ms.is_(None),
        )
        .group_by(outbox.c.person)
        .order_by(func.min(outbox.c.id))
    )
    return tuple(db.execute(found).scalars())


def newest_messages(db: Connection, *, most: int) -> tuple[OutboxRow, ...]:
    """Return the newest messages first, `most` at most."""
    return _all(db, select(outbox).order_by(outbox.c.id.desc()).limit(most))


def undelivered(db: Connection, *, most: int = 100) -> tuple[OutboxRow, ...]:
    """Return messages that failed at least once and have not arrived, given up or still tried."""
    found = select(outbox).where(
        outbox.c.sent_ms.is_(None),
        or_(outbox.c.gave_up_ms.is_not(None), outbox.c.last_error.is_not(None)),
    )
    return _all(db, found.order_by(outbox.c.id.desc()).limit(most))


def _free(now_ms: int) -> ColumnElement[bool]:
    return and_(
        outbox.c.sent_ms.is_(None),
        outbox.c.gave_up_ms.is_(None),
        or_(outbox.c.leased_until_ms.is_(None), outbox.c.leased_until_ms < now_ms),
    )


def _all(db: Connection, found: Select[tuple[object, ...]]) -> tuple[OutboxRow, ...]:
    return tuple(outbox_row(row) for row in db.execute(found))


def outbox_row(row: Row[tuple[object, ...]]) -> OutboxRow:
    """Return a row of the table of messages as a value."""
    return OutboxRow(
        id=row.id,
        cause=row.cause,
        batch=row.batch,
        about=instant(row.about_ms),
        alarm_id=row.alarm_id,
        gap_id=row.gap_id,
        person=row.person,
        kind=MessageKind(row.kind),
        language=row.language,
        channel=row.channel,
        instead_of=row.instead_of,
        line=row.line,
        body=row.body,
        owed_at=instant(row.owed_ms),
        due_at=instant(row.due_ms),
        leased_until=instant_or_none(row.leased_until_ms),
        attempts=row.attempts,
        sent_at=instant_or_none(row.sent_ms),
        last_error=row.last_error,
        gave_up_at=instant_or_none(row.gave_up_ms),
        group_id=row.group_id,
    )
