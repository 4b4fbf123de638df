"""The drop folder: a file is taken once it has stopped growing, and never lost from sight."""

from __future__ import annotations

import threading

import pytest

from collector.files.drop import DropFolder
from collector.files.load import FileLoader, LoadStopped
from collector.rejects import RejectLog
from collector.stores.base import StoreFailure

NOW_MS = 1_795_608_000_000
GOOD = "time,air\n2026-03-05 10:00,21.5\n2026-03-05 10:10,hot\n"


@pytest.fixture
def make_drop(tmp_path, store, sensors):
    def make(rest=lambda _s: False) -> DropFolder:
        loader = FileLoader(store, together=store.file.writing, clock_ms=lambda: NOW_MS, rest=rest)
        return DropFolder(
            tmp_path / "drop",
            sensors,
            loader,
            site_zone="Europe/Madrid",
            rejects=RejectLog(store.file),
        )

    (tmp_path / "drop").mkdir()
    return make


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "drop"


def turns(drop: DropFolder, count: int = 3) -> int:
    return sum(drop.turn() for _ in range(count))


def test_a_file_is_loaded_and_moved_with_a_report_beside_it(make_drop, folder, store):
    (folder / "bag-07.csv").write_text(GOOD, encoding="utf-8")
    assert turns(make_drop()) == 1
    assert store.count() == 1
    assert sorted(path.name for path in folder.rglob("*") if path.is_file()) == [
        "bag-07.csv",
        "bag-07.csv.report.txt",
    ]
    report = (folder / "taken" / "bag-07.csv.report.txt").read_text(encoding="utf-8")
    assert "zone Europe/Madrid (from the site file)" in report
    assert "2 rows: 1 readings kept" in report
    assert 'line 3, "air": not a number: "hot" is not a number' in report
    (line,) = RejectLog(store.file).newest(5)
    assert (line.topic, line.field) == ("taken/bag-07.csv", "file")
    assert line.problem == "rows of a file refused: 1 rows or values"


def test_a_file_that_still_grows_is_waited_for(make_drop, folder, store):
    drop = make_drop()
    path = folder / "bag-07.csv"
    path.write_text("time,air\n", encoding="utf-8")
    for minute in range(5):
        with path.open("a", encoding="utf-8") as growing:
            growing.write(f"2026-03-05 10:0{minute},21.5\n")
        assert turns(drop, 2) == 0
    assert store.count() == 0
    assert turns(drop, 2) == 1
    assert store.count() == 5


def test_an_ambiguous_file_is_refused_with_both_readings(make_drop, folder, store):
    text = "time,air\n05/03/2026 10:00,21.5\n"
    (folder / "bag-07.csv").write_text(text, encoding="utf-8")
    drop = make_drop()
    assert turns(drop) == 1
    assert (folder / "refused" / "bag-07.csv").read_text(encoding="utf-8") == text
    report = (folder / "refused" / "bag-07.csv.report.txt").read_text(encoding="utf-8")
    assert '--map "date_order=dmy"' in report
    assert '--map "date_order=mdy"' in report
    (line,) = RejectLog(store.file).newest(5)
    assert line.problem.startswith("file refused: its dates can be read in more than one order")
    assert store.count() == 0


@pytest.mark.parametrize("name", ["all.map.toml", "bag-07.csv.map.toml"])
def test_a_mapping_beside_it_settles_what_is_ambiguous(make_drop, folder, store, name):
    (folder / name).write_text('date_order = "dmy"\n', encoding="utf-8")
    (folder / "bag-07.csv").write_text("time,air\n05/03/2026 10:00,21.5\n", encoding="utf-8")
    assert turns(make_drop()) == 1
    assert (folder / "taken" / "bag-07.csv").is_file()
    assert [(one.at_ms, one.value) for one in store.since(0, 9)] == [(1772701200000, 21.5)]
    assert (folder / name).is_file()


def test_a_second_file_of_the_same_name_overwrites_nothing(make_drop, folder, store):
    drop = make_drop()
    for value in ("21.1", "21.2"):
        text = f"time,air\n2026-03-05 10:{value[-1]}0,{value}\n"
        (folder / "bag-07.csv").write_text(text, encoding="utf-8")
        assert turns(drop) == 1
    assert sorted(path.name for path in (folder / "taken").glob("*.csv")) == [
        "bag-07-2.csv",
        "bag-07.csv",
    ]
    assert store.count() == 2


def test_unfinished_hidden_and_linked_files_are_left_alone(make_drop, folder, store, tmp_path):
    for name in (".bag-07.csv", "bag-07.csv.part", "bag-07.csv.map.toml"):
        (folder / name).write_text(GOOD, encoding="utf-8")
    elsewhere = tmp_path / "bag-07.csv"
    elsewhere.write_text(GOOD, encoding="utf-8")
    (folder / "bag-07.csv").symlink_to(elsewhere)
    (folder / "bag-07 folder").mkdir()
    assert turns(make_drop(), 5) == 0
    assert store.count() == 0
    assert elsewhere.is_file()


def test_a_file_that_a_stop_cut_short_stays_and_is_loaded_at_the_next_start(
    make_drop, folder, store
):
    (folder / "bag-07.csv").write_text(GOOD, encoding="utf-8")
    with pytest.raises(LoadStopped):
        turns(make_drop(rest=lambda _s: True))
    assert (folder / "bag-07.csv").is_file()
    assert turns(make_drop()) == 1
    assert store.count() == 1
    assert (folder / "taken" / "bag-07.csv").is_file()


def test_a_store_that_refuses_leaves_the_file_where_it_is(make_drop, folder, store, caplog):
    (folder / "bag-07.csv").write_text(GOOD, encoding="utf-8")
    drop = make_drop()
    store.close()
    with pytest.raises(StoreFailure):
        turns(drop)
    assert (folder / "bag-07.csv").is_file()
    stop = threading.Event()
    looking = threading.Thread(target=drop.run, args=(stop,))
    looking.start()
    for _ in range(500):
        if "drop_folder_failed" in caplog.text:
            break
        stop.wait(0.02)
    stop.set()
    looking.join(10)
    assert not looking.is_alive()
    assert "drop_folder_failed" in caplog.text


def test_a_name_that_would_spoil_the_log_is_made_harmless(make_drop, folder, store):
    (folder / "bag-07 \x1b[2J.csv").write_text("nonsense", encoding="utf-8")
    assert turns(make_drop()) == 1
    (line,) = RejectLog(store.file).newest(5)
    assert "\x1b" not in line.topic
