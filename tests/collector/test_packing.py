"""Past days packed and given up: nothing lost, nothing doubled, and cells that add up exactly."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.stores import packing
from collector.stores.base import StoreFailure
from collector.stores.blocks import DAY_MS, packed, unpacked_real, unpacked_whole
from collector.stores.packing import pack_some
from collector.stores.sqlite import SqliteStore
from collector.stores.upkeep import PACK_AFTER_MS, Upkeep
from rules.model.reading import Reading

CHANNELS = ("a/x", "a/y", "b/x")
DAY = 20_400
START_MS = DAY * DAY_MS
NOW_MS = START_MS + 10 * DAY_MS + PACK_AFTER_MS


@pytest.fixture
def store(tmp_path) -> Iterator[SqliteStore]:
    store = SqliteStore(tmp_path / "readings.db")
    yield store
    store.close()


def upkeep(store: SqliteStore, *, raw_days: int = 0, safe: int = 2**62, now_ms: int = NOW_MS):
    return Upkeep(
        store.file,
        raw_days=raw_days,
        clock_ms=lambda: now_ms,
        safe_sequence=lambda: safe,
        kept_elsewhere=False,
    )


def tidy(store: SqliteStore, **given) -> None:
    work = upkeep(store, **given)
    for _ in range(1000):
        if work.step() is None:
            return
    pytest.fail("upkeep never ends")


def minutes(channel: str, day: int, count: int = 30, *, first: int = 0) -> list[Reading]:
    return [
        Reading(channel, day * DAY_MS + n * 60_000 + n % 7, round(20 + n / 10, 1))
        for n in range(first, first + count)
    ]


def everything(store: SqliteStore) -> tuple[object, ...]:
    return (
        list(store.since(0, 10**6)),
        list(store.span(CHANNELS, -(2**62), 2**62)),
        store.latest(),
        store.count(),
        store.last_sequence(),
    )


def unnumbered(store: SqliteStore) -> tuple[object, ...]:
    """Sequences may have gaps, where a reading came again; their order is what counts."""
    every = [(r.channel, r.at_ms, r.value) for r in store.since(0, 10**6)]
    spanned = [(r.channel, r.at_ms, r.value) for r in store.span(CHANNELS, -(2**62), 2**62)]
    latest = {name: (r.at_ms, r.value) for name, r in store.latest().items()}
    return every, spanned, latest, store.count()


def rows_and_blocks(store: SqliteStore) -> tuple[int, int]:
    with store.file.reading() as db:
        return (
            db.execute("SELECT count(*) FROM reading").fetchone()[0],
            db.execute("SELECT count(*) FROM block").fetchone()[0],
        )


def test_packed_days_read_as_before(store):
    for day in (DAY, DAY + 1, DAY + 9):
        for channel in ("b/x", "a/x"):
            store.keep(minutes(channel, day))
    before = everything(store)
    tidy(store)
    assert everything(store) == before
    # Rows stay for each channel's newest reading and the one kept last, which is one of them.
    assert rows_and_blocks(store) == (2, 6)


def test_a_day_is_packed_only_once_it_has_been_over_for_a_while(store):
    store.keep([*minutes("a/x", DAY), *minutes("a/x", DAY + 1)])
    tidy(store, now_ms=START_MS + DAY_MS + PACK_AFTER_MS - 1)
    assert rows_and_blocks(store) == (60, 0)
    tidy(store, now_ms=START_MS + DAY_MS + PACK_AFTER_MS)
    assert rows_and_blocks(store) == (30, 1)


def test_a_late_reading_for_a_packed_day_is_kept_and_packed_next_time(store):
    store.keep([*minutes("a/x", DAY), *minutes("a/x", DAY + 9)])
    tidy(store)
    late = Reading("a/x", START_MS + 5 * 60_000 + 30_000, 99.5)
    store.keep([late])
    assert [r.value for r in store.span(["a/x"], late.at_ms, late.at_ms + 1)] == [99.5]
    store.keep([Reading("a/x", START_MS + 9 * DAY_MS + 10**7, 1.0)])  # now it isn't the last kept
    before = everything(store)
    tidy(store)
    assert everything(store) == before
    with store.file.reading() as db:
        assert db.execute("SELECT readings FROM block WHERE day = ?", (DAY,)).fetchone() == (31,)


def test_a_reading_sent_again_after_its_day_was_packed_changes_nothing(store):
    first = [*minutes("a/x", DAY), *minutes("b/x", DAY)]
    store.keep([*first, *minutes("a/x", DAY + 9)])
    tidy(store)
    before = everything(store)
    store.keep([Reading(one.channel, one.at_ms, -1.0) for one in first])
    assert everything(store) == before


def test_old_readings_come_again_in_one_batch_with_new_ones(store):
    store.keep([*minutes("a/x", DAY), *minutes("a/x", DAY + 9)])
    tidy(store)
    store.keep([*minutes("a/x", DAY), Reading("a/x", NOW_MS, 1.0)])
    assert store.count() == 61
    assert len(store.since(0, 100)) == len(store.span(["a/x"], 0, 2**62)) == 61


def test_since_mixes_rows_and_blocks_in_the_order_of_keeping(store):
    for n in range(40):
        store.keep([Reading(("a/x", "b/x")[n % 2], START_MS + (n * 7 % 40) * 60_000, float(n))])
    store.keep([Reading("a/x", NOW_MS, 40.0), Reading("b/x", NOW_MS, 41.0)])
    tidy(store)
    store.keep([Reading("a/x", START_MS + 500, 42.0), Reading("b/x", NOW_MS + 5, 43.0)])
    seen, last = [], 0
    while chunk := store.since(last, 3):
        seen += [(r.sequence, r.value) for r in chunk]
        last = chunk[-1].sequence
    assert seen == [(n + 1, float(n)) for n in range(44)]


def test_odd_values_and_instants_survive_packing_bit_for_bit(store):
    values = [0.0, 5e-324, 1.7976931348623157e308, 0.1 + 0.2, 1e15 + 0.5, -1e-300]
    odd = [Reading("a/x", at_ms, v) for at_ms, v in zip(range(-3, 3), values, strict=True)]
    far = [Reading("a/x", -(2**63), 1.0), Reading("a/x", -(2**63) + 1, 2.0)]
    store.keep([*odd, *far, Reading("a/x", 2**63 - 2, 0.0)])
    tidy(store)
    assert rows_and_blocks(store)[0] == 1
    found = store.span(["a/x"], -3, 3)
    assert [Reading(r.channel, r.at_ms, r.value) for r in found] == odd
    assert [r.at_ms for r in store.span(["a/x"], -(2**63), -(2**62))] == [-(2**63), -(2**63) + 1]


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=300))
def test_every_finite_number_is_packed_without_loss(values):
    array = np.array(values)
    assert unpacked_real(packed(array)).tobytes() == array.tobytes()
    whole = array.view(np.int64)
    assert unpacked_whole(packed(whole)).tolist() == whole.tolist()


def test_series_is_span_as_arrays(store):
    store.keep([*minutes("a/x", DAY), *minutes("a/x", DAY + 9), *minutes("b/x", DAY)])
    tidy(store)
    store.keep([Reading("a/x", START_MS + 1, 5.5)])
    window = (START_MS + 60_001, START_MS + 9 * DAY_MS + 70_000)
    series = store.series(["a/x"], *window)["a/x"]
    spanned = store.span(["a/x"], *window)
    assert series.at_ms.tolist() == [r.at_ms for r in spanned]
    assert series.value.tolist() == [r.value for r in spanned]
    assert store.series(["nobody"], 0, 10)["nobody"].at_ms.size == 0


READINGS = st.builds(
    Reading,
    st.sampled_from(CHANNELS),
    st.integers(0, 40).map(lambda n: START_MS + n * (DAY_MS // 10)),
    st.integers(-500, 500).map(lambda n: n / 10),
)
STEPS = st.lists(
    st.one_of(st.lists(READINGS, max_size=20), st.integers(0, 6)), min_size=1, max_size=6
)


@given(steps=STEPS)
def test_packing_between_any_two_batches_is_never_seen(steps, tmp_path_factory):
    """A store that packs up to some day now and then reads like one that never does."""
    folder = tmp_path_factory.mktemp("two")
    plain, packs = SqliteStore(folder / "plain.db"), SqliteStore(folder / "packs.db")
    for step in steps:
        if isinstance(step, int):
            tidy(packs, now_ms=START_MS + step * DAY_MS + PACK_AFTER_MS)
        else:
            plain.keep(step)
            packs.keep(step)
        assert unnumbered(packs) == unnumbered(plain)
        assert packs.last_sequence() == max((r.sequence for r in packs.since(0, 10**6)), default=0)
        assert list(packs.coarse(CHANNELS, 0, 2**62, cell_min=60)) == list(
            plain.coarse(CHANNELS, 0, 2**62, cell_min=60)
        )
    plain.close()
    packs.close()


def by_hand(readings: list[Reading], cell_min: int) -> list[tuple[object, ...]]:
    cells: dict[tuple[str, int], list[float]] = {}
    for one in readings:
        start = one.at_ms - one.at_ms % (cell_min * 60_000)
        cells.setdefault((one.channel, start), []).append(one.value)
    return [
        (*key, len(v), min(v), max(v), sum(round(x * 1_000_000) for x in v) / 1_000_000 / len(v))
        for key, v in sorted(cells.items())
    ]


def told(cells) -> list[tuple[object, ...]]:
    return [(c.channel, c.start_ms, c.count, c.lowest, c.highest, c.mean) for c in cells]


@pytest.mark.parametrize("cell_min", [10, 30, 720, 1440])
def test_coarse_cells_outlive_the_raw_readings(store, cell_min):
    readings = [one for day in range(DAY, DAY + 10) for one in minutes("a/x", day, 45)]
    store.keep(readings)
    tidy(store, raw_days=4)
    assert len(store.span(["a/x"], 0, NOW_MS)) == store.count() == 4 * 45
    found = store.coarse(["a/x"], START_MS, NOW_MS, cell_min=cell_min)
    assert told(found) == by_hand(readings, cell_min)


def test_coarse_cells_begin_inside_the_span_and_are_whole(store):
    readings = [*minutes("a/x", DAY, 60), *minutes("a/x", DAY + 9, 60)]
    store.keep(readings)
    tidy(store)
    found = store.coarse(["a/x"], START_MS + 1, START_MS + 20 * 60_000 + 1, cell_min=10)
    assert [(c.start_ms - START_MS, c.count) for c in found] == [(600_000, 10), (1_200_000, 10)]
    assert list(store.coarse(["a/x"], START_MS + 5, START_MS + 6, cell_min=10)) == []
    for wrong in (0, 5, 15, 7 * 60, 2880):
        with pytest.raises(ValueError, match="coarse cell"):
            store.coarse(["a/x"], 0, 1, cell_min=wrong)


def test_coarse_cells_count_a_late_reading_at_once(store):
    readings = [*minutes("a/x", DAY), *minutes("a/x", DAY + 9)]
    store.keep(readings)
    tidy(store)
    late = Reading("a/x", START_MS + 61, -40.0)
    store.keep([late])
    found = store.coarse(["a/x"], START_MS, START_MS + 1, cell_min=10)
    assert told(found) == by_hand([*readings, late], 10)[:1]


def test_values_finer_than_millionths_still_have_a_mean(store):
    store.keep([Reading("a/x", START_MS + n, 1e-9 * n) for n in range(3)])
    store.keep([Reading("a/x", NOW_MS, 1.0), Reading("b/x", NOW_MS, 1e300)])
    tidy(store)
    cells = store.coarse(["a/x", "b/x"], 0, NOW_MS + DAY_MS, cell_min=1440)
    assert [c.mean for c in cells] == [pytest.approx(1e-9), 1.0, 1e300]


def test_a_day_given_up_takes_nothing_more_and_doubles_nothing(store, caplog):
    readings = [*minutes("a/x", DAY), *minutes("a/x", DAY + 9)]
    store.keep(readings)
    tidy(store, raw_days=4)
    cells = list(store.coarse(["a/x"], START_MS, NOW_MS, cell_min=10))
    store.keep([*minutes("a/x", DAY), Reading("a/x", START_MS + 77, 3.0)])
    assert store.count() == 30
    assert list(store.coarse(["a/x"], START_MS, NOW_MS, cell_min=10)) == cells
    assert "readings_of_days_given_up readings=31" in caplog.text


def test_what_the_watch_has_not_seen_is_never_given_up(store):
    store.keep(minutes("a/x", DAY))
    store.keep(minutes("a/x", DAY + 9))
    tidy(store, raw_days=4, safe=29)
    assert len(store.since(0, 100)) == 60
    tidy(store, raw_days=4, safe=30)
    assert [r.sequence for r in store.since(0, 100)] == list(range(31, 61))


def test_the_newest_reading_of_a_silent_channel_is_never_given_up(store):
    store.keep(minutes("a/x", DAY))
    store.keep(minutes("b/x", DAY + 9))
    tidy(store, raw_days=4)
    assert store.latest()["a/x"].value == 22.9
    assert rows_and_blocks(store)[0] == 2


def test_a_block_written_by_somebody_else_meanwhile_undoes_the_step(store, monkeypatch):
    store.keep([*minutes("a/x", DAY), *minutes("a/x", DAY + 9)])
    ready = packing._ready

    def ready_then_another(db: sqlite3.Connection, before_ms: int):
        found = ready(db, before_ms)
        monkeypatch.setattr(packing, "_ready", ready)
        assert pack_some(store.file, before_ms=NOW_MS) == 30
        return found

    monkeypatch.setattr(packing, "_ready", ready_then_another)
    before = everything(store)
    with pytest.raises(StoreFailure, match="two programs"):
        pack_some(store.file, before_ms=NOW_MS)
    assert everything(store) == before


def test_upkeep_outlives_a_fault_and_goes_on(store, monkeypatch, caplog, until):
    store.keep([*minutes("a/x", DAY), *minutes("a/x", DAY + 9)])
    faults = [RuntimeError("the records are locked"), StoreFailure("the disk is full")]

    def safe() -> int:
        if faults:
            raise faults.pop()
        return 2**62

    monkeypatch.setattr("collector.stores.upkeep.BETWEEN_ROUNDS_S", 0.01)
    stop = threading.Event()
    work = Upkeep(
        store.file,
        raw_days=4,
        clock_ms=lambda: NOW_MS,
        safe_sequence=safe,
        kept_elsewhere=False,
    )
    running = threading.Thread(target=work.run, args=(stop,))
    running.start()
    until(lambda: store.count() == 30)
    stop.set()
    running.join(10)
    assert not running.is_alive()
    assert "upkeep_put_off cause=the disk is full" in caplog.text
    assert "upkeep_failed" in caplog.text


def test_a_damaged_block_is_told_and_not_guessed_at(store):
    store.keep([*minutes("a/x", DAY), *minutes("a/x", DAY + 9)])
    tidy(store)
    with store.file.writing() as db:
        db.execute("UPDATE block SET value = zeroblob(40)")
    with pytest.raises(StoreFailure, match="Restore"):
        store.span(["a/x"], START_MS, NOW_MS)


@pytest.fixture
def old_file(tmp_path) -> Callable[[], Path]:
    """A file as the version before packing left it."""

    def make() -> Path:
        path = tmp_path / "old.db"
        db = sqlite3.connect(path)
        db.executescript(Path(__file__).with_name("readings_0002.sql").read_text(encoding="utf-8"))
        db.close()
        return path

    return make


def test_a_file_of_the_version_before_is_brought_up_and_packed(old_file):
    store = SqliteStore(old_file())
    before = [
        list(store.since(0, 1000)),
        list(store.span(["bag-07/air", "sky/par"], 0, NOW_MS)),
        store.latest(),
    ]
    assert [r.sequence for r in before[0]] == list(range(1, 122))
    assert len(before[1]) == 61
    assert store.count() == 121
    tidy(store)
    assert rows_and_blocks(store) == (3, 6)
    assert before == [
        list(store.since(0, 1000)),
        list(store.span(["bag-07/air", "sky/par"], 0, NOW_MS)),
        store.latest(),
    ]
    store.close()
