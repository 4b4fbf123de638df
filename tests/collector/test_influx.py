"""Readings that have gone on to a real InfluxDB, and come back from there."""

from __future__ import annotations

import json
import socket
import threading
import tracemalloc
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest

from collector.spool import MOST_A_WRITE, Spool
from collector.stores.base import StoreFailure
from collector.stores.blocks import DAY_MS
from collector.stores.influx import InfluxStore
from collector.stores.influx_archive import ArchiveAway, InfluxAddress, InfluxArchive, line_of
from collector.stores.sqlite import SqliteStore
from collector.stores.upkeep import PACK_AFTER_MS, Upkeep
from rules.model.reading import Reading, StoredReading

pytestmark = pytest.mark.service

START_MS = 20_400 * DAY_MS
RAW_DAYS = 40
NOW_MS = START_MS + 100 * DAY_MS + PACK_AFTER_MS
CHANNELS = ["a/x", "b/x"]


@dataclass
class Kept:
    store: InfluxStore
    spool: Spool
    upkeep: Upkeep
    bucket: str
    url: str

    def drain(self) -> None:
        while self.spool.step():
            pass

    def tidy(self) -> None:
        while self.upkeep.step():
            pass

    def local_rows(self) -> int:
        with self.store.file.reading() as db:
            return db.execute("SELECT count(*) FROM reading").fetchone()[0] + (
                db.execute("SELECT sum(readings) FROM block").fetchone()[0] or 0
            )


@pytest.fixture
def make_kept(influx_server, tmp_path) -> Iterator[Callable[..., Kept]]:
    made: list[Kept] = []

    def make(*, url: str = influx_server.url, bucket: str | None = None, timeout_s=10.0) -> Kept:
        if bucket is None:
            bucket = influx_server.make_bucket(f"{tmp_path.name}-{len(made)}")
        local = SqliteStore(tmp_path / "readings.db")
        address = InfluxAddress(url, bucket, "-", token="secret-token")
        archive = InfluxArchive(address, timeout_s=timeout_s)
        spool = Spool(local, archive, clock_ms=lambda: NOW_MS)
        upkeep = Upkeep(
            local.file,
            raw_days=RAW_DAYS,
            clock_ms=lambda: NOW_MS,
            safe_sequence=spool.archived_up_to,
            kept_elsewhere=True,
        )
        made.append(Kept(InfluxStore(local, archive), spool, upkeep, bucket, url))
        return made[-1]

    yield make
    for kept in made:
        kept.store.close()


def days_of_readings(*days: int) -> list[Reading]:
    return [
        Reading(channel, START_MS + day * DAY_MS + n * 60_000 + n, round(20 + n / 7, 2))
        for day in days
        for n in range(50)
        for channel in CHANNELS
    ]


def test_the_layout_is_what_a_dashboard_expects(make_kept, influx_server):
    kept = make_kept()
    kept.store.keep([Reading("bag-07/air", START_MS + 123, 21.5)])
    kept.drain()
    answer = json.loads(
        influx_server.ask(
            "SELECT value, sequence FROM reading WHERE sensor = 'bag-07' AND channel = 'air'",
            bucket=kept.bucket,
        )
    )
    assert answer["results"][0]["series"][0]["values"] == [[START_MS + 123, 21.5, 1]]


def test_days_given_up_come_back_from_the_archive(make_kept):
    kept = make_kept()
    readings = days_of_readings(0, 1, 3, 99)
    kept.store.keep(readings)
    window = (START_MS + 61_000, START_MS + 99 * DAY_MS + 61_000)
    before = list(kept.store.span([*CHANNELS, "nobody"], *window))
    cells = list(kept.store.coarse(CHANNELS, 0, NOW_MS, cell_min=30))
    kept.drain()
    kept.tidy()
    assert kept.local_rows() == 100
    assert list(kept.store.span([*CHANNELS, "nobody"], *window)) == before
    assert kept.store.series(["a/x"], *window)["a/x"].value.tolist() == [
        r.value for r in before if r.channel == "a/x"
    ]
    assert list(kept.store.coarse(CHANNELS, 0, NOW_MS, cell_min=30)) == cells
    assert kept.store.count() == 400


def test_nothing_is_given_up_before_the_archive_has_it(make_kept):
    kept = make_kept()
    kept.store.keep(days_of_readings(0, 99))
    kept.tidy()
    assert kept.local_rows() == 200
    kept.drain()
    kept.tidy()
    assert kept.local_rows() == 100


def test_old_readings_kept_again_change_nothing_and_new_ones_of_that_day_are_kept(make_kept):
    kept = make_kept()
    kept.store.keep(days_of_readings(0, 99))
    kept.drain()
    kept.tidy()
    again = [Reading(r.channel, r.at_ms, -1.0) for r in days_of_readings(0)]
    more = [Reading("a/x", START_MS + 5, 7.5), Reading("a/x", START_MS + DAY_MS // 2, 8.5)]
    kept.store.keep([*again, *more, Reading("b/x", NOW_MS, 1.0), Reading("a/x", NOW_MS, 1.0)])
    expected = {(r.channel, r.at_ms): r.value for r in [*days_of_readings(0), *more]}
    for settle in (lambda: None, kept.drain, kept.tidy, lambda: kept.store.keep(more)):
        settle()
        found = kept.store.span(CHANNELS, START_MS, START_MS + DAY_MS)
        assert [((r.channel, r.at_ms), r.value) for r in found] == sorted(expected.items())
        cells = kept.store.coarse(CHANNELS, START_MS, START_MS + 1, cell_min=1440)
        assert [cell.count for cell in cells] == [52, 50]
        assert cells[0].lowest == 7.5
        assert kept.store.count() == 204
    assert kept.local_rows() == 102


def test_recent_days_need_no_archive_and_old_ones_say_that_it_is_away(make_kept, influx_server):
    kept = make_kept()
    kept.store.keep(days_of_readings(0, 99))
    kept.drain()
    kept.tidy()
    kept.store._archive = InfluxArchive(InfluxAddress("http://127.0.0.1:9", "x", "-", token=None))
    assert len(kept.store.span(CHANNELS, START_MS + DAY_MS, NOW_MS)) == 100
    assert len(kept.store.coarse(CHANNELS, 0, NOW_MS, cell_min=1440)) == 4
    with pytest.raises(StoreFailure, match=r"127\.0\.0\.1 can't be reached"):
        kept.store.span(CHANNELS, START_MS, NOW_MS)
    with pytest.raises(StoreFailure, match="can't be reached"):
        kept.store.keep([Reading("a/x", START_MS + 5, 7.5)])
    assert kept.store.count() == 200


def test_one_reading_that_is_refused_is_set_aside_and_the_rest_go_on(make_kept, caplog):
    kept = make_kept()
    bad = Reading("a/x", 2**61, 1.0)  # an instant that InfluxDB can't hold
    good = days_of_readings(0)
    kept.store.keep([*good[:37], bad, *good[37:]])
    kept.drain()
    health = kept.spool.health()
    assert (health.waiting, health.oldest_ms, health.set_aside) == (0, None, 1)
    assert "time outside range" in (health.last_refusal or "")
    assert "archive_refused channel=a/x" in caplog.text
    assert kept.store.latest()["a/x"].value == 1.0
    assert sum(len(kept.store._archive.columns(name, 0, NOW_MS).at_ms) for name in CHANNELS) == 100


def test_readings_set_aside_still_answer_when_their_day_is_given_up(make_kept, influx_server):
    kept = make_kept()
    write_as_text(influx_server, kept.bucket)
    kept.store.keep(days_of_readings(0, 99))
    kept.drain()
    assert kept.spool.health().set_aside == 100
    kept.tidy()
    assert kept.local_rows() == 100
    assert len(kept.store.span(CHANNELS, START_MS, START_MS + DAY_MS)) == 100


def write_as_text(influx_server, bucket: str) -> None:
    """Spoil one day: InfluxDB 1.x holds one type of a field for each week's shard."""
    line = f'reading,sensor=spoilt value="text" {START_MS}'
    url = f"{influx_server.url}/api/v2/write?bucket={bucket}&precision=ms"
    urllib.request.urlopen(url, line.encode(), timeout=10).close()


def test_what_was_set_aside_is_tried_again_at_the_next_start(make_kept, influx_server):
    kept = make_kept()
    write_as_text(influx_server, kept.bucket)
    readings = days_of_readings(0)
    kept.store.keep(readings)
    kept.drain()
    assert kept.spool.health().set_aside == 100
    assert kept.spool.send_set_aside() == 0
    influx_server.ask("DROP MEASUREMENT reading", bucket=kept.bucket)
    assert kept.spool.send_set_aside() == 100
    assert kept.spool.health().set_aside == 0
    assert kept.store._archive.columns("a/x", 0, NOW_MS).size == 50


def test_a_missing_bucket_sets_nothing_aside_and_says_what_to_do(make_kept, influx_server):
    kept = make_kept(bucket="not-made-yet")
    kept.store.keep(days_of_readings(0))
    with pytest.raises(ArchiveAway, match=r"404.*Make the bucket"):
        kept.spool.step()
    with pytest.raises(ArchiveAway, match="Make the bucket"):
        kept.store._archive.columns("a/x", 0, NOW_MS)
    assert (kept.spool.health().waiting, kept.spool.health().set_aside) == (100, 0)
    influx_server.make_bucket("not-made-yet")
    kept.drain()
    assert kept.spool.health().waiting == 0


def test_readings_go_on_in_the_order_of_keeping(make_kept, influx_server):
    kept = make_kept()
    rng = [n * 7919 % 5000 for n in range(5000)]
    kept.store.keep([Reading("a/x", START_MS + at * 1000, float(at)) for at in rng])
    assert kept.spool.step() == MOST_A_WRITE
    there = kept.store._archive.columns("a/x", 0, NOW_MS)
    assert sorted(there.sequence.tolist()) == list(range(1, MOST_A_WRITE + 1))
    assert kept.spool.health().waiting == 5000 - MOST_A_WRITE
    assert kept.spool.health().oldest_ms == START_MS + rng[MOST_A_WRITE] * 1000


def test_a_server_that_does_not_answer_costs_a_timeout_and_no_memory(make_kept):
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        kept = make_kept(url=f"http://127.0.0.1:{deaf.getsockname()[1]}", bucket="x", timeout_s=0.3)
        for day in range(100):
            kept.store.keep(
                [Reading("a/x", START_MS + day * DAY_MS + n, n / 10) for n in range(1000)]
            )
        stop = threading.Event()
        tracemalloc.start()
        spooling = threading.Thread(target=kept.spool.run, args=(stop,))
        spooling.start()
        stop.wait(2.0)
        stop.set()
        spooling.join(10)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert not spooling.is_alive()
    health = kept.spool.health()
    assert health.waiting == 100_000
    assert health.trouble is not None
    assert "can't be reached" in health.trouble
    assert health.trouble_since_ms == NOW_MS
    assert peak < 20_000_000


def test_what_answers_but_is_no_influxdb_is_told(make_kept, influx_server):
    kept = make_kept(url=f"{influx_server.url}/elsewhere")
    kept.store.keep(days_of_readings(0))
    with pytest.raises(ArchiveAway):
        kept.spool.step()
    with pytest.raises(ArchiveAway):
        kept.store._archive.columns("a/x", 0, NOW_MS)


def test_the_token_is_never_said(make_kept, caplog):
    kept = make_kept(url="http://127.0.0.1:9", bucket="x")
    kept.store.keep(days_of_readings(0))
    with pytest.raises(ArchiveAway) as told:
        kept.spool.step()
    assert "secret-token" not in f"{told.value} {kept.store._archive._address!r} {caplog.text}"


def test_lines_escape_what_the_protocol_needs():
    odd = StoredReading(1, "two words/a,b=c", -5, 1e300)
    assert line_of(odd) == r"reading,sensor=two\ words,channel=a\,b\=c value=1e+300,sequence=1i -5"


@pytest.mark.parametrize("name", ["two words/a,b=c", "o'clock/x", 'q"uote/x', "naïve/°C", "alone"])
def test_any_channel_name_comes_back(make_kept, name):
    kept = make_kept()
    kept.store.keep([Reading(name, START_MS, 0.1 + 0.2)])
    kept.drain()
    assert kept.store._archive.columns(name, 0, NOW_MS).value.tolist() == [0.1 + 0.2]
