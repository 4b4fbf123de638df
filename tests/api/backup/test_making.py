"""A backup is one moment of everything, whoever writes meanwhile, and nobody waits for it."""

from __future__ import annotations

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.backup.folder import kept_in, name_of
from api.backup.going import Going
from api.backup.making import make_backup
from api.backup.manifest import manifest_of
from api.backup.restoring import Places, restore
from api.backup.trouble import BackupFailed, Stopped
from api.backup.trying import try_backup
from api.cli.main import main

ROOT = Path(__file__).parents[3]
WRITER = ROOT / "tests" / "kill" / "backup_writer.py"


@contextmanager
def hammered(home):
    """Have a process write as fast as it can; gives a list that then holds what it did."""
    told: list[dict[str, float]] = []
    process = subprocess.Popen(
        [sys.executable, str(WRITER), str(home.data), str(home.records), "0"],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        yield told
        assert process.poll() is None
        process.terminate()
        told.append(json.loads(process.communicate(timeout=20)[0]))
    finally:
        process.kill()
        process.wait()


@pytest.fixture
def in_either(records_at, home, tmp_path):
    """A home whose records lie in a file, or were moved into a database."""
    if isinstance(records_at, Path):
        return home
    places = Places(home.data, records_at, home.site, home.plans)
    moved = replace(home, data=tmp_path / "moved", records=records_at)
    backup = home.backed_up(tmp_path / "first")
    now = manifest_of(backup).made
    restore(
        backup,
        replace(places, data=moved.data),
        now=now,
        going=Going(),
        overwrite=False,
        send_owed=True,
    )
    return moved


def test_beside_a_hammering_writer_each_backup_is_one_moment(in_either, tmp_path):
    backups = []
    with hammered(in_either) as told:
        for number in range(4):
            now = manifest_time(number)
            backups.append(in_either.backed_up(tmp_path / "b", now=now))
            threading.Event().wait(0.05)
    rounds = []
    for number, backup in enumerate(backups):
        place = tmp_path / f"place-{number}"
        place.mkdir()
        tried = try_backup(backup, place, going=Going())
        readings, records = sqlite3.connect(tried.readings), sqlite3.connect(tried.records)
        (seen,) = records.execute("SELECT sequence FROM watch_position").fetchone()
        count, newest = records.execute(
            "SELECT count(*), max(revision) FROM file_bases WHERE text = x'78'"
        ).fetchone()
        values = [
            value
            for (value,) in readings.execute(
                "SELECT value FROM reading WHERE channel = (SELECT id FROM channel WHERE name = "
                "'hammer/air') ORDER BY sequence"
            )
        ]
        (last,) = readings.execute("SELECT max(sequence) FROM reading").fetchone()
        assert values == [n / 4 for n in range(len(values))]  # none is missing in between
        assert count == int(newest) + 1
        assert seen <= last  # what the records know of is there
        assert len(values) >= count * 5
        rounds.append(count)
        readings.close()
        records.close()
    assert rounds == sorted(set(rounds))  # it went on between and while they were made
    assert told[0]["rounds"] > rounds[-1]


def manifest_time(number: int) -> datetime:
    return datetime(2026, 11, 14, 16, tzinfo=UTC) + timedelta(minutes=number)


def test_stopped_in_the_middle_nothing_is_left(home, tmp_path):
    seen = []

    def moved(what: str, done: int, whole: int) -> None:
        seen.append((what, done < whole, list((tmp_path / "b").iterdir())))
        if what == "readings":
            raise Stopped

    with pytest.raises(Stopped):
        make_backup(home.sources(), tmp_path / "b", now=manifest_time(0), going=Going(moved=moved))
    assert [part.name for part in seen[-1][2]] == [f"{name_of(manifest_time(0))}.part"]
    assert list((tmp_path / "b").iterdir()) == []


def test_ctrl_c_leaves_nothing_and_says_so(home, tmp_path):
    db = sqlite3.connect(home.data / "readings.sqlite")
    db.execute("CREATE TABLE reject_heap (body BLOB)")
    for _ in range(60):  # so that it takes a while
        db.execute("INSERT INTO reject_heap VALUES (zeroblob(1000000))")
    db.commit()
    db.close()
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "api.cli", "backup", str(tmp_path / "b")),
            *("--data", str(home.data), "--site", str(home.site)),
        ],
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    pause = threading.Event()
    while process.poll() is None and not list((tmp_path / "b").glob("*.part/readings.sqlite")):
        pause.wait(0.01)
    os.kill(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 1
    assert said.endswith("Stopped. Nothing is left of it.\n")
    assert list((tmp_path / "b").iterdir()) == []


def test_two_at_once_and_two_of_one_second_are_refused(home, tmp_path):
    told = []

    def moved(what: str, done: int, whole: int) -> None:
        if not told:
            told.append("asked")
            with pytest.raises(BackupFailed, match="another backup is being made there"):
                home.backed_up(tmp_path / "b", now=manifest_time(5))

    make_backup(home.sources(), tmp_path / "b", now=manifest_time(0), going=Going(moved=moved))
    assert told
    with pytest.raises(BackupFailed, match="is there already"):
        home.backed_up(tmp_path / "b", now=manifest_time(0))
    assert [one.at for one in kept_in(tmp_path / "b")] == [manifest_time(0)]


def test_settings_go_along_and_secrets_only_if_asked_for(home, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("GRAFTVIGIL_TOPICS", "nursery/# it's")
    monkeypatch.setenv("GRAFTVIGIL_PUSH_TOKEN", "hush-1")
    monkeypatch.setenv("GRAFTVIGIL_REACH_NIGHT_PHONE", "json://hush-2")
    monkeypatch.setenv("GRAFTVIGIL_ANSWER_WREN", "hush-3")
    (tmp_path / "mail").write_text("smtp://u:hush-4@h\n")
    monkeypatch.setenv("GRAFTVIGIL_MAIL_SERVER_FILE", str(tmp_path / "mail"))
    (home.data / "answer-key").write_bytes(b"hush-5")
    asked = ["backup", str(tmp_path / "b"), "--data", str(home.data), "--site", str(home.site)]
    assert main([*asked, "--json"]) == 0
    first = Path(json.loads(capsys.readouterr().out)["backup"])
    everything = b"".join(one.read_bytes() for one in first.rglob("*") if one.is_file())
    assert b"hush-" not in everything
    script = f'. {first / "settings.env"}; printf %s "$GRAFTVIGIL_TOPICS"'
    shown = subprocess.run(["sh", "-c", script], capture_output=True, check=True, text=True).stdout
    assert shown == "nursery/# it's"
    assert "# GRAFTVIGIL_REACH_NIGHT_PHONE was set" in (first / "settings.env").read_text()
    assert main([*asked[:1], str(tmp_path / "c"), *asked[2:], "--with-secrets"]) == 0
    assert "keep it as you keep those" in capsys.readouterr().out
    (second,) = kept_in(tmp_path / "c")
    kept = (second.path / "secrets.env").read_text()
    assert re.findall(r"hush-\d", kept) == ["hush-3", "hush-4", "hush-1", "hush-2"]
    assert (second.path / "secrets.env").stat().st_mode & 0o77 == 0
    assert not (second.path / "answer-key").exists()


def test_what_is_not_there_is_told_with_what_to_do(home, tmp_path, capsys):
    (home.data / "readings.sqlite").unlink()
    asked = ["backup", str(tmp_path / "b"), "--data", str(home.data)]
    assert main([*asked, "--site", str(home.site)]) == 2
    assert "Name the folder with --data" in capsys.readouterr().err
    assert main([*asked, "--site", str(tmp_path / "no.toml")]) == 2
    assert "See that the disk is there and the folder is named right" in capsys.readouterr().err
    assert list((tmp_path / "b").iterdir()) == []


def test_records_of_a_newer_version_are_refused(home, tmp_path):
    db = sqlite3.connect(home.data / "records.sqlite")
    db.execute("UPDATE alembic_version SET version_num = '9999'")
    db.commit()
    db.close()
    with pytest.raises(BackupFailed, match="a newer version wrote the records"):
        home.backed_up(tmp_path / "b")
