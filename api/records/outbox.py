"""Messages owed to people: owed in the transaction that made them due, claimed, sent, recorded.

A row is one message to one person by one channel. It is never deleted: the outbox is also the
record of what was said to whom. One file because owing, claiming, recording and reading must agree
on when a row is free to be sent.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import and_, func, insert, or_, select

from api.records.tables import (
    alarms,
    as_ms,
    instant,
    instant_or_none,
    outbox,
    watch_gaps,
)
from rules.escalation import Outcome
from rules.model.people import EMAIL as EMAIL
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from datetime import datetime

    from sqlalchemy import Connection, Row, Select
    from sqlalchemy.sql.elements import ColumnElement

    from rules.escalation import Owed
    from rules.model.people import Person

PASS_OVER_AFTER = 3
"""After so many tries a way is not counted on: the next way, or the next person, is owed too."""

NOTHING_LEFT = "nothing is left to tell"
"""Why a message is given up of which all has been said, or is over before it was said."""


class MessageKind(StrEnum):
    """What a message is about."""

    OPENED = "opened"
    CLOSED = "closed"
    UNWATCHED = "unwatched"
    WAY = "way"
    TEST = "test"
    GROUPED = "grouped"
    SHEET = "sheet"


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """A message owed, on its way, sent or given up.

    `cause` names what made it due; nobody is owed the same cause twice by one channel. `about` is
    the instant of what happened. `alarm_id` is None for a test and a sheet, for `unwatched`, whose
    `gap_id` says when nobody watched, and for `grouped`, whose `group_id` says which alarms are
    told together; `group_round` is the newest round of the group that its words hold. `step` names
    the step of the escalation that owed it, None: no step did; `held_until` is when one that waits
    goes, together with others that do. `channel` is "email" or a name from the person's `reach`.
    `line` and `body` are the words last tried; None before the first try. `instead_of` is the
    person who could not be reached. `due_at` is the next try.
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
    step: str | None = None
    held_until: datetime | None = None
    group_id: int | None = None
    group_round: int | None = None

    @property
    def outcome(self) -> Outcome:
        """What became of it so far. A way that failed again and again is not counted on.

        One that had nothing left to tell, because another message said it, has done its work.
        """
        if self.sent_at is not None:
            return Outcome.ARRIVED
        said = self.last_error == NOTHING_LEFT and self.attempts < PASS_OVER_AFTER
        if self.gave_up_at is not None and said:
            return Outcome.ARRIVED
        tried = self.attempts >= PASS_OVER_AFTER and self.leased_until is None
        if self.gave_up_at is not None or (tried and self.last_error is not None):
            return Outcome.FAILED
        return Outcome.UNDER_WAY

    @property
    def waits(self) -> bool:
        """Whether it is still to be put into words: what happens until then goes into them."""
        return self.sent_at is None and self.gave_up_at is None and self.leased_until is None


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
    group_round: int | None = None


def owe(
    db: Connection,
    cause: Cause,
    *,
    person: Person,
    at: datetime,
    instead_of: str | None = None,
    due_at: datetime | None = None,
    most_ways: int | None = None,
) -> int:
    """Owe a person a message by each of their ways; return how many rows are new.

    By their first `most_ways` alone, None: by all. Owing the same cause again changes nothing.
    That something is over goes by the ways by which the person was told that it began. It goes
    out at `due_at`, None: at once.
    """
    ways, to = person.ways[:most_ways], (person.id, person.language)
    if cause.kind is MessageKind.CLOSED:
        told = _opened_by(db, cause.alarm_id, person.id)
        ways = tuple(way for way in ways if way in told) or ways
    return sum(
        _owe(db, cause, to, way=way, at=at, due_at=due_at or at, instead_of=instead_of)
        for way in ways
    )


def owe_step(
    db: Connection,
    cause: Cause,
    owed: Owed,
    *,
    person: Person,
    at: datetime,
    due_at: datetime | None = None,
) -> int:
    """Owe one message of a step; return how many rows are new: 1, or 0 if it was owed already.

    It goes at `due_at`, None: at once, but not before the end of the hours that hold it back.
    """
    return _owe(
        db,
        cause,
        (person.id, person.language),
        way=owed.way,
        at=at,
        due_at=max(due_at or at, owed.held_until or at),
        instead_of=owed.instead_of,
        step=owed.step,
        held_until=owed.held_until,
    )


def owe_likewise(
    db: Connection, cause: Cause, before: OutboxRow, *, at: datetime, due_at: datetime
) -> int:
    """Owe a message to whom an earlier one went, by the same way, in the same language.

    Return how many rows are new: 1, or 0 if it was owed already.
    """
    to = (before.person, before.language)
    return _owe(db, cause, to, way=before.channel, at=at, due_at=due_at, instead_of=None)


def _opened_by(db: Connection, alarm_id: int | None, person: str) -> set[str]:
    found = select(outbox.c.channel).where(
        outbox.c.alarm_id == alarm_id,
        outbox.c.person == person,
        outbox.c.kind.in_((MessageKind.OPENED, MessageKind.WAY)),
        outbox.c.gave_up_ms.is_(None),
    )
    return set(db.execute(found).scalars())


def _owe(
    db: Connection,
    cause: Cause,
    to: tuple[str, str],
    *,
    way: str,
    at: datetime,
    due_at: datetime,
    instead_of: str | None,
    step: str | None = None,
    held_until: datetime | None = None,
) -> int:
    person, language = to
    known = select(outbox.c.id).where(
        outbox.c.cause == cause.key, outbox.c.person == person, outbox.c.channel == way
    )
    if db.execute(known).first() is not None:
        return 0
    db.execute(
        insert(outbox).values(
            cause=cause.key,
            batch=cause.batch,
            about_ms=as_ms(cause.about),
            alarm_id=cause.alarm_id,
            gap_id=cause.gap_id,
            group_id=cause.group_id,
            group_round=cause.group_round,
            person=person,
            kind=cause.kind.value,
            language=language,
            channel=way,
            instead_of=instead_of,
            owed_ms=as_ms(at),
            due_ms=as_ms(due_at),
            attempts=0,
            step=step,
            held_until_ms=None if held_until is None else as_ms(held_until),
        )
    )
    return 1


def message(db: Connection, message_id: int) -> OutboxRow | None:
    """Return one message as it stands now."""
    row = db.execute(select(outbox).where(outbox.c.id == message_id)).one_or_none()
    return None if row is None else outbox_row(row)


def messages_of(db: Connection, alarm_id: int) -> tuple[OutboxRow, ...]:
    """Return every message about an alarm, in the order in which they were owed."""
    return _all(db, select(outbox).where(outbox.c.alarm_id == alarm_id).order_by(outbox.c.id))


def messages_about(
    db: Connection, alarm_ids: Collection[int]
) -> Mapping[int, tuple[OutboxRow, ...]]:
    """Return every message about each of some alarms, in the order in which they were owed."""
    found = select(outbox).where(outbox.c.alarm_id.in_(alarm_ids)).order_by(outbox.c.id)
    about: dict[int, tuple[OutboxRow, ...]] = dict.fromkeys(alarm_ids, ())
    for row in _all(db, found):
        if row.alarm_id is not None:
            about[row.alarm_id] += (row,)
    return about


def found_messages(db: Connection, which: ColumnElement[bool]) -> tuple[OutboxRow, ...]:
    """Return the messages for which a condition on their table holds, in order."""
    return _all(db, select(outbox).where(which).order_by(outbox.c.id))


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
                and_(
                    outbox.c.alarm_id == alarm_id,
                    outbox.c.kind.in_((MessageKind.OPENED, MessageKind.WAY)),
                ),
                and_(outbox.c.batch == batch, in_summary),
            ),
            outbox.c.gave_up_ms.is_(None),
        )
        .group_by(outbox.c.person)
        .order_by(func.min(outbox.c.id))
    )
    return tuple(db.execute(found).scalars())


def newest_messages(
    db: Connection, *, most: int, before_id: int | None = None, person: str | None = None
) -> tuple[OutboxRow, ...]:
    """Return the newest messages first, `most` at most; from before a number on, of a person."""
    found = select(outbox).order_by(outbox.c.id.desc()).limit(most)
    if before_id is not None:
        found = found.where(outbox.c.id < before_id)
    if person is not None:
        found = found.where(outbox.c.person == person)
    return _all(db, found)


def undelivered(db: Connection, *, most: int = 100) -> tuple[OutboxRow, ...]:
    """Return messages that failed at least once and have not arrived, given up or still tried."""
    found = select(outbox).where(
        outbox.c.sent_ms.is_(None),
        or_(outbox.c.gave_up_ms.is_not(None), outbox.c.last_error.is_not(None)),
    )
    return _all(db, found.order_by(outbox.c.id.desc()).limit(most))


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
        step=row.step,
        held_until=instant_or_none(row.held_until_ms),
        group_id=row.group_id,
        group_round=row.group_round,
    )
