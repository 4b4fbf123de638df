"""The words of one message, or of several that go together, from what the records say now."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, assert_never

from sqlalchemy import and_

from api.alerts.figures import clock_time, date_and_time
from api.alerts.guard_words import guard_closed, guard_opened
from api.alerts.links import LASTS, Link, ManyLink
from api.alerts.message import Addressed, MessageText
from api.alerts.outbox import People
from api.alerts.phrases import phrases
from api.alerts.stop_words import stop_words
from api.alerts.telling_phrases import telling_phrases
from api.alerts.together import group_words
from api.alerts.why import belief_behind
from api.records.alarms import alarm, alarms_changed
from api.records.courses import raised_by
from api.records.groups import members_of
from api.records.guarded import blind_batches
from api.records.outbox import MessageKind, found_messages, messages_for, told_of
from api.records.runs import stop_behind
from api.records.sending import said_again
from api.records.tables import outbox
from api.records.watch import watch_gap
from api.records.ways import failed_way_in, last_tries
from rules.escalation import Outcome
from rules.model.alarm import HELD, AlarmState
from rules.model.people import EMAIL

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from datetime import datetime

    from sqlalchemy import Connection

    from api.alerts.links import Links
    from api.alerts.message import Writer
    from api.records.alarms import AlarmRecord
    from api.records.outbox import OutboxRow
    from rules.evaluator import Watchlist
    from rules.model.people import Person
    from rules.model.site import Site

    SheetWords = Callable[[OutboxRow, Person, datetime], MessageText | None]

WAITS = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED})


TOGETHER = frozenset({MessageKind.OPENED, MessageKind.CLOSED, MessageKind.GROUPED})


@dataclass(frozen=True, slots=True)
class Wording:
    """Puts messages into words. `links` None: no links that answer; `codes`: with short codes.

    `sheet_words` writes a night sheet; None: there are none.
    """

    writer: Writer
    watched: Watchlist
    links: Links | None
    codes: bool
    sheet_words: SheetWords | None = None

    def words_of(
        self, db: Connection, rows: Sequence[OutboxRow], person: Person, *, now: datetime
    ) -> MessageText | None:
        """Write the message that one row is, or several together; None if nothing is left to tell.

        The first row is the one that is due; more than one, or one that was held back, become one
        message about every alarm of theirs.
        """
        rows = tuple(one for one in rows if not said_again(db, one, now=now))
        if not rows:
            return None
        row = rows[0]
        mixed = len({one.group_id for one in rows}) > 1 or row.kind is not MessageKind.GROUPED
        if row.held_until is not None and mixed and row.kind in TOGETHER:
            return self._held(db, rows, person, now=now)
        match row.kind:
            case MessageKind.OPENED:
                return self._opened(db, row, person, now=now)
            case MessageKind.CLOSED:
                return self._closed(db, row, person, now=now)
            case MessageKind.UNWATCHED:
                return self._unwatched(db, row, person, now=now)
            case MessageKind.WAY:
                return self._way(db, row, person, now=now)
            case MessageKind.GROUPED:
                return self._grouped(db, row, person, now=now)
            case MessageKind.TEST:
                return self._test(row, person)
            case MessageKind.SHEET:
                return None if self.sheet_words is None else self.sheet_words(row, person, now)
        assert_never(row.kind)

    def _opened(
        self, db: Connection, row: OutboxRow, person: Person, *, now: datetime
    ) -> MessageText | None:
        if row.alarm_id is None:
            return None
        about = alarm(db, row.alarm_id)
        if about.state in HELD:
            return None
        to = self._addressed(db, row, person, about=(about,), now=now)
        of_tool = self._of_tool(db, about, to)
        if of_tool is not None:
            return of_tool
        return self.writer.opened(about, to, belief=belief_behind(db, self.watched, about))

    def _closed(
        self, db: Connection, row: OutboxRow, person: Person, *, now: datetime
    ) -> MessageText | None:
        if row.alarm_id is None or row.person not in told_of(db, row.alarm_id):
            return None  # who never heard that it began need not hear that it is over
        about = alarm(db, row.alarm_id)
        to = self._addressed(db, row, person, about=(about,), now=now)
        if not about.batch:
            of_tool = guard_closed(about, row.about, to, site=self.writer.site)
            return of_tool or self._way_again(about, row.about, person, now=now)
        return self.writer.closed(about, row.about, to)

    def _of_tool(self, db: Connection, about: AlarmRecord, to: Addressed) -> MessageText | None:
        """Return what an alarm says of the tool itself; None for that of a batch."""
        if about.batch:
            return None
        site, url = self.writer.site, self.writer.base_url
        return guard_opened(about, to, site=site, base_url=url, blind=blind_batches(db))

    def _way_again(
        self, about: AlarmRecord, ended_at: datetime, person: Person, *, now: datetime
    ) -> MessageText | None:
        """Say that someone can be reached again by one of their ways."""
        site = self.writer.site
        way = failed_way_in(site, about.condition)
        if way is None:
            return None
        words, said = telling_phrases(person.language), phrases(person.language)
        line = words.way_again.format(
            name=", ".join(People(site).names([way[0]])) or way[0],
            way=words.email if way[1] == EMAIL else way[1],
            time=clock_time(ended_at, site.site, now=now, words=said),
            start=clock_time(about.since, site.site, now=now, words=said),
        )
        return MessageText(line, f"{line}\n{said.nothing_to_do}")

    def _held(
        self, db: Connection, rows: Sequence[OutboxRow], person: Person, *, now: datetime
    ) -> MessageText | None:
        about = [
            one
            for one in alarms_in(db, rows)
            if one.acknowledged_by != person.id and one.state not in HELD
        ]
        if not about:
            return None
        to = self._addressed(db, rows[0], person, about=about, now=now)
        of_tool = [text for one in about if (text := self._of_tool(db, one, to)) is not None]
        return self.writer.held([one for one in about if one.batch], to, beside=of_tool)

    def _grouped(
        self, db: Connection, row: OutboxRow, person: Person, *, now: datetime
    ) -> MessageText | None:
        if row.group_id is None:
            return None
        about = members_of(db, row.group_id)
        if all(one.state in HELD or one.acknowledged_by == person.id for one in about):
            return None
        to = self._addressed(db, row, person, about=about, now=now)
        return group_words(db, row.group_id, to, writer=self.writer, watched=self.watched)

    def _unwatched(
        self, db: Connection, row: OutboxRow, person: Person, *, now: datetime
    ) -> MessageText | None:
        gap = None if row.gap_id is None else watch_gap(db, row.gap_id)
        if gap is None:
            return None
        changed = alarms_changed(db, start=gap.start, end=gap.end, batch=row.batch or None)
        changed = tuple(one for one in changed if one.batch)
        stop = stop_behind(db, gap)
        to = self._addressed(db, row, person, about=changed, now=now)
        if not row.batch:
            return stop_words(changed, gap, stop, to, writer=self.writer)
        if not changed:
            return None
        return self.writer.unwatched(changed, gap, to, stop=stop)

    def _way(
        self, db: Connection, row: OutboxRow, person: Person, *, now: datetime
    ) -> MessageText | None:
        """Say that someone cannot be reached by one of their ways; None once it works again."""
        about = None if row.alarm_id is None else alarm(db, row.alarm_id)
        if about is None or about.ended_at is not None:
            return None
        site, words = self.writer.site, telling_phrases(person.language)
        failed = failed_way_in(site, about.condition)
        if failed is None:
            return None
        last = last_tries(db).get(failed)
        said = phrases(person.language)
        name = ", ".join(People(site).names([failed[0]])) or failed[0]
        way = words.email if failed[1] == EMAIL else failed[1]
        time = clock_time(about.since, site.site, now=now, words=said)
        filled = {"name": name, "way": way, "time": time}
        error = "" if last is None or last.error is None else last.error
        body = [
            words.way_long.format(**filled),
            *([words.way_why.format(error=error)] if error else ()),
            words.way_checks,
            words.way_from_list.format(link=f"{self.writer.base_url}/staff"),
            *self._answers(db, (about,), person, now=now).get(about.id, ()),
        ]
        return MessageText(words.way_line.format(**filled), "\n".join(body))

    def _test(self, row: OutboxRow, person: Person) -> MessageText:
        return words_of_test(self.writer.site, person, row.channel, asked_at=row.owed_at)

    def _addressed(
        self,
        db: Connection,
        row: OutboxRow,
        person: Person,
        *,
        about: Sequence[AlarmRecord],
        now: datetime,
    ) -> Addressed:
        people = People(self.writer.site)
        missed = None if row.instead_of is None else people.find(row.instead_of)
        others, before = self._others(db, row)
        return Addressed(
            person=person,
            others=people.names(others),
            instead_of=row.instead_of if missed is None else missed.name,
            now=now,
            before=people.names(before),
            answer=self._answers(db, about, person, now=now),
            answer_all=self._answer_all(db, about, person, now=now),
        )

    def _answer_all(
        self, db: Connection, about: Sequence[AlarmRecord], person: Person, *, now: datetime
    ) -> tuple[str, ...]:
        """Return the line under which the person takes on all of several alarms that wait."""
        waiting = [one.id for one in about if one.state in WAITS]
        if self.links is None or not person.answers or len(waiting) < 2:
            return ()
        until = now + LASTS
        openings = tuple(sorted(raised_by(db, waiting).items()))
        link = self.links.many_token(ManyLink(openings, person.id, until))
        said = phrases(person.language)
        line = telling_phrases(person.language).answer_all.format(
            count=len(openings),
            until=date_and_time(until, self.writer.site.site, said),
            link=f"{self.writer.base_url}/answer/all/{link}",
        )
        return (line,)

    def _others(self, db: Connection, row: OutboxRow) -> tuple[list[str], list[str]]:
        """Return who else is told together with the person, and who was told before them."""
        together = [
            other.person
            for other in messages_for(db, row.cause)
            if other.person != row.person and other.outcome is not Outcome.FAILED
        ]
        if row.kind not in {MessageKind.OPENED, MessageKind.GROUPED} or row.step is None:
            return together, []
        told_by = row.cause.removesuffix(row.step)  # the same opening, or round of a group
        of = and_(
            outbox.c.alarm_id.is_not_distinct_from(row.alarm_id),
            outbox.c.group_id.is_not_distinct_from(row.group_id),
        )
        before = [
            other.person
            for other in found_messages(db, of)
            if other.cause.startswith(told_by)
            and other.cause != row.cause
            and other.id < row.id
            and other.outcome is Outcome.ARRIVED
        ]
        return together, before

    def _answers(
        self, db: Connection, about: Iterable[AlarmRecord], person: Person, *, now: datetime
    ) -> Mapping[int, Sequence[str]]:
        """Return the lines under which the person can answer each alarm that waits for someone."""
        waiting = [one.id for one in about if one.state in WAITS]
        if self.links is None or not person.answers or not waiting:
            return {}
        words, said = telling_phrases(person.language), phrases(person.language)
        until = now + LASTS
        shown = date_and_time(until, self.writer.site.site, said)
        lines: dict[int, list[str]] = {}
        for alarm_id, change_id in raised_by(db, waiting).items():
            token = self.links.token(Link(alarm_id, change_id, person.id, until))
            link = f"{self.writer.base_url}/answer/{token}"
            lines[alarm_id] = [words.answer_here.format(until=shown, link=link)]
            if self.codes:
                code = self.links.code(alarm_id, change_id)
                lines[alarm_id].append(words.answer_code.format(code=code))
        return lines


def alarms_in(db: Connection, rows: Sequence[OutboxRow]) -> tuple[AlarmRecord, ...]:
    """Return the alarms of batches that messages tell of, each once; none for other messages."""
    every: dict[int, AlarmRecord] = {}
    for row in rows:
        gap = None if row.gap_id is None else watch_gap(db, row.gap_id)
        if row.group_id is not None:
            every |= {one.id: one for one in members_of(db, row.group_id)}
        elif row.alarm_id is not None:
            every[row.alarm_id] = alarm(db, row.alarm_id)
        elif gap is not None:
            changed = alarms_changed(db, start=gap.start, end=gap.end, batch=row.batch)
            every |= {one.id: one for one in changed}
    return tuple(every.values())


def words_of_test(site: Site, person: Person, way: str, *, asked_at: datetime) -> MessageText:
    """Return the words of a message that only shows that a way works."""
    words = telling_phrases(person.language)
    said = words.email if way == EMAIL else way
    time = date_and_time(asked_at, site.site, phrases(person.language))
    line = words.test_line.format(name=person.name, way=said)
    return MessageText(line, words.test_body.format(site=site.site.title, time=time))
