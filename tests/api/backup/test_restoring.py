"""A restore is all or nothing, loses nothing that is there, and says nothing to people twice."""

from __future__ import annotations

import fcntl
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, insert, select

from api.alerts.guard_words import noticed, what_of
from api.assemble import CannotStart, lock
from api.backup.afterwards import MAY_HAVE_GONE
from api.backup.content import sqlite_content
from api.backup.copying import snapshot
from api.backup.going import Going
from api.backup.making import Sources, make_backup
from api.backup.manifest import contents, manifest_of
from api.backup.restoring import Places, Restored, restore
from api.backup.trouble import CannotRestore, Damaged, Stopped
from api.bookkeeping import Bookkeeping
from api.cli.main import main
from api.records.account_tables import invitations, personal_tokens, sign_in_sessions
from api.records.alarms import open_alarms
from api.records.guarded import NO_BATCH
from api.records.outbox import found_messages, undelivered
from api.records.runs import begin_run
from api.records.sending import due
from api.records.session import open_records, reading, writing
from api.records.tables import alarms, outbox, photos, watch_gaps
from api.watch.clock import TurnedClock
from api.watch.loop import Watch
from collector.stores.sqlite import SqliteStore
from rules.model.alarm import Priority

SET_RIGHT = {"alarms", "alarm_changes", "outbox", "sign_in_sessions", "invitations"}
"""The tables that a restore changes."""


def hours_after(backup: Path, hours: float) -> datetime:
    return manifest_of(backup).made + timedelta(hours=hours)


def places_in(folder: Path, records: Path | str | None = None) -> Places:
    data = folder / "data"
    where = records if isinstance(records, str) else data / "records.sqlite"
    return Places(data, where, folder / "site.toml", folder / "plans")


def restored(
    backup: Path,
    places: Places,
    *,
    overwrite: bool = False,
    send_owed: bool = False,
    going: Going | None = None,
) -> Restored:
    return restore(
        backup,
        places,
        now=hours_after(backup, 3),
        going=going or Going(),
        overwrite=overwrite,
        send_owed=send_owed,
    )


def everything_in(folder: Path) -> dict[str, bytes]:
    files = (one for one in folder.rglob("*") if one.is_file() and one.name != "lock")
    return {one.relative_to(folder).as_posix(): one.read_bytes() for one in files}


def held(file: Path) -> dict[str, object]:
    with snapshot(file) as db:
        return dict(sqlite_content(db, look=lambda: None))


def test_what_is_restored_is_what_was_there_but_for_what_is_set_right(backup, records_at, tmp_path):
    places = places_in(tmp_path, records_at)
    restored(backup, places)
    was = manifest_of(backup)
    assert held(places.data / "readings.sqlite") == contents(was.readings.tables)
    assert everything_in(places.plans) == everything_in(backup / "plans")
    assert places.site.read_bytes() == (backup / "site.toml").read_bytes()
    # Backed up once more from where the records lie now, and held against the first.
    sources = Sources(
        data=places.data,
        records=places.records,
        site=places.site,
        plans=places.plans,
        program="0.1.0",
        extra={},
        secrets=False,
        archive=None,
    )
    again = make_backup(sources, tmp_path / "b", now=hours_after(backup, 4), going=Going())
    told = manifest_of(again).records
    assert told.kept_in == ("sqlite" if isinstance(places.records, Path) else "postgresql")
    before, after = contents(was.records.tables), contents(told.tables)
    assert set(before) == set(after)
    assert {name for name in before if before[name] != after[name]} == SET_RIGHT
    # Numbers go on after the greatest: what is written next does not clash.
    engine = open_records(places.records)
    with writing(engine) as db:
        fresh = insert(photos).values(
            observation=900, digest="e", width=1, height=1, by="wren", added_ms=3, removed_ms=9
        )
        assert db.execute(fresh.returning(photos.c.id)).scalar_one() == 901
    engine.dispose()


def test_messages_owed_then_are_given_up_and_people_are_told_of_the_restore(backup, tmp_path):
    places = places_in(tmp_path)
    found = restored(backup, places)
    records = open_records(places.records)
    book = Bookkeeping(places.site, places.plans, records).book
    now = hours_after(backup, 3)
    assert found.right.given_up == manifest_of(backup).records.owed >= 1
    with reading(records) as db:
        assert due(db, now=now + timedelta(days=1), most=99) == ()
        (given_up,) = found_messages(db, outbox.c.id == 900)
        assert (given_up.last_error, given_up.gave_up_at) == (MAY_HAVE_GONE, now)
        assert 900 in {one.id for one in undelivered(db)}
        assert found_messages(db, outbox.c.id == 901)[0].sent_at is not None
        (told,) = open_alarms(db, NO_BATCH)
        assert db.execute(select(func.count()).select_from(sign_in_sessions)).scalar_one() == 0
        assert db.execute(select(func.count()).select_from(invitations)).scalar_one() == 0
        assert db.execute(select(func.count()).select_from(personal_tokens)).scalar_one() == 1
    records.dispose()
    notice = noticed(told)
    assert notice is not None
    assert (told.priority, told.latch, told.since) == (
        Priority.MEDIUM,
        True,
        manifest_of(backup).made,
    )
    said = what_of(notice, book.now.site, "en", now=now)
    assert said.startswith(f"restored from a backup; {found.right.given_up} messages owed then")
    assert said.endswith("answered since 02:10")
    assert not (places.data / "answer-key").exists()  # links in older messages stop working


def test_messages_owed_then_are_sent_where_that_is_asked_for(backup, tmp_path):
    places = places_in(tmp_path)
    assert restored(backup, places, send_owed=True).right.given_up == 0
    records = open_records(places.records)
    with reading(records) as db:
        assert 900 in {one.id for one in due(db, now=hours_after(backup, 3), most=999)}
    records.dispose()


def test_the_watch_goes_on_and_says_how_long_nobody_watched(backup, tmp_path):
    places = places_in(tmp_path)
    restored(backup, places)
    records = open_records(places.records)
    store = SqliteStore(places.data / "readings.sqlite")
    book = Bookkeeping(places.site, places.plans, records).book
    clock = TurnedClock(hours_after(backup, 1))
    with reading(records) as db:
        before = db.execute(select(func.max(alarms.c.id))).scalar_one()
    with writing(records) as db:
        begin_run(db, at=clock.now())  # as each start does
    Watch(book, store, records, clock, lateness_s=90).turn()
    with reading(records) as db:
        (gap,) = db.execute(select(watch_gaps)).all()
        assert db.execute(select(func.max(alarms.c.id))).scalar_one() > before  # what went blind
        owed = found_messages(db, outbox.c.gap_id == gap.id)
    assert gap.from_minute == manifest_of(backup).records.next_minute
    assert gap.to_minute - gap.from_minute == 61  # up to a minute and a half ago
    assert {one.kind for one in owed} == {"unwatched"}
    records.dispose()
    store.close()


def test_nothing_that_is_there_is_written_over_unless_that_is_said(backup, home, tmp_path):
    places = places_in(home.data.parent)
    home.site.write_text(home.site.read_text() + "# mine\n")
    was = everything_in(home.data.parent)
    with pytest.raises(CannotRestore, match="not written over") as told:
        restored(backup, places)
    for name in ("readings.sqlite", "records.sqlite", "site.toml"):
        assert name in str(told.value)
    assert (
        "plans" not in str(told.value).partition(": ")[2].partition(".  Name")[0].split(" Name")[0]
    )
    assert everything_in(home.data.parent) == was
    found = restored(backup, places, overwrite=True)
    assert found.aside is not None
    assert (found.aside / "site.toml").read_text().endswith("# mine\n")
    for name in ("readings.sqlite", "records.sqlite"):
        assert (found.aside / name).read_bytes() == was[f"data/{name}"]
    assert home.site.read_bytes() == (backup / "site.toml").read_bytes()


def test_it_refuses_where_graftvigil_runs(backup, tmp_path):
    places = places_in(tmp_path)
    running = lock(places.data)
    with pytest.raises(CannotRestore, match="in use by a running graftvigil"):
        restored(backup, places)
    running.close()
    assert everything_in(places.data) == {}


def test_a_damaged_one_changes_nothing(copy, tmp_path):
    (copy / "readings.sqlite").write_bytes((copy / "readings.sqlite").read_bytes()[:-1])
    places = places_in(tmp_path / "new")
    with pytest.raises(Damaged):
        restored(copy, places)
    assert not places.data.exists()
    assert main(["restore", str(copy), "--data", str(places.data)]) == 1


@pytest.mark.service
def test_a_database_that_holds_records_is_never_written_over(backup, postgresql_server, tmp_path):
    address = postgresql_server.make_database()
    open_records(address).dispose()
    with pytest.raises(CannotRestore, match="Make a new, empty one"):
        restored(backup, places_in(tmp_path, address), overwrite=True)
    assert not (tmp_path / "data" / "readings.sqlite").exists()


@pytest.mark.service
def test_cut_off_before_the_database_is_filled_no_run_starts_and_a_second_try_ends_it(
    backup, postgresql_server, tmp_path
):
    """Stopped at each table in turn: afterwards nothing is in the database, and a mark is set."""
    address = postgresql_server.make_database()
    places = places_in(tmp_path, address)
    seen = []

    def moved(what: str, done: int, whole: int) -> None:
        seen.append(what)
        if what == "records" and done == whole // 2:
            raise Stopped

    with pytest.raises(Stopped):
        restored(backup, places, going=Going(moved=moved))
    assert "records" in seen
    with pytest.raises(CannotStart, match="restore was cut off"):
        lock(places.data)
    restored(backup, places)
    lock(places.data).close()
    records = open_records(address)
    with reading(records) as db:
        assert 900 in {one.id for one in found_messages(db, outbox.c.id >= 900)}
    records.dispose()


def test_another_process_holding_the_folder_is_seen_by_its_lock(backup, tmp_path):
    data = tmp_path / "data"
    data.mkdir()
    with (data / "lock").open("a") as held_by_other:
        fcntl.flock(held_by_other, fcntl.LOCK_EX)
        with pytest.raises(CannotRestore):
            restored(backup, places_in(tmp_path))


def test_the_command_restores_and_says_what_to_look_at(backup, tmp_path, capsys):
    site = tmp_path / "etc" / "site.toml"
    data = tmp_path / "data"
    asked = ["restore", str(backup), "--data", str(data), "--site", str(site)]
    assert main(asked) == 0
    said = capsys.readouterr().out
    assert "1 tokens" in said
    assert "graftvigil run" in said
    assert main(["check", str(site)]) in {0, 1}
    assert main(asked) == 2
    assert "not written over" in capsys.readouterr().err
    shutil.rmtree(data)
