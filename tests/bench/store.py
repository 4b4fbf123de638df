"""What a month of readings costs on disk and in time, against plain SQLite rows in the same run.

Jittered one-minute readings of 20 channels, half with 0.1 and half with 0.01 resolution, are kept
day by day, as a running graftvigil keeps and packs them. Beside it the same readings go into plain
rows (channel, at_ms, value, unique) through `executemany`, one synced transaction a batch.

Run: python tests/bench/store.py [--days 30] [--rounds 5] [--jitter-ms 400]
"""

from __future__ import annotations

import argparse
import sqlite3
import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from collector.stores.blocks import DAY_MS
from collector.stores.sqlite import SqliteStore
from collector.stores.upkeep import PACK_AFTER_MS, Upkeep
from rules.model.reading import Reading

CHANNELS = 20
BATCH = 1_000
FIRST_DAY = 20_400
ANSWERS = "SELECT at_ms, value FROM plain WHERE channel = ? AND at_ms >= ? AND at_ms < ?"


def day_of_readings(day: int, jitter_ms: float, rng: np.random.Generator) -> list[Reading]:
    """Return a day of all channels in order of arrival: swings by day and night, drift, noise."""
    minutes = np.arange(1440)
    found: list[Reading] = []
    for channel in range(CHANNELS):
        at_ms = day * DAY_MS + minutes * 60_000 + 30_000 + np.rint(rng.normal(0, jitter_ms, 1440))
        digits = 1 + channel % 2
        swing = 22 + 6 * np.sin(minutes / 1440 * 2 * np.pi + channel)
        value = np.round(swing + np.cumsum(rng.normal(0, 0.03, 1440)) + rng.normal(0, 0.08), digits)
        name = f"bag-{channel // 2:02d}/{'air' if channel % 2 else 'humidity'}"
        found.extend(
            Reading(name, int(at), float(v))
            for at, v in zip(at_ms.tolist(), value.tolist(), strict=True)
        )
    found.sort(key=lambda one: one.at_ms)
    return list({(one.channel, one.at_ms): one for one in found}.values())


def size(path: Path) -> int:
    db = sqlite3.connect(path)
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    return path.stat().st_size


class Plain:
    """The baseline: rows with the same key, written as fast as plain sqlite3 writes them."""

    def __init__(self, path: Path) -> None:
        self.db = sqlite3.connect(path, isolation_level=None)
        self.db.execute("PRAGMA journal_mode = WAL")
        self.db.execute("PRAGMA synchronous = FULL")
        self.db.execute(
            "CREATE TABLE plain (sequence INTEGER PRIMARY KEY, channel INTEGER NOT NULL, "
            "at_ms INTEGER NOT NULL, value REAL NOT NULL, UNIQUE (channel, at_ms))"
        )
        self.ids: dict[str, int] = {}

    def keep(self, readings: list[Reading]) -> None:
        rows = [
            (self.ids.setdefault(one.channel, len(self.ids)), one.at_ms, one.value)
            for one in readings
        ]
        self.db.execute("BEGIN IMMEDIATE")
        self.db.executemany("INSERT INTO plain (channel, at_ms, value) VALUES (?, ?, ?)", rows)
        self.db.execute("COMMIT")

    def columns(self, name: str, start_ms: int, end_ms: int) -> np.ndarray:
        bound = (self.ids[name], start_ms, end_ms)
        return np.array(self.db.execute(ANSWERS, bound).fetchall())


def without_sequence(folder: Path) -> Path:
    """Copy the plain rows into the smallest plain table there is, and return its file."""
    path = folder / "leanest.db"
    db = sqlite3.connect(path)
    db.execute(
        "CREATE TABLE plain (channel INTEGER, at_ms INTEGER, value REAL, "
        "PRIMARY KEY (channel, at_ms)) WITHOUT ROWID"
    )
    db.execute("ATTACH ? AS other", (str(folder / "plain.db"),))
    db.execute(
        "INSERT INTO plain SELECT channel, at_ms, value FROM other.plain ORDER BY channel, at_ms"
    )
    db.commit()
    db.close()
    return path


def took_s(work: Callable[[], object]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def in_batches(keep: Callable[[list[Reading]], None], readings: list[Reading]) -> float:
    batches = [readings[i : i + BATCH] for i in range(0, len(readings), BATCH)]
    return took_s(lambda: [keep(batch) for batch in batches])


def ratio(ours: list[float], theirs: list[float]) -> str:
    each = [a / b for a, b in zip(ours, theirs, strict=True)]
    return f"median {statistics.median(each):.2f}, from {min(each):.2f} to {max(each):.2f}"


def ingest_beside(store: SqliteStore, readings: list[Reading], stop: threading.Event) -> float:
    """Keep ten readings at a time while `stop` is not set; return the longest wait in ms."""
    longest = 0.0
    for i in range(0, len(readings), 10):
        if stop.is_set():
            break
        longest = max(longest, took_s(lambda at=i: store.keep(readings[at : at + 10])))
    return longest * 1000


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--jitter-ms", type=float, default=400)
    asked = parser.parse_args()
    rng = np.random.default_rng(5)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store, plain = SqliteStore(folder / "ours.db"), Plain(folder / "plain.db")
        now_ms = [0]
        upkeep = Upkeep(
            store.file,
            raw_days=0,
            clock_ms=lambda: now_ms[0],
            safe_sequence=lambda: 2**62,
            kept_elsewhere=False,
        )
        writes: tuple[list[float], list[float]] = ([], [])
        steps: list[float] = []
        packing_s = 0.0
        total = 0
        for number in range(asked.days):
            readings = day_of_readings(FIRST_DAY + number, asked.jitter_ms, rng)
            total += len(readings)
            order = [(store.keep, writes[0]), (plain.keep, writes[1])]
            for keep, times in order if number % 2 else reversed(order):
                times.append(in_batches(keep, readings))
            now_ms[0] = (FIRST_DAY + number + 1) * DAY_MS + PACK_AFTER_MS // 2
            while True:
                began = time.perf_counter()
                if upkeep.step() is None:
                    break
                steps.append((time.perf_counter() - began) * 1000)
        packing_s = sum(steps) / 1000
        report_size(folder, total, steps, packing_s)
        print("write, time of ours to plain rows: " + ratio(writes[0], writes[1]))
        start_ms, end_ms = FIRST_DAY * DAY_MS, (FIRST_DAY + asked.days) * DAY_MS
        one = "bag-03/air"
        compare_reads(store, plain, one, (start_ms, end_ms), asked.rounds)
        report_wait(store, upkeep, now_ms, asked.days)
        store.close()


def report_size(folder: Path, total: int, steps: list[float], packing_s: float) -> None:
    ours, theirs = size(folder / "ours.db") / total, size(folder / "plain.db") / total
    print(f"{total} readings kept; the last day and a part of the one before lie as rows")
    print(f"bytes a reading: ours {ours:.2f}, plain rows {theirs:.2f}, ratio {ours / theirs:.2f}")
    leanest = size(without_sequence(folder)) / total
    print(f"  rows in key order without a sequence, which cannot say what is new: {leanest:.2f}")
    db = sqlite3.connect(folder / "ours.db")
    packed = db.execute(
        "SELECT sum(length(at_ms)) / sum(readings * 1.0), "
        "sum(length(value)) / sum(readings * 1.0), "
        "sum(length(sequence)) / sum(readings * 1.0) FROM block"
    ).fetchone()
    cells = db.execute(
        "SELECT sum(length(slot) + length(count) + length(lowest) + length(highest) "
        "+ length(total)) / sum(readings * 1.0) FROM coarse_day"
    ).fetchone()[0]
    free, page = (
        db.execute(f"PRAGMA {what}").fetchone()[0] for what in ("freelist_count", "page_size")
    )
    rows = db.execute("SELECT count(*) FROM reading").fetchone()[0]
    db.close()
    print(
        f"  in blocks: instants {packed[0]:.2f}, values {packed[1]:.2f}, "
        f"sequences {packed[2]:.2f}; cells {cells:.2f}; {rows} rows; "
        f"free pages {free * page / total:.2f}"
    )
    print(
        f"packing: {packing_s / total * 1e6:.2f} us a reading, {len(steps)} steps, "
        f"longest {max(steps):.0f} ms, median {statistics.median(steps):.0f} ms"
    )


def compare_reads(
    store: SqliteStore, plain: Plain, channel: str, span: tuple[int, int], rounds: int
) -> None:
    ours, theirs, cells, objects = [], [], [], []
    for _ in range(rounds):
        ours.append(took_s(lambda: store.series([channel], *span)[channel]))
        theirs.append(took_s(lambda: plain.columns(channel, *span)))
        cells.append(took_s(lambda: store.coarse([channel], *span, cell_min=10)))
        objects.append(took_s(lambda: store.span([channel], *span)))
    found = store.series([channel], *span)[channel]
    expected = plain.columns(channel, *span)
    if (
        found.at_ms.tolist() != expected[:, 0].tolist()
        or found.value.tolist() != expected[:, 1].tolist()
    ):
        raise SystemExit("the two do not hold the same readings")
    print(
        f"one channel into numpy, {found.at_ms.size} readings, ours to plain: {ratio(ours, theirs)}"
    )
    print(f"  the same as reading objects (span): {ratio(objects, theirs)}")
    print(f"  as ten-minute cells (coarse): {ratio(cells, theirs)}")


def report_wait(store: SqliteStore, upkeep: Upkeep, now_ms: list[int], days: int) -> None:
    rng = np.random.default_rng(6)
    more = day_of_readings(FIRST_DAY + days, 400, rng)
    alone = ingest_beside(store, more[: len(more) // 2], threading.Event())
    now_ms[0] += DAY_MS * 2
    stop = threading.Event()

    def pack() -> None:
        while upkeep.step() is not None:
            stop.wait(0.05)
        stop.set()

    packing = threading.Thread(target=pack)
    packing.start()
    beside = ingest_beside(store, more[len(more) // 2 :], stop)
    packing.join()
    print(
        f"longest wait of a small batch: alone {alone:.0f} ms, "
        f"while a day is packed {beside:.0f} ms"
    )


if __name__ == "__main__":
    main()
