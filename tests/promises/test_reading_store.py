"""What every store of readings must keep to. Add a store to `KINDS` and it is held to all."""

from __future__ import annotations

import hashlib
import math
import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.spool import Spool
from collector.stores.base import ReadingStore, StoreFailure
from collector.stores.influx import InfluxStore
from collector.stores.influx_archive import InfluxAddress, InfluxArchive
from collector.stores.packing import pack_some
from collector.stores.sqlite import SqliteStore
from rules.model.reading import Reading, StoredReading

Opener = Callable[[Path], ReadingStore]


PACKING = threading.Lock()  # one packer a file, as in a running graftvigil


def pack_all(store: SqliteStore | InfluxStore) -> None:
    with PACKING:
        while pack_some(store.file, before_ms=2**62):
            pass


class PackingStore(SqliteStore):
    """Packs all it can after every keeping, as if every day were long over."""

    def keep(self, readings: Sequence[Reading]) -> None:
        super().keep(readings)
        pack_all(self)


class DrainedStore(InfluxStore):
    """Has everything in the archive, and packed, before keeping returns."""

    def __init__(self, local: SqliteStore, archive: InfluxArchive) -> None:
        super().__init__(local, archive)
        self.spool = Spool(local, archive, clock_ms=lambda: 0)

    def keep(self, readings: Sequence[Reading]) -> None:
        super().keep(readings)
        pack_all(self)
        while self.spool.step():
            pass


KINDS = ("influx", "influx drained", "sqlite", "sqlite packed")


@pytest.fixture
def opener_of(request) -> Callable[[str], Opener]:
    """How to open each kind of store; two with the same folder are the same store."""

    def of(kind: str) -> Opener:
        if kind.startswith("sqlite"):
            store = PackingStore if kind == "sqlite packed" else SqliteStore
            return lambda folder: store(folder / "readings.db")
        server = request.getfixturevalue("influx_server")

        def open_influx(folder: Path) -> ReadingStore:
            bucket = server.make_bucket(hashlib.sha256(str(folder).encode()).hexdigest()[:12])
            address = InfluxAddress(server.url, bucket, "-", token=None)
            store = InfluxStore if kind == "influx" else DrainedStore
            return store(SqliteStore(folder / "readings.db"), InfluxArchive(address))

        return open_influx

    return of


@pytest.fixture(params=KINDS)
def open_store(request, tmp_path, opener_of) -> Iterator[Callable[[], ReadingStore]]:
    opened: list[ReadingStore] = []
    opener = opener_of(request.param)

    def open_it() -> ReadingStore:
        opened.append(opener(tmp_path))
        return opened[-1]

    yield open_it
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store) -> ReadingStore:
    return open_store()


def keys(found) -> list[tuple[str, int, float]]:
    return [(r.channel, r.at_ms, r.value) for r in found]


def test_an_empty_store(store):
    assert store.count() == 0
    assert store.last_sequence() == 0
    assert list(store.since(0, 10)) == []
    assert list(store.span(["a/x"], 0, 10)) == []
    assert store.latest() == {}
    store.keep([])
    assert store.count() == 0


def test_the_first_reading_has_sequence_one(store):
    store.keep([Reading("a/x", 5, 1.5)])
    assert list(store.since(0, 10)) == [StoredReading(1, "a/x", 5, 1.5)]


def test_keeping_again_changes_nothing_and_the_first_value_wins(store):
    store.keep([Reading("a/x", 5, 1.0), Reading("a/x", 5, 2.0)])
    store.keep([Reading("a/x", 5, 3.0), Reading("a/y", 5, 4.0), Reading("a/x", 6, 5.0)])
    assert store.count() == 3
    assert keys(store.since(0, 10)) == [("a/x", 5, 1.0), ("a/y", 5, 4.0), ("a/x", 6, 5.0)]


def test_since_gives_what_came_after_in_the_order_of_keeping(store):
    for at_ms in (30, 10, 20):
        store.keep([Reading("a/x", at_ms, 0.0), Reading("b/x", at_ms, 0.0)])
    every = list(store.since(0, 100))
    assert [r.at_ms for r in every] == [30, 30, 10, 10, 20, 20]
    assert [r.sequence for r in every] == sorted({r.sequence for r in every})
    assert list(store.since(every[2].sequence, 2)) == every[3:5]
    assert list(store.since(every[-1].sequence, 2)) == []
    assert store.last_sequence() == every[-1].sequence


def test_span_takes_the_start_and_leaves_the_end(store):
    readings = [Reading(c, at, at / 10) for at in (30, 10, 20, 40) for c in ("b/x", "a/x", "c/x")]
    store.keep(readings)
    assert keys(store.span(["b/x", "a/x", "a/x", "nobody"], 10, 30)) == [
        ("a/x", 10, 1.0),
        ("a/x", 20, 2.0),
        ("b/x", 10, 1.0),
        ("b/x", 20, 2.0),
    ]
    assert list(store.span([], 0, 100)) == []


def test_latest_is_by_instant_and_not_by_keeping(store):
    store.keep([Reading("a/x", 30, 3.0), Reading("a/x", 10, 1.0), Reading("b/x", 7, 0.5)])
    assert {channel: r.value for channel, r in store.latest().items()} == {"a/x": 3.0, "b/x": 0.5}


def test_odd_names_values_and_instants_come_back_exactly(store):
    odd = [
        Reading("sensor.1/channel_2-x", -1, -0.1),
        Reading("a/x", 2**53 + 1, 5e-324),
        Reading("a/x", 0, 1.7976931348623157e308),
        Reading("a/x", 1, 0.1 + 0.2),
    ]
    store.keep(odd)
    assert [Reading(*key) for key in keys(store.since(0, 10))] == odd


def test_a_restart_forgets_nothing_and_reuses_no_sequence(open_store):
    first = open_store()
    first.keep([Reading("a/x", 1, 1.0), Reading("b/x", 1, 2.0)])
    last = first.last_sequence()
    first.close()
    again = open_store()
    assert again.count() == 2
    assert again.last_sequence() == last
    again.keep([Reading("a/x", 1, 9.0), Reading("a/x", 2, 3.0)])
    assert keys(again.since(last, 10)) == [("a/x", 2, 3.0)]


def test_a_closed_store_raises_and_closing_twice_is_fine(store):
    store.close()
    store.close()
    with pytest.raises(StoreFailure):
        store.keep([Reading("a/x", 1, 1.0)])
    with pytest.raises(StoreFailure):
        store.count()


def test_two_openers_of_one_store_see_each_other(open_store):
    one, two = open_store(), open_store()
    one.keep([Reading("a/x", 1, 1.0)])
    two.keep([Reading("a/x", 1, 2.0), Reading("b/x", 1, 3.0)])
    one.keep([Reading("b/x", 2, 4.0)])
    assert keys(one.since(0, 10)) == keys(two.since(0, 10))
    assert one.count() == two.count() == 3


def test_a_reader_beside_a_writer_misses_nothing(store):
    """The watch follows `since` while readings pour in: each comes once, in order."""
    total, seen, done = 3000, [], threading.Event()

    def write(channel: str) -> None:
        for at_ms in range(0, total // 2, 50):
            store.keep([Reading(channel, at, 0.0) for at in range(at_ms, at_ms + 50)])

    def read() -> None:
        last = 0
        while len(seen) < total and not done.is_set():
            for reading in store.since(last, 70):
                seen.append(reading)
                last = reading.sequence

    reader = threading.Thread(target=read)
    writers = [threading.Thread(target=write, args=(name,)) for name in ("a/x", "b/x")]
    for thread in (reader, *writers):
        thread.start()
    for thread in writers:
        thread.join(30)
    reader.join(30)
    done.set()
    assert len(seen) == total
    assert len({(r.channel, r.at_ms) for r in seen}) == total
    assert [r.sequence for r in seen] == sorted(r.sequence for r in seen)


BATCHES = st.lists(
    st.lists(
        st.builds(
            Reading,
            st.sampled_from(["a/x", "a/y", "b/x"]),
            st.integers(0, 12),
            st.floats(-50, 50),
        ),
        max_size=40,
    ),
    max_size=6,
)


@pytest.mark.parametrize("kind", KINDS)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(batches=BATCHES)
def test_the_store_agrees_with_a_dictionary(kind, batches, opener_of, tmp_path_factory):
    store = opener_of(kind)(tmp_path_factory.mktemp("store"))
    expected: dict[tuple[str, int], float] = {}
    for batch in batches:
        store.keep(batch)
        for reading in batch:
            expected.setdefault((reading.channel, reading.at_ms), reading.value)
    found = store.since(0, 10_000)
    assert [((r.channel, r.at_ms), r.value) for r in found] == list(expected.items())
    assert store.count() == len(expected)
    spanned = store.span(["a/x", "a/y", "b/x"], 3, 9)
    assert [(r.channel, r.at_ms) for r in spanned] == sorted(k for k in expected if 3 <= k[1] < 9)
    series = store.series(["a/x"], 3, 9)["a/x"]
    assert list(zip(series.at_ms.tolist(), series.value.tolist(), strict=True)) == [
        (r.at_ms, r.value) for r in spanned if r.channel == "a/x"
    ]
    cells = {cell.channel: cell for cell in store.coarse(["a/x", "b/x"], 0, 1, cell_min=10)}
    for name in ("a/x", "b/x"):
        values = [value for key, value in expected.items() if key[0] == name]
        assert (name in cells) == bool(values)
        if values:
            cell = cells[name]
            assert (cell.count, cell.lowest, cell.highest) == (
                len(values),
                min(values),
                max(values),
            )
            assert cell.mean == pytest.approx(math.fsum(values) / len(values), abs=1e-9)
    newest = {c: max(at for n, at in expected if n == c) for c in {c for c, _ in expected}}
    assert {c: r.at_ms for c, r in store.latest().items()} == newest
    store.close()


def test_a_file_of_a_newer_version_is_refused(tmp_path):
    store = SqliteStore(tmp_path / "readings.db")
    with store.file.writing() as db:
        db.execute("INSERT INTO schema_step VALUES ('9999 from the future')")
    store.close()
    with pytest.raises(StoreFailure, match="newer version"):
        SqliteStore(tmp_path / "readings.db")


@pytest.mark.parametrize(
    ("content", "fix"),
    [(b"these are my notes, not a database\n" * 50, "restore"), (None, "Make the folder")],
)
def test_a_file_that_is_no_database_is_refused_with_what_to_do(tmp_path, content, fix):
    path = tmp_path / "readings.db"
    if content is None:
        path = tmp_path / "missing" / "readings.db"
    else:
        path.write_bytes(content)
    with pytest.raises(StoreFailure, match=fix):
        SqliteStore(path)


def test_the_file_is_synced_at_every_commit(tmp_path):
    store = SqliteStore(tmp_path / "readings.db")
    with store.file.writing() as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert db.execute("PRAGMA synchronous").fetchone() == (2,)  # 2 is FULL
    store.close()


def test_a_missing_value_is_refused_by_the_file_itself(tmp_path):
    store = SqliteStore(tmp_path / "readings.db")
    with pytest.raises(sqlite3.IntegrityError):
        store.keep([Reading("a/x", 1, 1.0), Reading("a/x", 2, float("nan"))])
    assert store.count() == 0
    store.close()
