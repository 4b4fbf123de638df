"""The alert service: owes what has come due, sends what is owed, and records what came of it.

Lease, send, then record. Killed between sending and recording, it sends that one message once
more when the lease has run out; killed anywhere else, it repeats and loses nothing.
"""

from __future__ import annotations

import logging
import threading
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING, assert_never

from api.alerts.channels import Failed, Sent
from api.alerts.easel import Easel, Gathering
from api.alerts.message import MessageText, Writer
from api.alerts.outbox import LEASE, MOST_TRIES, People, after_failure, give_up, waits_until
from api.alerts.wording import Wording, alarms_in
from api.records.outbox import NOTHING_LEFT, MessageKind, message
from api.records.sending import (
    claim,
    due,
    record_given_up,
    record_held,
    record_sent,
    waiting_with,
)
from api.records.session import reading, writing
from api.records.steps import owe_steps, steps_due
from api.records.ways import forget_ways_gone, way_failed, way_works

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from sqlalchemy import Connection, Engine

    from api.alerts.channels import Channels, Outcome
    from api.alerts.links import Links
    from api.alerts.message import MessageText
    from api.alerts.wording import SheetWords
    from api.book import Book
    from api.records.alarms import AlarmRecord
    from api.records.outbox import OutboxRow
    from api.watch.clock import Clock
    from rules.model.people import Person
    from rules.model.site import Site

    SheetPicture = Callable[[OutboxRow, Person, datetime], bytes | None]
    PictureFor = Callable[[Sequence[AlarmRecord], Person, datetime], bytes | None]

log = logging.getLogger(__name__)

TURN_S = 1.0
LONGEST_PAUSE_S = 30.0
AT_ONCE = 20
SLOW = timedelta(seconds=2)

PICTURE_TRIES = 2
PICTURE_WAIT = timedelta(seconds=1)
"""How long the messages of a turn wait for pictures: danger must be told, drawn or not."""


class AlertService:
    """Sends what is owed. Several may run: a lease lets one of them send each message.

    `signs` counts its signs of life, a failed turn among them, `done` what went without a fault.

    Parameters
    ----------
    base_url
        How people reach the pages; links in messages start with it.
    lease
        How long a message is held while it is being sent; longer than any send takes.
    links
        What signs the links by which people answer; None: messages carry none.
    codes
        Whether messages carry the short code that a button or a gateway answers with.
    picture
        Draws what goes with a message about alarms; None: messages carry no picture.
    picture_wait
        How long the messages of a turn wait for their pictures, all together.
    slow
        A way that takes longer to fail hangs: its next message waits for a turn of its own.
    sheet_words
        Writes the night sheet that a message is; None: none is owed.
    sheet_picture
        Draws what goes with a night sheet; None: sheets carry no picture.
    """

    def __init__(
        self,
        book: Book,
        records: Engine,
        clock: Clock,
        channels: Channels,
        *,
        base_url: str,
        lease: timedelta = LEASE,
        links: Links | None = None,
        codes: bool = False,
        picture: PictureFor | None = None,
        picture_wait: timedelta = PICTURE_WAIT,
        slow: timedelta = SLOW,
        sheet_words: SheetWords | None = None,
        sheet_picture: SheetPicture | None = None,
    ) -> None:
        self._book = book
        self._base_url = base_url.rstrip("/")
        self._links = links
        self._codes = codes
        self._records = records
        self._clock = clock
        self._channels = channels
        self._lease = lease
        self._picture = picture
        self._easel = Easel(picture_wait.total_seconds())
        self._gathering = Gathering[tuple["MessageText | None", "bytes | None"]]()
        self._sheet_words = sheet_words
        self._sheet_picture = sheet_picture
        self._slow = slow
        self._hanging: set[str] = set()
        self._wake = threading.Event()
        self._last_turn: datetime | None = None
        self._last_error: str | None = None
        self.signs = 0
        self.done = 0

    def wake(self) -> None:
        """Take the next turn at once: something may be owed. Any thread may say so."""
        self._wake.set()

    @property
    def _site(self) -> Site:
        return self._book.now.site

    @property
    def _people(self) -> People:
        return People(self._site)

    @property
    def _writer(self) -> Writer:
        return Writer(self._book.now.site, self._book.now.plans, self._base_url)

    @property
    def _wording(self) -> Wording:
        return Wording(
            self._writer, self._book.now.watchlist, self._links, self._codes, self._sheet_words
        )

    @property
    def last_turn(self) -> datetime | None:
        """When the last turn without a fault ended; None before the first."""
        return self._last_turn

    @property
    def last_error(self) -> str | None:
        """What the last turn failed on; None if it did not. Failed sends stand in the outbox."""
        return self._last_error

    def turn(self) -> int:
        """Try every message that is due once; return how many were accepted by their channel.

        Waits for a night sheet that is being gathered; `run` sends it when it is ready.
        """
        return self._turn(_never, patient=True)

    def run(self, stop: threading.Event) -> None:
        """Take a turn about once a second, or when woken, until `stop`.

        Faults are logged, then tried again.
        """
        failures = 0
        while not stop.is_set():
            try:
                self._turn(stop.is_set, patient=False)
            except Exception as error:
                failures += 1
                self._last_error = f"{type(error).__name__}: {error}"
                log.exception("alerts_failed failures=%d", failures)
            else:
                failures = 0
            self.signs += 1
            if failures:
                stop.wait(min(TURN_S * 2**failures, LONGEST_PAUSE_S))
            else:
                self._wake.wait(TURN_S)
            self._wake.clear()  # before the turn: what is owed from here on wakes it again
        self._easel.stop()
        self._gathering.stop()

    def _turn(self, stopped: Callable[[], bool], *, patient: bool) -> int:
        sent = 0
        tried: set[int] = set()
        hung: set[str] = set()
        self._owe()
        self._easel.begin()
        while not stopped():
            with reading(self._records) as db:
                rows = due(
                    db,
                    now=self._clock.now(),
                    most=AT_ONCE + len(tried),
                    last=self._hanging,
                    without=hung,
                )
            rows = tuple(row for row in rows if row.id not in tried)
            if not rows:
                break
            for row in rows:
                self._have_drawn(row)
            # Gathering a night takes seconds, in which danger must not wait.
            for row in sorted(rows, key=_is_sheet):
                if stopped():
                    break
                tried.add(row.id)
                if _is_sheet(row) and not self._is_gathered(row, wait=patient):
                    continue
                begun = self._clock.now()
                accepted = self._deliver(row)
                sent += accepted
                self.signs += 1
                self.done += 1
                if accepted:
                    self._hanging.discard(row.channel)
                elif self._clock.now() - begun > self._slow:
                    # Once a turn at most, so that what is owed anew, and other ways, come between.
                    self._hanging.add(row.channel)
                    hung.add(row.channel)
                    log.warning("way_hangs channel=%s", row.channel)
                    break
        self._last_turn = self._clock.now()
        self._last_error = None
        self.done += 1
        return sent

    def _owe(self) -> None:
        """Owe what has come due by now; of alarms that nobody acknowledged, ever more people."""
        now = self._clock.now()
        if self._last_turn is None:
            with writing(self._records) as db:
                forget_ways_gone(db, self._site, now=now)
        with reading(self._records) as db:
            coming = steps_due(db, self._site, now=now)
        if coming:
            with writing(self._records) as db:  # decided anew: someone may just have acknowledged
                new = owe_steps(db, self._site, now=now)
            log.info("messages_owed count=%d", new)

    def _deliver(self, row: OutboxRow) -> int:
        now = self._clock.now()
        person = self._people.find(row.person)
        # Looked for before anything is held: it may take a moment, and may fail.
        ready, picture = None, None
        if _is_sheet(row):
            ready, picture = self._gathering.fetch(row.id)
        elif person is not None:
            picture = self._picture_of(row)
        with writing(self._records) as db:
            if person is None:
                give_up(db, row, error="no longer in the site file", site=self._site, now=now)
                return 0
            if row.attempts >= MOST_TRIES and row.leased_until is not None:
                error = "sending was cut off every time"
                after_failure(db, row, error=error, site=self._site, now=now)
                return 0
            later = waits_until(db, row, person, site=self._site, now=now)
            if later is not None:
                record_held(db, row.id, until=later)
                return 0
            rows = waiting_with(db, row, now=now)
            text = ready if _is_sheet(row) else self._words(db, rows, person, now)
            if text is None:
                for one in rows:
                    record_given_up(db, one.id, error=NOTHING_LEFT, at=now)
                return 0
            until = now + self._lease
            words = {"line": text.line, "body": text.body}
            if not claim(db, row, now=now, until=until, **words):
                return 0
            others = [one for one in rows[1:] if claim(db, one, now=now, until=until, **words)]
        outcome = self._channels.send(person, row.channel, text, picture=picture)
        return self._record([row.id, *(one.id for one in others)], outcome)

    def _have_drawn(self, row: OutboxRow) -> None:
        """Have the picture that goes along drawn beside the sending.

        After two failed tries the text goes alone: the picture may be what a channel refuses.
        """
        person = self._people.find(row.person)
        if person is not None and row.attempts < PICTURE_TRIES and not _is_sheet(row):
            self._easel.ask(row.id, partial(self._drawn, row, person, self._clock.now()))

    def _drawn(self, row: OutboxRow, person: Person, now: datetime) -> bytes | None:
        if self._picture is None:
            return None
        with reading(self._records) as db:
            about = alarms_in(db, waiting_with(db, row, now=now))
        return self._picture(about, person, now) if about else None

    def _picture_of(self, row: OutboxRow) -> bytes | None:
        """Return the picture if it is there in time; None for none, and whenever that fails."""
        try:
            return self._easel.fetch(row.id)
        except Exception:
            log.exception("picture_failed id=%d", row.id)
            return None

    def _is_gathered(self, row: OutboxRow, *, wait: bool) -> bool:
        person = self._people.find(row.person)
        gather = partial(self._sheet, row, person, self._clock.now())
        return self._gathering.is_ready(row.id, gather, wait=wait)

    def _sheet(
        self, row: OutboxRow, person: Person | None, now: datetime
    ) -> tuple[MessageText | None, bytes | None]:
        """Return the words and the picture of a night sheet; the words go without one, if need be.

        After two failed tries they go alone: the picture may be what a channel refuses.
        """
        if person is None:
            return None, None
        with reading(self._records) as db:
            text = self._words(db, (row,), person, now)
        if self._sheet_picture is None or row.attempts >= PICTURE_TRIES:
            return text, None
        try:
            return text, self._sheet_picture(row, person, now)
        except Exception:
            log.exception("picture_failed id=%d", row.id)
            return text, None

    def _words(
        self, db: Connection, rows: Sequence[OutboxRow], person: Person, now: datetime
    ) -> MessageText | None:
        try:
            return self._wording.words_of(db, rows, person, now=now)
        except Exception:
            # A fault in the wording must not keep a person from being told.
            log.exception("message_wording_failed id=%d", rows[0].id)
            if _is_sheet(rows[0]):
                link = f"{self._writer.base_url}/tonight"
                return MessageText(link, link)
            return self._writer.bare(rows[0].batch, rows[0].alarm_id, person)

    def _record(self, ids: Sequence[int], outcome: Outcome) -> int:
        now = self._clock.now()
        match outcome:
            case Sent():
                with writing(self._records) as db:
                    for message_id in ids:
                        record_sent(db, message_id, at=now)
                    row = message(db, ids[0])
                    if row is not None and way_works(db, row, site=self._site, now=now):
                        log.info("way_works person=%s channel=%s", row.person, row.channel)
                log.info("message_sent id=%d", ids[0])
                return 1
            case Failed(cause):
                for message_id in ids:
                    self._failed(message_id, cause, now)
                return 0
        assert_never(outcome)

    def _failed(self, message_id: int, cause: str, now: datetime) -> None:
        with writing(self._records) as db:
            row = message(db, message_id)
            if row is None:
                return
            outcome = after_failure(db, row, error=cause, site=self._site, now=now)
            way_failed(db, row, now=now)
        log.warning(
            "message_failed id=%d person=%s channel=%s tries=%d outcome=%s cause=%s",
            row.id,
            row.person,
            row.channel,
            row.attempts,
            outcome,
            cause,
        )


def _is_sheet(row: OutboxRow) -> bool:
    return row.kind is MessageKind.SHEET


def _never() -> bool:
    return False
