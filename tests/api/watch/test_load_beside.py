"""A file loaded by another process into the store that a running watch reads."""

from __future__ import annotations

import subprocess
import sys
import threading
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from api.records.alarms import standing_alarms
from api.records.watch import late_readings, load_position
from rules.model.reading import MINUTE_MS, StoredReading

if TYPE_CHECKING:
    from collections.abc import Sequence

LOADER = """
import sys
from pathlib import Path
from collector.files.detection import detect
from collector.files.load import FileLoader
from collector.files.mapping import FileMapping
from collector.stores.sqlite import SqliteStore
from rules.model.site import Site

folder, now_ms = Path(sys.argv[1]), int(sys.argv[2])
site = Site.model_validate_json((folder / "site.json").read_text())
store = SqliteStore(folder / "readings.db")
loader = FileLoader(
    store, together=store.file.writing, clock_ms=lambda: now_ms, rest=lambda _s: False
)
found = detect(
    folder / "bag-7.csv", site.sensor, FileMapping(), site_zone=site.site.time_zone, now_ms=now_ms
)
report = loader.load(found, dry=False, moved=lambda _done, _whole: None)
print(report.kept, report.refused.total())
"""


def load(nursery, rows: Sequence[tuple[datetime, float]], now: datetime) -> subprocess.Popen[str]:
    """Begin to load a file of humidities of bag-7, written by the site's clock."""
    zone = timedelta(hours=11)
    lines = [f"{at + zone:%Y-%m-%d %H:%M:%S},{value}" for at, value in rows]
    text = "\n".join(["time,humidity", *lines, ""])
    (nursery.folder / "bag-7.csv").write_text(text, encoding="utf-8")
    (nursery.folder / "site.json").write_text(nursery.site.model_dump_json(), encoding="utf-8")
    now_ms = str(round(now.timestamp() * 1000))
    return subprocess.Popen(
        [sys.executable, "-c", LOADER, str(nursery.folder), now_ms],
        stdout=subprocess.PIPE,
        text=True,
    )


def end(loading: subprocess.Popen[str]) -> list[int]:
    said, _ = loading.communicate(timeout=60)
    assert loading.returncode == 0
    return [int(one) for one in said.split()]


def first_minute(nursery) -> int:
    with nursery.db() as db:
        return load_position(db).began_minute


def at_minute(nursery, minute: int) -> datetime:
    return datetime.fromtimestamp((first_minute(nursery) + minute) * 60 + 40, UTC)


def test_what_was_closed_is_marked_late_and_what_is_still_open_is_judged(nursery):
    nursery.pass_minutes(0, [95.0] * 6)
    first = first_minute(nursery)
    # Dry from the third minute on: three cells are closed already, four are yet to come.
    rows = [(at_minute(nursery, minute), 70.0) for minute in (3, 4, 5, 6, 7, 8, 9)]
    assert end(load(nursery, rows, at_minute(nursery, 10))) == [7, 0]
    for minute in range(6, 10):
        nursery.close(minute)
    with nursery.db() as db:
        late = late_readings(db, first_minute=first, end_minute=first + 20)
        (alarm,) = [one for one in standing_alarms(db) if one.condition == "air-dry"]
    assert [mark.minute - first for mark in late] == [3, 4, 5]
    assert {mark.channel for mark in late} == {"bag-7/humidity"}
    assert alarm.batch == "MG-07"
    assert int(alarm.since.timestamp()) // 60 - first == 6


def test_a_record_of_before_the_watch_is_kept_and_marks_nothing(nursery):
    nursery.pass_minutes(0, [95.0])
    first = first_minute(nursery)
    start = at_minute(nursery, -5000)
    rows = [(start + timedelta(minutes=n), 60 + n % 30) for n in range(4000)]
    assert end(load(nursery, rows, at_minute(nursery, 1))) == [4000, 0]
    nursery.pass_minutes(1, [95.0] * 3)
    with nursery.db() as db:
        assert late_readings(db, first_minute=0, end_minute=first + 20) == ()
        assert standing_alarms(db) == ()
    assert nursery.store.count() == 4000 + 4 * 4


def test_the_watch_closes_its_cells_while_a_large_file_is_loaded(nursery):
    start = at_minute(nursery, -100_000)
    rows = [(start + timedelta(minutes=n), 60 + n % 30) for n in range(60_000)]
    loading = load(nursery, rows, at_minute(nursery, 1))
    minute = 0
    while loading.poll() is None:
        nursery.keep(minute)
        assert nursery.close(minute) == 1
        minute += 1
    assert end(loading) == [60_000, 0]
    assert minute > 3
    nursery.pass_minutes(minute, [95.0])
    with nursery.db() as db:
        assert load_position(db).sequence == nursery.store.last_sequence()
        assert late_readings(db, first_minute=0, end_minute=2**40) == ()
    assert nursery.store.count() == 60_000 + (minute + 1) * 4


def test_a_store_that_fills_faster_than_it_is_read_does_not_hold_the_watch(nursery):
    nursery.keep(0)
    kept, drawn = nursery.store, threading.Event()
    end_ms = first_minute(nursery) * MINUTE_MS

    class Filling:
        """The store, and behind its end always another chunk, as if a file were being loaded."""

        def since(self, sequence: int, most: int):
            real = kept.since(sequence, most)
            if real:
                return real
            assert not drawn.is_set(), "the watch goes on drawing and closes nothing"
            drawn.set()
            return [StoredReading(sequence + 1, "bag-7/air", end_ms - 1, 20.0)]

        def __getattr__(self, name: str):
            return getattr(kept, name)

    nursery.watch._store = Filling()
    nursery.watch._going = None
    assert nursery.close(0) == 1
    assert nursery.close(1) == 1
