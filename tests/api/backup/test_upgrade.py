"""A backup of an earlier form, the first among them, is restored into the newest one.

That each form there ever was becomes the newest is tried with the records.
"""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import make_url, select

from api.backup.going import Going
from api.backup.making import Sources, make_backup
from api.backup.manifest import manifest_of
from api.backup.restoring import Places, restore
from api.records.alarms import alarm_history
from api.records.guarded import NO_BATCH
from api.records.outbox import newest_messages
from api.records.session import (
    bring_up,
    form_of,
    forms,
    open_records,
    reading,
    records_as_they_are,
    writing,
)
from api.records.tables import alarms
from collector.stores.migrations import STEPS
from collector.stores.sqlite import SqliteStore

DEMO = Path(__file__).parents[3] / "demo_data"
NOW = datetime(2026, 11, 14, 15, tzinfo=UTC)


def first_readings(file: Path, *, steps: int) -> None:
    """Write a readings file as the version wrote it that knew so many steps."""
    db = sqlite3.connect(file)
    db.execute("CREATE TABLE schema_step (name TEXT PRIMARY KEY)")
    for name, statements in STEPS[:steps]:
        for statement in statements:
            db.execute(statement)
        db.execute("INSERT INTO schema_step VALUES (?)", (name,))
    db.execute("INSERT INTO channel VALUES (1, 'bag-07/air')")
    db.executemany(
        "INSERT INTO reading (channel, at_ms, value) VALUES (1, ?, ?)",
        [(1_000 * n, 20 + n / 10) for n in range(50)],
    )
    db.execute("UPDATE reading_count SET kept = 50")
    db.commit()
    db.close()


@pytest.fixture
def at_form(records_at, tmp_path):
    """Make a data folder whose records are of one form; where they lie is this test's."""
    data = tmp_path / "old"
    data.mkdir()
    where = data / "records.sqlite" if isinstance(records_at, Path) else records_at

    def make(form: str, *, steps: int) -> Sources:
        first_readings(data / "readings.sqlite", steps=steps)
        engine = records_as_they_are(where)
        with writing(engine) as db:
            bring_up(db, form=form)
            db.exec_driver_sql(
                "INSERT INTO alarms (id, batch, condition, priority, state, opened_ms, since_ms) "
                "VALUES (1, 'MG-07', 'air-dry', 'medium', 'unacknowledged', 60000, 0)"
            )
            db.exec_driver_sql(
                "INSERT INTO outbox (id, cause, batch, about_ms, alarm_id, person, kind, language,"
                " channel, owed_ms, due_ms, attempts) VALUES (1, 'change.1', 'MG-07', 60000, 1, "
                "'corvin', 'opened', 'en', 'email', 60000, 60000, 0)"
            )
        engine.dispose()
        return Sources(
            data=data,
            records=where,
            site=DEMO / "site.toml",
            plans=DEMO / "plans",
            program="0.1.0",
            extra={},
            secrets=False,
            archive=None,
        )

    return make


def form_in(where: Path | str) -> str | None:
    engine = records_as_they_are(where)
    with reading(engine) as db:
        form = form_of(db)
    engine.dispose()
    return form


def places_for(folder: Path, records: Path | str) -> Places:
    where = records if isinstance(records, str) else folder / "records.sqlite"
    return Places(folder, where, folder / "etc" / "site.toml", folder / "etc" / "plans")


@pytest.mark.parametrize("form", [forms()[0], "0004", "0010"])
def test_each_form_is_backed_up_as_it_is_and_restored_into_the_newest(form, at_form, tmp_path):
    steps = 1 if form == forms()[0] else len(STEPS) - 2
    sources = at_form(form, steps=steps)
    backup = make_backup(sources, tmp_path / "b", now=NOW, going=Going())
    assert form_in(sources.records) == form  # backing up brings nothing up
    told = manifest_of(backup)
    assert (told.records.revision, len(told.readings.steps)) == (form, steps)
    places = places_for(tmp_path / "new", tmp_path / "unused")
    done = restore(backup, places, now=NOW, going=Going(), overwrite=False, send_owed=False)
    assert done.right.given_up == 1
    assert form_in(places.records) == forms()[-1]
    records = open_records(places.records)
    with reading(records) as db:
        (alarm,) = alarm_history(db, "MG-07", most=9)
        (message,) = newest_messages(db, most=9)
        assert db.execute(select(alarms.c.id).where(alarms.c.batch == NO_BATCH)).one() == (2,)
    records.dispose()
    assert (alarm.condition, alarm.latch, message.cause) == ("air-dry", True, "change.1")
    store = SqliteStore(places.data / "readings.sqlite")
    assert [one.value for one in store.since(0, 99)] == [20 + n / 10 for n in range(50)]
    store.close()


@pytest.mark.service
@pytest.mark.parametrize("records_at", ["sqlite"], indirect=True)
def test_the_first_form_moves_from_a_file_into_a_database_and_back(
    at_form, postgresql_server, tmp_path
):
    sources = at_form(forms()[0], steps=1)
    first = make_backup(sources, tmp_path / "b", now=NOW, going=Going())
    address = postgresql_server.make_database()
    there = places_for(tmp_path / "there", address)
    restore(first, there, now=NOW, going=Going(), overwrite=False, send_owed=True)
    assert form_in(address) == forms()[-1]
    assert make_url(address).database is not None
    moved = Sources(
        data=there.data,
        records=address,
        site=there.site,
        plans=there.plans,
        program="0.1.0",
        extra={},
        secrets=False,
        archive=None,
    )
    second = make_backup(moved, tmp_path / "b2", now=NOW, going=Going())
    told = manifest_of(second)
    assert (told.records.kept_in, told.records.owed) == ("postgresql", 1)
    back = places_for(tmp_path / "back", tmp_path / "unused")
    restore(second, back, now=NOW, going=Going(), overwrite=False, send_owed=True)
    records = open_records(back.records)
    with reading(records) as db:
        assert [one.batch for one in alarm_history(db, most=9)] == [NO_BATCH, "MG-07"]
    records.dispose()
