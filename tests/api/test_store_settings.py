"""The settings of the stores: what is refused, and what a running graftvigil makes of them."""

from __future__ import annotations

import os
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from pydantic import SecretStr

from api.assemble import CannotStart, Nursery, assemble
from api.keeping import seen_by_watch
from api.records.session import reading
from api.records.tables import as_ms
from api.records.watch import load_position
from api.settings import SettingsUnusable, load_settings
from api.watch.clock import TurnedClock
from collector.spool import Spool
from collector.stores.influx import InfluxStore
from collector.stores.sqlite import SqliteStore
from rules.model.reading import Reading, minute_of

DEMO = Path(__file__).parents[2] / "demo_data"
AT = datetime(2026, 11, 14, 16, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


def settings(tmp_path):
    given = {
        "site": DEMO / "site.toml",
        "plans": DEMO / "plans",
        "data": tmp_path / "data",
        "listen": "127.0.0.1:0",
        "built_in_broker": "127.0.0.1:0",
    }
    return load_settings(os.environ, given)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"raw_days": 34}, "GRAFTVIGIL_RAW_DAYS: 34 is too few.*Write 35 or more, or 0"),
        ({"raw_days": -1}, "GRAFTVIGIL_RAW_DAYS"),
        ({"store": "paper"}, "GRAFTVIGIL_STORE"),
        ({"store": "influx"}, "GRAFTVIGIL_INFLUX_URL is not the address"),
        ({"store": "influx", "influx_url": "localhost:8086"}, "GRAFTVIGIL_INFLUX_URL"),
        ({"store": "influx", "influx_url": "http://me:pw@host:8086"}, "GRAFTVIGIL_INFLUX_TOKEN"),
    ],
)
def test_a_wrong_store_setting_is_told_with_what_to_write(given, said):
    with pytest.raises(SettingsUnusable, match=said) as told:
        load_settings({}, given)
    assert "pw" not in str(told.value)


@pytest.mark.parametrize("days", [0, 35, 400])
def test_days_that_leave_room_for_late_readings_are_taken(days):
    assert load_settings({}, {"raw_days": days}).raw_days == days


def test_the_token_of_influxdb_comes_from_a_file_and_is_never_shown(tmp_path):
    (tmp_path / "token").write_text("grafting-wax\n", encoding="utf-8")
    named = {"GRAFTVIGIL_INFLUX_TOKEN_FILE": str(tmp_path / "token")}
    found = load_settings(named, {"store": "influx", "influx_url": "http://localhost:8086"})
    assert found.influx_token is not None
    assert found.influx_token.get_secret_value() == "grafting-wax"
    assert "grafting-wax" not in repr(found)


def test_without_a_word_readings_stay_in_the_data_folder(tmp_path):
    nursery = assemble(settings(tmp_path), TurnedClock(AT), notice=None, first_minute=None)
    assert isinstance(nursery.parts.store, SqliteStore)
    assert nursery.parts.spool is None
    assert seen_by_watch(nursery.parts.records) == 0
    nursery.watch.turn()
    nursery.parts.store.keep([Reading("bag-07/air", 1, 1.0)])
    nursery.watch.turn()
    nursery.stop()


NOW_MS = int(AT.timestamp() * 1000)
OLD_MS = NOW_MS - 60 * 86_400_000


def tidy(nursery: Nursery) -> None:
    while nursery.upkeep.step() is not None:
        pass


def keep_old_and_new(nursery: Nursery) -> None:
    nursery.parts.store.keep([Reading("bag-07/air", OLD_MS + n, 1.0) for n in range(10)])
    nursery.parts.store.keep([Reading("bag-07/air", NOW_MS, 1.0)])


def raw_readings(nursery: Nursery) -> int:
    return len(nursery.parts.store.since(0, 100))


def test_raw_readings_go_after_their_days_but_not_before_the_watch_has_seen_them(
    tmp_path, monkeypatch
):
    monkeypatch.setenv("GRAFTVIGIL_RAW_DAYS", "40")
    nursery = assemble(settings(tmp_path), TurnedClock(AT), notice=None, first_minute=None)
    keep_old_and_new(nursery)
    tidy(nursery)
    assert raw_readings(nursery) == 11
    nursery.watch.turn()
    tidy(nursery)
    assert (raw_readings(nursery), nursery.parts.store.count()) == (1, 1)
    nursery.stop()


@pytest.mark.service
def test_raw_readings_stay_until_influxdb_has_them(tmp_path, monkeypatch, influx_server):
    bucket = influx_server.make_bucket(f"raw-{tmp_path.name}")
    monkeypatch.setenv("GRAFTVIGIL_RAW_DAYS", "40")
    monkeypatch.setenv("GRAFTVIGIL_STORE", "influx")
    monkeypatch.setenv("GRAFTVIGIL_INFLUX_URL", influx_server.url)
    monkeypatch.setenv("GRAFTVIGIL_INFLUX_BUCKET", bucket)
    nursery = assemble(settings(tmp_path), TurnedClock(AT), notice=None, first_minute=None)
    keep_old_and_new(nursery)
    nursery.watch.turn()
    tidy(nursery)
    assert raw_readings(nursery) == 11
    assert nursery.parts.spool is not None
    assert nursery.parts.spool.step() == 11
    tidy(nursery)
    assert (raw_readings(nursery), nursery.parts.store.count()) == (1, 11)
    assert len(nursery.parts.store.span(["bag-07/air"], 0, NOW_MS + 1)) == 11
    nursery.stop()


@pytest.mark.service
def test_a_running_nursery_sends_its_readings_on(tmp_path, monkeypatch, influx_server):
    bucket = influx_server.make_bucket(f"assembled-{tmp_path.name}")
    monkeypatch.setenv("GRAFTVIGIL_STORE", "influx")
    monkeypatch.setenv("GRAFTVIGIL_INFLUX_URL", influx_server.url)
    monkeypatch.setenv("GRAFTVIGIL_INFLUX_BUCKET", bucket)
    nursery = assemble(settings(tmp_path), TurnedClock(AT), notice=None, first_minute=None)
    assert isinstance(nursery.parts.store, InfluxStore)
    assert isinstance(nursery.parts.spool, Spool)
    nursery.start(turned_by_hand=False)
    try:
        nursery.parts.store.keep([Reading("bag-07/air", 1_772_000_000_000, 21.5)])
        pause = threading.Event()
        for _ in range(500):
            if nursery.parts.spool.health().waiting == 0:
                break
            pause.wait(0.02)
        answer = influx_server.ask("SELECT value FROM reading", bucket=bucket)
        assert b"[1772000000000,21.5]" in answer
    finally:
        nursery.stop()


@pytest.mark.parametrize(
    "address", ["mysql://me:pw@host/db", "postgresql://me:pw@host", "postgresql://me:pw@host/", "x"]
)
def test_a_wrong_address_of_the_records_is_told_without_its_password(address):
    with pytest.raises(SettingsUnusable, match="GRAFTVIGIL_RECORDS_URL: write it as") as told:
        load_settings({"GRAFTVIGIL_RECORDS_URL": address}, {"records_url": address})
    assert "pw" not in str(told.value)


@pytest.mark.service
def test_all_parts_run_over_postgresql_and_go_on_after_a_restart(tmp_path, postgresql_server):
    given = settings(tmp_path).model_copy(
        update={"records_url": SecretStr(postgresql_server.make_database())}
    )
    for turned in (1, 2):
        nursery = assemble(given, TurnedClock(AT + turned * HOUR), notice=None, first_minute=None)
        nursery.turn()
        with reading(nursery.parts.records) as db:
            assert load_position(db).began_minute == minute_of(as_ms(AT + HOUR))
        nursery.stop()
    assert not list((tmp_path / "data").glob("records*"))


def test_a_database_that_does_not_answer_is_told_in_one_line(tmp_path):
    away = SecretStr("postgresql://me:pw@127.0.0.1:9/records")
    given = settings(tmp_path).model_copy(update={"records_url": away})
    with pytest.raises(CannotStart, match=r"the records can't be opened: .*refused") as told:
        assemble(given, TurnedClock(AT), notice=None, first_minute=None)
    assert "pw" not in str(told.value)
    assert "\n" not in str(told.value)
