"""Gathers what is known of the tool's parts. Asks each by itself: one that fails hides no other."""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from sqlalchemy.exc import SQLAlchemyError

from api.guard.machine import Disk, clock_is_set
from api.records.guarded import blind_batches
from api.records.runs import still_alive
from api.records.sending import due
from api.records.session import reading, writing
from api.records.tables import instant
from api.records.watch import load_position
from api.records.works import works_in_hand
from collector.stores.base import StoreFailure
from rules.model.place import channel_key
from rules.model.quantities import Quantity
from rules.model.reading import MINUTE_MS
from rules.model.work import WorkKind
from rules.vital_facts import DiskFacts, Facts, SensorFacts

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from sqlalchemy import Connection, Engine

    from api.backup.schedule import ScheduledBackups
    from api.book import Book
    from api.settings import Settings
    from api.watch.clock import Clock, Steady
    from collector.health import BrokerHealth
    from collector.ingest import Ingest
    from collector.spool import Spool
    from collector.stores.base import ReadingStore
    from rules.model.place import Sensor
    from rules.model.reading import StoredReading
    from rules.vital_facts import NodeFacts

log = logging.getLogger(__name__)

DISK_EVERY_S = 30.0
ALIVE_EVERY_S = 60.0
_MOST_DUE = 100


class Turns(Protocol):
    """A part that counts what it does."""

    signs: int
    done: int

    @property
    def last_error(self) -> str | None:
        """What its last turn failed on."""
        ...


@dataclass(frozen=True, slots=True)
class Turning:
    """How a part is that turns over and over.

    `signs` counts its signs of life, failures among them, `done` what it did as it should. `error`
    is what its last turn failed on.
    """

    signs: Callable[[], int]
    done: Callable[[], int]
    error: Callable[[], str | None]

    @classmethod
    def of(cls, part: Turns) -> Turning:
        """Return how a part is that counts by itself."""
        return cls(lambda: part.signs, lambda: part.done, lambda: part.last_error)


@dataclass(slots=True)
class _Counted:
    """A count, and when it was last seen to move, steady."""

    count: int
    moved_s: float


@dataclass(frozen=True, slots=True)
class Body:
    """What the guard looks after."""

    book: Book
    store: ReadingStore
    records: Engine
    ingest: Ingest
    broker: Callable[[], BrokerHealth]
    spool: Spool | None
    settings: Settings
    watch: Turning
    alerts: Turning
    backups: ScheduledBackups | None
    nodes: Callable[[Connection], tuple[NodeFacts, ...]] | None = None


@dataclass(slots=True)
class _Heard:
    """When a channel's newest reading was first seen here, steady; `sequence` tells it apart."""

    sequence: int
    at_s: float


@dataclass(frozen=True, slots=True)
class _Records:
    """What the records say: blind batches, sensors in work, the watch's next cell.

    `trouble` is what is wrong with them, "" nothing; then the rest is not known.
    """

    trouble: str = ""
    blind: frozenset[str] = frozenset()
    excused: frozenset[str] = frozenset()
    next_minute: int | None = None
    overdue_s: float | None = None
    nodes: tuple[NodeFacts, ...] | None = None


@dataclass(slots=True)
class Senses:
    """Looks at every part, again and again; remembers what it saw last. One thread calls it.

    `run` is the number under which this run of the program is kept, None: it is not.
    """

    body: Body
    clock: Clock
    steady: Steady
    run: int | None = None
    _heard: dict[str, _Heard] = field(default_factory=dict)
    _disk: Disk | None = None
    _disk_facts: DiskFacts | None = None
    _disk_at_s: float | None = None
    _alive_at_s: float | None = None
    _deaf_at_s: float | None = None
    _clocks: tuple[datetime, float] | None = None
    _counted: dict[str, _Counted] = field(default_factory=dict)

    def look(self, *, heartbeat_failed: int | None, heartbeat_error: str) -> Facts:
        """Return what is known now."""
        now, at_s = self.clock.now(), self.steady.seconds()
        jumped_s = self._jumped(now, at_s)
        known = self._records(now, at_s)
        next_minute = known.next_minute
        health = self.body.ingest.health()
        waiting, archive = self._archive()
        lag_s = None
        if next_minute is not None:
            judged_to = instant(next_minute * MINUTE_MS)
            lag_s = (now - judged_to).total_seconds() - self.body.settings.lateness_s - 60.0
        watched = self._watched(now)
        arriving = self.body.broker()
        broker = "" if arriving.connected else (arriving.trouble or "not connected")
        backups = None if self.body.backups is None else self.body.backups.state
        if self._deaf_at_s is None or broker or health.failing_since_ms is not None:
            self._deaf_at_s = at_s
        return Facts(
            sensors=self._sensors(now, at_s, known.excused, watched),
            blind=known.blind,
            watched=frozenset(watched),
            broker=broker,
            keeping="" if health.failing_since_ms is None else str(health.failure),
            archive=archive,
            archive_waiting=waiting,
            records=known.trouble,
            disk=self._disk_now(at_s),
            jumped_s=jumped_s,
            clock_set=clock_is_set(),
            lag_s=lag_s,
            watch_still_s=self._still("watch", self.body.watch.signs(), at_s),
            watch_error=self.body.watch.error() or "",
            alerts_still_s=self._still("alerts", self.body.alerts.signs(), at_s),
            alerts_idle_s=self._still("alerts done", self.body.alerts.done(), at_s),
            alerts_error=self.body.alerts.error() or "",
            waiting=arriving.waiting,
            waited_s=None if health.lag_ms is None else health.lag_ms / 1000,
            overdue_s=known.overdue_s,
            heartbeat_failed=heartbeat_failed,
            heartbeat_error=heartbeat_error,
            backup_age_s=None if backups is None else backups.age_s(now),
            backup_error="" if backups is None else backups.error,
            nodes=known.nodes,
        )

    def _jumped(self, now: datetime, at_s: float) -> float:
        before, self._clocks = self._clocks, (now, at_s)
        if before is None:
            return 0.0
        return (now - before[0]).total_seconds() - (at_s - before[1])

    def _still(self, what: str, count: int, at_s: float) -> float:
        """Return for how long a count has not moved, as far as it was looked at."""
        known = self._counted.get(what)
        if known is None or known.count != count:
            known = self._counted[what] = _Counted(count, at_s)
        return at_s - known.moved_s

    def _archive(self) -> tuple[int, str | None]:
        spool = self.body.spool
        if spool is None:
            return 0, None
        try:
            health = spool.health()
        except StoreFailure as trouble:
            return 0, str(trouble)
        return health.waiting, health.trouble or ""

    def _records(self, now: datetime, at_s: float) -> _Records:
        """Return what the records say, or what is wrong with them.

        And how the other nodes are, None where nobody knows or asks.
        Now and then it is tried whether the records still take something: that we are alive.
        """
        try:
            with reading(self.body.records) as db:
                position = load_position(db)
                blind = blind_batches(db)
                works = works_in_hand(db, now)
                next_out = due(db, now=now, most=_MOST_DUE)
                nodes = None if self.body.nodes is None else self.body.nodes(db)
            to_say = self._alive_at_s is None or at_s - self._alive_at_s >= ALIVE_EVERY_S
            if self.run is not None and to_say:
                with writing(self.body.records) as db:
                    still_alive(db, self.run, at=now)
                self._alive_at_s = at_s
        except SQLAlchemyError as trouble:
            log.warning("guard_records_failing kind=%s", type(trouble).__name__)
            self._alive_at_s = None
            return _Records(said_of(trouble))
        return _Records(
            blind=blind,
            excused=frozenset(one.place for one in works if one.kind is WorkKind.CALIBRATING),
            next_minute=None if position is None else position.next_minute,
            overdue_s=max(((now - one.due_at).total_seconds() for one in next_out), default=0.0),
            nodes=nodes,
        )

    def _disk_now(self, at_s: float) -> DiskFacts | None:
        if self._disk is None:
            self._disk = Disk(self.body.settings.data)
        if self._disk_at_s is None or at_s - self._disk_at_s >= DISK_EVERY_S:
            self._disk_facts, self._disk_at_s = self._disk.measure(at_s), at_s
        return self._disk_facts

    def _watched(self, now: datetime) -> Mapping[str, frozenset[str]]:
        """Return the watched batches, each with the sensors without which it can't be seen."""
        minute = int(now.timestamp()) // 60
        found: dict[str, frozenset[str]] = {}
        for batch in self.body.book.now.watchlist.batches:
            span = batch.span_at(minute)
            watch = batch.watch_in(span)
            if watch is not None:
                found[batch.code] = frozenset(
                    source.channel.partition("/")[0]
                    for felt in watch.vital
                    if felt in span.speakers
                    for source in span.speakers[felt].sources
                )
        return found

    def _sensors(
        self,
        now: datetime,
        at_s: float,
        excused: frozenset[str],
        watched: Mapping[str, frozenset[str]],
    ) -> tuple[SensorFacts, ...] | None:
        try:
            latest = self.body.store.latest()
        except StoreFailure:
            return None
        clocks = self.body.ingest.pulses.clock_behind_ms()
        return tuple(
            SensorFacts(
                id=sensor.id,
                house=self._house(sensor, now),
                batches=frozenset(code for code, needs in watched.items() if sensor.id in needs),
                silent_after_s=60.0 * max(channel.stale_after_min for channel in sensor.channel),
                heard_ago_s=self._heard_ago(sensor, latest, now, at_s),
                clock_behind_s=clocks[sensor.id] / 1000 if sensor.id in clocks else None,
                battery=_battery(sensor, latest),
                battery_low=_battery_low(sensor),
                excused=sensor.id in excused,
                listened_s=at_s - (at_s if self._deaf_at_s is None else self._deaf_at_s),
            )
            for sensor in self.body.book.now.site.sensor
            if any(
                position.since <= now and (position.until is None or now < position.until)
                for position in sensor.position
            )
        )

    def _heard_ago(
        self, sensor: Sensor, latest: Mapping[str, StoredReading], now: datetime, at_s: float
    ) -> float | None:
        """Return how long ago a sensor spoke: by our own count, whatever its clock says.

        Of what was there at the start, the reading's own instant tells.
        """
        heard: list[float] = []
        now_ms = int(now.timestamp() * 1000)
        for channel in sensor.channel:
            last = latest.get(channel_key(sensor.id, channel.id))
            if last is None:
                continue
            known = self._heard.get(last.channel)
            if known is None:
                ago = max(0.0, (now_ms - last.at_ms) / 1000)
                known = self._heard[last.channel] = _Heard(last.sequence, at_s - ago)
            elif known.sequence != last.sequence:
                known.sequence, known.at_s = last.sequence, at_s
            heard.append(known.at_s)
        return at_s - max(heard) if heard else None

    def _house(self, sensor: Sensor, now: datetime) -> str | None:
        bench = {one.id: one.house for one in self.body.book.now.site.bench}
        batch = {one.code: bench.get(one.bench) for one in self.body.book.now.site.batch}
        for position in sensor.position:
            if not position.since <= now or (position.until and position.until <= now):
                continue
            if position.cover_of is not None:
                return batch.get(position.cover_of)
            if position.bench is not None:
                return bench.get(position.bench)
            return position.house
        return None


def said_of(trouble: Exception) -> str:
    """Return what a database says is wrong, in one line, without the statement or its values."""
    cause = getattr(trouble, "orig", None) or trouble
    return str(cause).splitlines()[0] if str(cause) else type(cause).__name__


def _battery(sensor: Sensor, latest: Mapping[str, StoredReading]) -> float | None:
    told = [
        last.value
        for channel in sensor.channel
        if channel.quantity is Quantity.BATTERY
        and (last := latest.get(channel_key(sensor.id, channel.id))) is not None
    ]
    return min(told, default=None)


def _battery_low(sensor: Sensor) -> float | None:
    told = [
        channel.low_below
        for channel in sensor.channel
        if channel.quantity is Quantity.BATTERY and channel.low_below is not None
    ]
    return told[0] if told else None
