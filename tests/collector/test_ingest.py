"""Keep, then acknowledge: what a store that refuses does to a batch, and to nothing else."""

from __future__ import annotations

import subprocess
import sys

import pytest

from collector.ingest import Message
from collector.push import take_pushed
from collector.stores.base import StoreFailure


def message(now_ms: int, number: int, topic: str = "shed/bag-07") -> Message:
    payload = b'{"ts": %d, "air": {"temp": 21.5, "rh": 90}}' % (now_ms - number)
    return Message(topic, payload, now_ms)


def test_a_batch_is_kept_with_its_rejects(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    taken = kept.ingest.take([message(kept.now_ms, 1), message(kept.now_ms, 2, "elsewhere")])
    assert taken.kept == 2
    assert [r.topic for r in taken.rejects] == ["elsewhere"]
    assert [(r.channel, r.value) for r in kept.store.since(0, 10)] == [
        ("bag-07/air", 21.5),
        ("bag-07/rh", 90.0),
    ]
    assert [r.topic for r in kept.rejects.newest(10)] == ["elsewhere"]


def test_what_is_delivered_twice_is_kept_once(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    kept.ingest.take([message(kept.now_ms, 1)])
    kept.ingest.take([message(kept.now_ms, 1), message(kept.now_ms, 1)])
    assert kept.store.count() == 2


def test_health_counts_what_was_taken(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    kept.ingest.take([message(kept.now_ms, 1), message(kept.now_ms, 2, "elsewhere")])
    kept.ingest.take([message(kept.now_ms, 3)])
    health = kept.ingest.health()
    assert (health.messages, health.readings, health.rejects) == (3, 4, 1)
    assert health.last_commit_ms == kept.now_ms
    assert health.failure is None


def test_a_full_disk_raises_keeps_nothing_and_heals(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    kept.ingest.take([message(kept.now_ms, 0)])
    with kept.store.file.writing() as db:
        pages = db.execute("PRAGMA page_count").fetchone()[0]
        db.execute(f"PRAGMA max_page_count = {pages}")
    batch = [message(kept.now_ms, number) for number in range(1, 2000)]
    batch.append(message(kept.now_ms, 1, "elsewhere"))
    with pytest.raises(StoreFailure, match="Free some space"):
        kept.ingest.take(batch)
    assert kept.store.count() == 2
    assert kept.rejects.newest(1) == []
    health = kept.ingest.health()
    assert health.messages == 1
    assert health.failing_since_ms == kept.now_ms
    assert "full" in (health.failure or "")
    with kept.store.file.writing() as db:
        db.execute("PRAGMA max_page_count = 1000000")
    kept.ingest.take(batch)
    assert kept.store.count() == 4000
    assert kept.ingest.health().failing_since_ms is None


def test_a_file_that_may_not_be_written_raises(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    with kept.store.file.writing() as db:
        db.execute("CREATE TABLE filler (x)")
    kept.store.file._writer.execute("PRAGMA query_only = ON")
    with pytest.raises(StoreFailure, match="write"):
        kept.ingest.take([message(kept.now_ms, 1)])
    assert kept.store.count() == 0


def test_rejects_that_cannot_be_kept_take_their_readings_with_them(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    with kept.store.file.writing() as db:
        db.execute("ALTER TABLE reject RENAME TO gone")
    with pytest.raises(StoreFailure):
        kept.ingest.take([message(kept.now_ms, 1), message(kept.now_ms, 2, "elsewhere")])
    assert kept.store.count() == 0


def test_a_closed_store_raises_and_says_so(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    kept.store.close()
    with pytest.raises(StoreFailure, match="closed"):
        kept.ingest.take([message(kept.now_ms, 1)])


def test_a_pushed_message_is_kept_before_the_answer(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    good = message(kept.now_ms, 1)
    pushed = take_pushed(
        kept.ingest, good.topic, payload=good.payload, arrived_ms=good.arrived_ms, only=None
    )
    assert (pushed.kept, pushed.rejects) == (2, ())
    assert kept.store.count() == 2
    bad = take_pushed(kept.ingest, good.topic, payload=b"?", arrived_ms=1, only=None)
    assert bad.kept == 0
    assert [r.field for r in bad.rejects] == ["payload"]


def test_a_collector_alone_loads_neither_pages_nor_sun():
    script = (
        "import sys, collector.mqtt, collector.ingest, collector.push, collector.stores.sqlite\n"
        "bad = {'api', 'pandas', 'pvlib', 'fastapi', 'sqlalchemy', 'amqtt', 'influxdb_client'} "
        "& {name.partition('.')[0] for name in sys.modules}\n"
        "print(sorted(bad))"
    )
    said = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert said.stdout.strip() == "[]"
