"""/healthz and /metrics of a whole nursery, read as a scraper and a monitor read them."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import httpx
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families
from prometheus_client.parser import text_string_to_metric_families as older_form

from api.assemble import assemble
from api.records.outbox import Cause, MessageKind, owe
from api.records.session import writing
from api.settings import load_settings
from api.watch.clock import TurnedClock
from collector.ingest import Message

DEMO = Path(__file__).parents[3] / "demo_data"
AT = datetime(2026, 11, 14, 15, 0, tzinfo=UTC)
AS_OPENMETRICS = {"accept": "application/openmetrics-text; version=1.0.0, text/plain;q=0.5"}


@pytest.fixture(scope="module")
def whole(pages_nursery, tmp_path_factory):
    """A whole nursery turned by hand, with its guard, and a client to it: one for this module."""
    given = {
        "site": DEMO / "site.toml",
        "plans": DEMO / "plans",
        "data": tmp_path_factory.mktemp("machine") / "data",
        "accounts": "off",
        "built_in_broker": "127.0.0.1:0",
    }
    clock = TurnedClock(AT)
    nursery = assemble(load_settings({}, given), clock, notice=None, first_minute=None)
    with (
        pages_nursery.serving(nursery.parts) as address,
        httpx.Client(base_url=address, timeout=30) as client,
    ):
        yield SimpleNamespace(nursery=nursery, clock=clock, client=client)
    nursery.stop()


def figures(client, **headers) -> dict[tuple[str, frozenset], float]:
    answer = client.get("/metrics", headers=AS_OPENMETRICS | headers)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def labelled(name: str, **labels: str) -> tuple[str, frozenset]:
    return name, frozenset(labels.items())


def speak(whole, *payloads: tuple[str, object]) -> None:
    at_ms = int(whole.clock.now().timestamp() * 1000)
    whole.nursery.parts.ingest.take(
        [Message(topic, json.dumps(said).encode(), at_ms) for topic, said in payloads]
    )


def test_what_comes_in_is_counted_and_what_is_refused_by_reason(whole):
    before = figures(whole.client)
    # Every reason has its line from the start, so that the first refusal is a rise.
    assert before[labelled("graftvigil_refused_total", reason="too large")] == 0
    speak(
        whole,
        ("tern-hollow/hand-probe", {"temperature": 24.1, "humidity": 93}),
        ("tern-hollow/hand-probe", {"temperature": 999, "humidity": 93}),
        ("a-stranger/token-gvp_secret", {"x": 1}),
        ("another-stranger", {"x": 1}),
    )
    now = figures(whole.client)

    def rise(name: str, **labels: str) -> float:
        return now[labelled(name, **labels)] - before[labelled(name, **labels)]

    assert rise("graftvigil_messages_taken_total") == 4
    assert rise("graftvigil_readings_kept_total") == 3
    assert rise("graftvigil_commits_total") == 1
    assert rise("graftvigil_refused_total", reason="unknown topic") == 2
    assert rise("graftvigil_refused_total", reason="out of range") == 1
    assert now[labelled("process_resident_memory_bytes")] > 1e7
    # However many strangers speak, there are no more lines, and none of their words are in them.
    assert set(now) - set(before) <= {labelled("graftvigil_commit_waited_seconds")}
    assert "stranger" not in whole.client.get("/metrics").text


def test_minutes_alarms_messages_and_sensors_are_counted(whole):
    whole.nursery.turn()
    for _ in range(8):
        at_s = int(whole.clock.now().timestamp())
        for minute in range(4):
            said = {"t": at_s + 60 * minute, "temperature": 24.0, "humidity": 50.0}
            speak(whole, ("tern-hollow/bag-07", said))
        whole.clock.turn_by(timedelta(minutes=4))
        whole.nursery.watch.turn()
    whole.nursery.alerts.turn()
    whole.nursery.parts.guard.turn()
    now = figures(whole.client)
    judged = now[labelled("graftvigil_minute_seconds_count")]
    assert judged == now[labelled("graftvigil_minute_seconds_bucket", le="+Inf")] >= 30
    assert now[labelled("graftvigil_minute_seconds_sum")] > 0
    assert now[labelled("graftvigil_watch_lag_seconds")] < 60
    standing = {key: value for key, value in now.items() if key[0] == "graftvigil_alarms" and value}
    assert standing
    assert {name for key in standing for name, _ in key[1]} == {"state", "priority"}
    # No mail server is set: what is owed fails, and says so by its way.
    assert now[labelled("graftvigil_outbox_owed")] > 0
    assert now[labelled("graftvigil_send_failures_total", way="email")] > 0
    assert now[labelled("graftvigil_outbox_oldest_seconds")] > 0
    by_health = {key[1]: value for key, value in now.items() if key[0] == "graftvigil_sensors"}
    assert sum(by_health.values()) >= 10
    assert by_health[frozenset({("health", "speaking")})] >= 1


def test_a_scraper_that_asks_for_the_older_form_gets_that(whole):
    answer = whole.client.get("/metrics", headers={"accept": "text/plain"})
    assert answer.headers["content-type"].startswith("text/plain")
    names = {family.name for family in older_form(answer.text)}
    assert {"graftvigil_messages_taken", "graftvigil_part_well"} <= names


def test_a_monitor_is_told_by_name_what_is_not_well_and_nothing_else(whole, monkeypatch):
    whole.nursery.watch.turn()
    guard = whole.nursery.parts.guard
    guard.turn()
    told = whole.client.get("/healthz")
    # The collector was not started here, so nothing listens; all else turns.
    assert (told.status_code, told.text) == (503, "not well\nbroker\n")
    assert figures(whole.client)[labelled("graftvigil_part_well", part="broker")] == 0
    assert figures(whole.client)[labelled("graftvigil_part_well", part="watch")] == 1
    whole.clock.turn_by(timedelta(minutes=20))
    whole.nursery.alerts.turn()
    guard.turn()
    assert whole.client.get("/healthz").text == "not well\nwatch\nbroker\n"
    steady = guard.senses.steady.seconds()
    monkeypatch.setattr(guard.senses, "steady", SimpleNamespace(seconds=lambda: steady + 120))
    assert whole.client.get("/healthz").text == "not well\nguard\nwatch\nbroker\n"


def test_a_message_that_is_due_and_does_not_go_out_is_a_stuck_outbox(whole):
    guard, site = whole.nursery.parts.guard, whole.nursery.parts.site
    whole.nursery.watch.turn()
    whole.nursery.alerts.turn()
    now = whole.clock.now()
    with writing(whole.nursery.parts.records) as db:
        owe(db, Cause("test.1", MessageKind.TEST, "", now), person=site.person[0], at=now)
    whole.clock.turn_by(timedelta(minutes=4))
    whole.nursery.watch.turn()
    guard.turn()
    assert "outbox" not in whole.client.get("/healthz").text
    whole.clock.turn_by(timedelta(minutes=2))
    whole.nursery.watch.turn()
    guard.turn()
    assert "outbox" in whole.client.get("/healthz").text
    assert figures(whole.client)[labelled("graftvigil_outbox_overdue_seconds")] >= 360
    whole.nursery.alerts.turn()
    guard.turn()
    assert "outbox" not in whole.client.get("/healthz").text
