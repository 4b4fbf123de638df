"""Lamps and sirens on MQTT topics: lit while something waits for a person, else dark.

What each should be follows from the records alone; kept is only, in memory, what was published
last. Killed anywhere, the next start publishes what holds then. Each is repeated every REPEAT_S, so
that a lost message heals, and a device can tell silence from "off".
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.alerts.told import batch_of
from api.records.alarms import standing_alarms
from api.records.session import reading
from collector.outgoing import Fate
from rules.model.alarm import AlarmState

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from sqlalchemy import Engine

    from api.book import Book
    from api.records.alarms import AlarmRecord
    from api.watch.clock import Steady
    from collector.health import BrokerHealth
    from collector.outgoing import Outgoing
    from rules.model.lamp import Lamp
    from rules.model.site import Site

    Publish = Callable[[str, bytes], Outgoing]

log = logging.getLogger(__name__)

TURN_S = 1.0
LONGEST_PAUSE_S = 30.0
REPEAT_S = 120.0
"""How often each lamp is told anew what it is told already. House rule, no source."""

RETRY_S = 5.0
"""How long after a failure it is tried again, and how long an answer is waited for."""


@dataclass(frozen=True, slots=True)
class _Told:
    """What was published last on a topic, over which connection and when; `off` puts it out."""

    out: Outgoing
    off: bytes
    connection: int
    at_s: float


def is_lit(lamp: Lamp, alarms: Iterable[AlarmRecord], site: Site) -> bool:
    """Return whether one of the alarms, none of them normal, lights a lamp."""
    waiting = {AlarmState.UNACKNOWLEDGED}
    if lamp.latch:
        waiting.add(AlarmState.RETURNED_UNACKNOWLEDGED)
    return any(
        one.state in waiting and lamp.heeds(one.priority) and _concerns(lamp, one, site)
        for one in alarms
    )


def _concerns(lamp: Lamp, alarm: AlarmRecord, site: Site) -> bool:
    """Return whether an alarm is of the lamp's houses.

    One of the tool itself is of the houses whose batches it leaves unseen. What stands in no house
    that we know of, as a full disk, may concern any, and lights all.
    """
    if not lamp.houses:
        return True
    codes = (alarm.batch,) if alarm.batch else alarm.particulars.batches
    houses = {bench.id: bench.house for bench in site.bench}
    batches = [batch_of(site, code) for code in codes]
    found = {houses.get(batch.bench) for batch in batches if batch is not None}
    return not found or None in found or not found.isdisjoint(lamp.houses)


class Lamps:
    """Publishes what each lamp should be. One thread runs it, or turns it by hand.

    Parameters
    ----------
    publish
        Sends a retained message over the connection that there is; returns at once.
    health
        Tells how that connection is.
    ours
        Whether this process is the one that speaks: of several nodes one is.
    """

    def __init__(
        self,
        book: Book,
        records: Engine,
        steady: Steady,
        *,
        publish: Publish,
        health: Callable[[], BrokerHealth],
        ours: Callable[[], bool],
    ) -> None:
        self._book = book
        self._records = records
        self._steady = steady
        self._publish = publish
        self._health = health
        self._ours = ours
        self._told: dict[str, _Told] = {}
        self._said_lost: set[str] = set()

    def turn(self) -> int:
        """Publish what is not yet, or no longer, as it should be; return how many were published.

        While the records can't be read nothing is repeated: a device that counts the minutes since
        the last message then knows that nobody can tell.
        """
        site = self._book.now.site
        if not self._ours():
            self._told.clear()  # once it is ours again, nobody knows what was said meanwhile
            return 0
        if not site.lamp and not self._told:
            return 0
        with reading(self._records) as db:
            alarms = standing_alarms(db)
        wanted = {
            lamp.topic: (lamp.on if is_lit(lamp, alarms, site) else lamp.off, lamp.off)
            for lamp in site.lamp
        }
        published = 0
        for topic, (said, off) in wanted.items():
            published += self._tell(topic, said.encode(), off=off.encode())
        for topic in self._told.keys() - wanted.keys():  # gone from the site file: not left lit
            before = self._told[topic]
            if before.out.payload == before.off and before.out.fate is Fate.ACCEPTED:
                del self._told[topic]
            else:
                published += self._tell(topic, before.off, off=before.off)
        return published

    def run(self, stop: threading.Event) -> None:
        """Take a turn about once a second until `stop`; faults are logged, then tried again."""
        failures = 0
        while not stop.is_set():
            try:
                self.turn()
            except Exception:
                failures += 1
                log.exception("lamps_failed failures=%d", failures)
            else:
                failures = 0
            stop.wait(min(TURN_S * 2**failures, LONGEST_PAUSE_S))

    def _tell(self, topic: str, payload: bytes, *, off: bytes) -> int:
        before, now_s = self._told.get(topic), self._steady.seconds()
        connection = self._health().connections
        if before is not None:
            self._look_at(before)
            if not _is_due(before, payload, connection, now_s):
                return 0
        if before is None or before.out.payload != payload:
            log.info("lamp_told topic=%s", topic)
        self._told[topic] = _Told(self._publish(topic, payload), off, connection, now_s)
        return 1

    def _look_at(self, told: _Told) -> None:
        """Log once that a lamp can't be told, and once that it can again."""
        topic = told.out.topic
        if told.out.fate is Fate.LOST and topic not in self._said_lost:
            self._said_lost.add(topic)
            log.warning("lamp_not_told topic=%s why=%s", topic, told.out.trouble)
        elif told.out.fate is Fate.ACCEPTED and topic in self._said_lost:
            self._said_lost.discard(topic)
            log.info("lamp_told_again topic=%s", topic)


def _is_due(before: _Told, payload: bytes, connection: int, now_s: float) -> bool:
    """Return whether it is to be published, after what was published before."""
    if before.out.payload != payload or before.connection != connection:
        return True  # another connection may be to a broker that has forgotten
    waited = REPEAT_S if before.out.fate is Fate.ACCEPTED else RETRY_S
    return now_s - before.at_s >= waited
