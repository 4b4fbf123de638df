"""How sensors and the collector are, and who else was heard."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import timedelta

import httpx
import pytest

from collector.gate import Message
from collector.health import BrokerHealth
from collector.spool import Spool
from collector.stores.base import StoreFailure
from collector.stores.influx_archive import InfluxAddress, InfluxArchive

V1 = "/api/v1"


def sensor(client, name: str = "bag-07") -> dict[str, object]:
    return next(one for one in client.get(f"{V1}/sensors").json() if one["id"] == name)


def test_a_sensor_tells_its_interval_its_battery_and_its_clock(client, tern_hollow):
    before = sensor(client)
    assert before["battery"][0]["declared_unit"] == "V"
    assert before["clock_behind_s"] is None  # nothing was heard since the start
    tern_hollow.go_on(30)
    after = sensor(client)
    air = next(one for one in after["channels"] if one["id"] == "air")
    assert 30 <= air["usual_interval_s"] <= 120
    assert air["gaps"] == []
    assert abs(after["clock_behind_s"]) < 5
    assert after["presence"] is None
    assert after["payload"] == "json"


def test_a_gap_and_a_late_clock_are_told(client, tern_hollow):
    start = tern_hollow.clock.now()
    for minute in [*range(10), 30, 31]:
        at = start + timedelta(minutes=minute)
        stamp = int(at.timestamp()) - 95
        payload = {"t": stamp, "temperature": 21.0, "humidity": 88.0}
        tern_hollow.hear("tern-hollow/bag-07", payload, at)
    after = sensor(client)
    assert after["clock_behind_s"] == pytest.approx(95, abs=1)
    air = next(one for one in after["channels"] if one["id"] == "air")
    assert len(air["gaps"]) == 1


def test_rejects_are_counted_by_sensor(client, tern_hollow):
    before = sensor(client)["rejects"]
    at = tern_hollow.clock.now()
    tern_hollow.hear("tern-hollow/bag-07", {"t": "yesterday"}, at)
    after = sensor(client)["rejects"]
    assert after["bad time"] == before.get("bad time", 0) + 1


def test_the_collector_tells_its_lag_and_what_waits(tern_hollow, serving):
    told = BrokerHealth(
        connected=False, connections=3, trouble="the broker is gone", waiting=7, waiting_bytes=700
    )
    with serving(replace(tern_hollow.parts, broker=lambda: told)) as address:
        body = httpx.get(f"{address}{V1}/collector").json()
        assert body["broker"] == {
            "connected": False,
            "connections": 3,
            "trouble": "the broker is gone",
            "waiting": 7,
            "waiting_bytes": 700,
        }
        assert (body["messages"], body["lag_s"], body["failure"]) == (0, None, None)
        late = int(tern_hollow.clock.now().timestamp() * 1000) - 4_000
        tern_hollow.parts.ingest.take([Message("new/1", b'{"temp": 21}', late)])
        body = httpx.get(f"{address}{V1}/collector").json()
        assert (body["messages"], body["rejects"], body["lag_s"]) == (1, 1, 4.0)
        assert body["strangers"] == 1


def test_an_archive_that_cannot_be_reached_says_what_waits_and_why(tern_hollow, serving):
    nobody = InfluxAddress("http://127.0.0.1:9", "graftvigil", "-", token=None)
    now_ms = int(tern_hollow.clock.now().timestamp() * 1000)
    spool = Spool(tern_hollow.store, InfluxArchive(nobody, timeout_s=1.0), clock_ms=lambda: now_ms)
    stop = threading.Event()
    trying = threading.Thread(target=spool.run, args=(stop,))
    trying.start()
    with serving(replace(tern_hollow.parts, spool=spool)) as address:
        for _ in range(50):
            body = httpx.get(f"{address}{V1}/collector").json()["archive"]
            if body["trouble"] is not None:
                break
            stop.wait(0.2)
    stop.set()
    trying.join()
    assert body["trouble"]
    assert body["trouble_since"] is not None
    assert body["waiting"] == tern_hollow.store.last_sequence() > 0
    assert body["oldest_at"] is not None
    assert (body["set_aside"], body["last_refusal"]) == (0, None)


def test_a_collector_that_cannot_keep_says_so(client, tern_hollow):
    with tern_hollow.store.file.writing() as db:
        db.execute("PRAGMA query_only = ON")
    with pytest.raises(StoreFailure):
        tern_hollow.hear("new/1", {"temp": 21}, tern_hollow.clock.now())
    body = client.get(f"{V1}/collector").json()
    assert body["failure"]
    assert body["failing_since"] == tern_hollow.clock.now().isoformat().replace("+00:00", "Z")
    assert body["broker"] is None


def test_strangers_are_listed_with_guesses_and_reasons(client, tern_hollow):
    tern_hollow.hear("new/b9", {"temp": 21.5, "x": 3}, tern_hollow.clock.now())
    (one,) = client.get(f"{V1}/strangers").json()
    assert (one["topic"], one["payload"], one["messages"], one["adopted"]) == (
        "new/b9",
        "json",
        1,
        False,
    )
    assert one["numbers"] == [
        {
            "path": "temp",
            "value": 21.5,
            "quantity": "air_temperature",
            "unit": "degC",
            "scale": 1.0,
            "why": ["its name says so", "the usual unit, and its size fits"],
        },
        {
            "path": "x",
            "value": 3.0,
            "quantity": None,
            "unit": None,
            "scale": 1.0,
            "why": ["nothing in its name says what it is"],
        },
    ]
