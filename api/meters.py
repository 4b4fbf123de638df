"""The tool's own figures, as an OpenMetrics scraper reads them: counted at the moment it asks.

Every label takes its values from a short list of ours or from the site file: kinds of refusal,
states, priorities, ways, names of parts. None comes from what a stranger sent, and none grows with
batches or sensors.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    InfoMetricFamily,
)
from prometheus_client.registry import Collector
from sqlalchemy.exc import SQLAlchemyError

from api.guard.vitals import vitals_of
from api.records.session import reading
from api.records.tallies import tallies
from api.watch.pace import BOUNDS_S
from collector.rejects import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator

    from prometheus_client.metrics_core import Metric

    from api.parts import Parts
    from api.records.tallies import Tallies, WayTally
    from rules.vital_facts import Facts

KINDS = frozenset(kind.value for kind in Kind)
OTHER = "other"
PARTS = ("watch", "broker", "store", "records", "outbox", "disk", "guard")
SENSOR_HEALTH = ("speaking", "silent", "never heard", "in calibration")


def registry_of(parts: Parts, *, version: str) -> CollectorRegistry:
    """Return a registry of this nursery's own, which holds nothing of other libraries'."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(Meters(parts, version))
    registry.register(ProcessCollector(registry=None))
    return registry


class Meters(Collector):
    """Reads the parts anew for each scrape; any thread may ask."""

    def __init__(self, parts: Parts, version: str) -> None:
        self._parts = parts
        self._version = version

    def collect(self) -> Iterator[Metric]:
        """Yield every figure that is known now; one that is not known is left out, never 0."""
        yield InfoMetricFamily("graftvigil", "The version that runs.", {"version": self._version})
        yield from self._ingest()
        yield from self._watch()
        yield from self._guard()
        try:
            with reading(self._parts.records) as db:
                told = tallies(db)
        except SQLAlchemyError:
            return
        yield from self._records(told)

    def _ingest(self) -> Iterator[Metric]:
        health = self._parts.ingest.health()
        yield _counter("messages_taken", "Messages kept, refused ones too.", health.messages)
        yield _counter("readings_kept", "Readings kept.", health.readings)
        yield _counter("commits", "Batches written at once to the store.", health.commits)
        refused = CounterMetricFamily(
            "graftvigil_refused", "What was refused on arrival, by reason.", labels=["reason"]
        )
        counts: Counter[str] = Counter(dict.fromkeys(KINDS, 0))
        for kind, count in health.refused.items():
            counts[kind if kind in KINDS else OTHER] += count
        for kind in sorted(counts):
            refused.add_metric([kind], counts[kind])
        yield refused
        if health.lag_ms is not None:
            yield _gauge(
                "commit_waited_seconds",
                "How long the oldest message of the newest commit had waited.",
                health.lag_ms / 1000,
            )
        if self._parts.broker is not None:
            broker = self._parts.broker()
            yield _gauge("broker_connected", "1 while the broker is reached.", broker.connected)
            yield _counter("broker_connections", "Connections made.", broker.connections)
            yield _gauge("messages_waiting", "Received and not yet kept.", broker.waiting)

    def _watch(self) -> Iterator[Metric]:
        pace = self._parts.pace
        if pace is None:
            return
        paced, counted = pace.paced, 0
        buckets: list[tuple[str, float]] = []
        for bound, count in zip((*map(str, BOUNDS_S), "+Inf"), paced.counts, strict=True):
            counted += count
            buckets.append((bound, counted))
        minutes = HistogramMetricFamily(
            "graftvigil_minute_seconds", "How long judging one minute took, with its commit."
        )
        minutes.add_metric([], buckets, paced.total_s)
        yield minutes

    def _guard(self) -> Iterator[Metric]:
        parts = self._parts
        vitals = vitals_of(parts.guard, parts.records, parts.store)
        yield _by(
            "part_well",
            "1 while a part is well; see /healthz.",
            "part",
            {name: float(name not in vitals.unwell) for name in PARTS}
            if vitals.looked
            else {name: float(name not in vitals.unwell) for name in ("store", "records")},
        )
        facts = None if parts.guard is None else parts.guard.facts
        if facts is None:
            return
        if facts.lag_s is not None:
            yield _gauge(
                "watch_lag_seconds",
                "How far the watch is behind where it should be; about 0 when all is well.",
                max(0.0, facts.lag_s),
            )
        if facts.disk is not None:
            yield _gauge("disk_free_bytes", "Room on the data folder's disk.", facts.disk.free)
        if facts.backup_age_s is not None:
            yield _gauge("backup_age_seconds", "Age of the last good backup.", facts.backup_age_s)
        if facts.overdue_s is not None:
            yield _gauge(
                "outbox_overdue_seconds",
                "For how long a message to people has been due and not tried; 0 when none is.",
                max(0.0, facts.overdue_s),
            )
        yield _by("sensors", "Sensors that should speak now, by health.", "health", _healths(facts))
        beat = None if parts.guard is None else parts.guard.heartbeat
        if beat is not None:
            yield _counter("heartbeats_sent", "Heartbeats that got out.", beat.sent)
            yield _gauge("heartbeat_failures", "Heartbeats failed in a row.", beat.failed)

    def _records(self, told: Tallies) -> Iterator[Metric]:
        standing = GaugeMetricFamily(
            "graftvigil_alarms", "Alarms that are not normal.", labels=["state", "priority"]
        )
        for (state, priority), count in sorted(told.alarms.items()):
            standing.add_metric([state, priority], count)
        yield standing
        yield _gauge("outbox_owed", "Messages that wait or are tried.", told.owed)
        oldest_s = 0.0
        if told.oldest_owed_at is not None:
            now = self._parts.clock.now()
            oldest_s = max(0.0, (now - told.oldest_owed_at).total_seconds())
        yield _gauge(
            "outbox_oldest_seconds",
            "Age of the oldest message owed; quiet hours hold some back by design.",
            oldest_s,
        )
        sent = _by_way("messages_sent", "Messages that a way accepted.")
        failed = _by_way("send_failures", "Tries to send that failed.")
        gave_up = _by_way("messages_given_up", "Messages no longer tried.")
        for way, tally in sorted(self._by_known_way(told).items()):
            sent.add_metric([way], sum(one.sent for one in tally))
            failed.add_metric([way], sum(one.failed_tries for one in tally))
            gave_up.add_metric([way], sum(one.gave_up for one in tally))
        yield from (sent, failed, gave_up)

    def _by_known_way(self, told: Tallies) -> dict[str, list[WayTally]]:
        """Return the tallies by ways of the site file; those it no longer names count as other."""
        known = {way for person in self._parts.site.person for way in person.ways}
        found: dict[str, list[WayTally]] = {}
        for way, tally in told.ways.items():
            found.setdefault(way if way in known else OTHER, []).append(tally)
        return found


def _healths(facts: Facts) -> dict[str, float]:
    counts: dict[str, float] = dict.fromkeys(SENSOR_HEALTH, 0.0)
    for one in facts.sensors or ():
        if one.excused:
            counts["in calibration"] += 1
        elif one.heard_ago_s is None:
            counts["never heard"] += 1
        else:
            counts["silent" if one.silent else "speaking"] += 1
    return counts if facts.sensors is not None else {}


def _counter(name: str, says: str, value: float) -> Metric:
    return CounterMetricFamily(f"graftvigil_{name}", says, value=value)


def _gauge(name: str, says: str, value: float) -> Metric:
    return GaugeMetricFamily(f"graftvigil_{name}", says, value=value)


def _by_way(name: str, says: str) -> CounterMetricFamily:
    return CounterMetricFamily(f"graftvigil_{name}", says, labels=["way"])


def _by(name: str, says: str, label: str, values: dict[str, float]) -> Metric:
    family = GaugeMetricFamily(f"graftvigil_{name}", says, labels=[label])
    for one, value in values.items():
        family.add_metric([one], value)
    return family
