"""A backup is tried by restoring it: what is not as it was is told, wherever it lies."""

from __future__ import annotations

import json
import sqlite3
import subprocess

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.backup.content import differences, sqlite_content
from api.backup.copying import snapshot
from api.backup.folder import MANIFEST, SUMS, files_in, write_sums
from api.backup.going import Going
from api.backup.manifest import contents, manifest_of
from api.backup.trouble import CannotRestore, Damaged, NoBackup
from api.backup.trying import try_backup
from api.cli.main import main
from collector.stores.blocks import packed, unpacked_real


def tried(backup, place):
    place.mkdir()
    return try_backup(backup, place, going=Going())


def summed_anew(backup):
    (backup / SUMS).unlink()
    write_sums(backup)


def test_a_whole_backup_comes_out_as_it_was(backup, pattern, tmp_path):
    found = tried(backup, tmp_path / "place")
    assert found.notes == ()
    assert found.manifest.readings.count > 4000
    assert found.manifest.records.owed >= 1
    with snapshot(pattern.data / "readings.sqlite") as db:
        was = sqlite_content(db, look=lambda: None)
        assert db.execute("SELECT count(*) FROM block").fetchone()[0] >= 3
    assert contents(found.manifest.readings.tables) == was
    with snapshot(found.readings) as db:
        assert differences(was, sqlite_content(db, look=lambda: None)) == ()
    for name in ("readings.sqlite", "records.sqlite"):
        assert not list(found.place.glob(f"{name}-*"))


def test_it_is_private_and_sha256sum_finds_it_right(backup):
    assert {path.stat().st_mode & 0o77 for path in (backup, *backup.rglob("*"))} == {0}
    assert {"manifest.json", "readings.sqlite", "records.sqlite", "site.toml"} <= set(
        files_in(backup)
    )
    subprocess.run(["sha256sum", "--check", "--strict", "--quiet", SUMS], cwd=backup, check=True)


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(where=st.data())
def test_a_bit_flipped_anywhere_is_noticed(where, backup, tmp_path_factory):
    # Links to the files of the whole one, but for the file that is spoilt.
    name = where.draw(st.sampled_from([*files_in(backup), SUMS]))
    body = bytearray((backup / name).read_bytes())
    at = where.draw(st.integers(0, len(body) - 1))
    body[at] ^= 1 << where.draw(st.integers(0, 7))
    folder = tmp_path_factory.mktemp("spoilt")
    for one in [*files_in(backup), SUMS]:
        (folder / one).parent.mkdir(exist_ok=True)
        (folder / one).hardlink_to(backup / one)
    (folder / name).unlink()
    (folder / name).write_bytes(body)
    with pytest.raises(Damaged) as told:
        try_backup(folder, tmp_path_factory.mktemp("place"), going=Going())
    assert any(line.startswith(name) or name == SUMS for line in told.value.findings)


def cut(backup):
    with (backup / "readings.sqlite").open("r+b") as file:
        file.truncate(file.seek(0, 2) - 4096)


def one_value(backup):
    db = sqlite3.connect(backup / "readings.sqlite")
    newest = "(SELECT max(sequence) FROM reading)"
    db.execute(f"UPDATE reading SET value = value + 0.1 WHERE sequence = {newest}")
    db.commit()
    db.close()


def one_message(backup):
    db = sqlite3.connect(backup / "records.sqlite")
    db.execute("DELETE FROM outbox WHERE id = 900")
    db.commit()
    db.close()


def one_photo(backup):
    db = sqlite3.connect(backup / "records.sqlite")
    db.execute("UPDATE photos SET image = substr(image, 2)")
    db.commit()
    db.close()


@pytest.mark.parametrize("spoil", [cut, one_value, one_message, one_photo])
def test_what_was_changed_before_it_was_summed_is_found_by_restoring(spoil, copy, tmp_path):
    spoil(copy)
    summed_anew(copy)
    with pytest.raises(Damaged) as told:
        tried(copy, tmp_path / "place")
    assert told.value.findings[0].startswith(("readings.sqlite: ", "records.sqlite: "))


def test_a_day_that_unpacks_to_something_else_is_found_though_all_sums_are_right(copy, tmp_path):
    db = sqlite3.connect(copy / "readings.sqlite")
    day, value = db.execute("SELECT day, value FROM block ORDER BY day LIMIT 1").fetchone()
    db.execute("UPDATE block SET value = ? WHERE day = ?", (packed(unpacked_real(value)[1:]), day))
    db.commit()
    found = sqlite_content(db, look=lambda: None)["block"]
    db.close()
    said = json.loads((copy / MANIFEST).read_text())
    said["readings"]["tables"]["block"]["digest"] = found.digest
    (copy / MANIFEST).write_text(json.dumps(said))
    summed_anew(copy)
    with pytest.raises(Damaged, match="does not unpack"):
        tried(copy, tmp_path / "place")


def test_a_watch_ahead_of_the_readings_is_found(copy, tmp_path):
    said = json.loads((copy / MANIFEST).read_text())
    db = sqlite3.connect(copy / "records.sqlite")
    ahead = said["readings"]["last_sequence"] + 1
    db.execute("UPDATE watch_position SET sequence = ?", (ahead,))
    db.commit()
    found = sqlite_content(db, look=lambda: None)["watch_position"]
    db.close()
    said["records"]["tables"]["watch_position"]["digest"] = found.digest
    said["records"]["sequence"] = ahead
    (copy / MANIFEST).write_text(json.dumps(said))
    summed_anew(copy)
    with pytest.raises(Damaged, match="has seen readings that are not in the backup"):
        tried(copy, tmp_path / "place")


@pytest.mark.parametrize("what", ["records", "readings", "form"])
def test_one_of_a_newer_version_is_refused(what, copy, tmp_path):
    said = json.loads((copy / MANIFEST).read_text())
    if what == "records":
        said["records"]["revision"] = "9999"
    elif what == "readings":
        said["readings"]["steps"].append("9999 more")
    else:
        said = {"form": 99, "anything": "else"}
    (copy / MANIFEST).write_text(json.dumps(said))
    summed_anew(copy)
    with pytest.raises(CannotRestore, match="that version, or a later one"):
        tried(copy, tmp_path / "place")


def test_a_folder_that_is_none_is_told_from_a_damaged_one(copy, tmp_path):
    with pytest.raises(NoBackup, match="no SHA256SUMS"):
        tried(tmp_path, tmp_path / "place")
    (copy / "plans").rename(copy / "other")
    with pytest.raises(Damaged) as told:
        tried(copy, tmp_path / "place-2")
    assert {line.split(": ")[1] for line in told.value.findings} == {
        "missing",
        "not part of the backup",
    }
    assert manifest_of(copy).form == 1


def test_the_command_says_whole_damaged_or_none_by_its_exit_code(copy, tmp_path, capsys):
    assert main(["backup", "--check", str(copy.parent), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["damage"] == []
    (copy / "site.toml").write_text("")
    assert main(["backup", "--check", str(copy)]) == 1
    assert "site.toml: not as it was written" in capsys.readouterr().out
    assert main(["backup", "--check", str(tmp_path / "nothing")]) == 2
    assert "See that it is there" in capsys.readouterr().err


def test_faults_in_its_site_file_are_told_and_are_no_damage(home, tmp_path):
    home.site.write_text(home.site.read_text() + "\nbatch = 7\n")
    found = tried(home.backed_up(tmp_path / "b"), tmp_path / "place")
    assert found.notes
    assert found.notes[0].startswith("site.toml")
