"""How fast a large CSV is loaded, and in how much memory.

Baseline in the same run: csv.reader, float() and one sqlite3 executemany a batch into the same two
tables, with the same sync; no time zone, no check, nothing compared. Memory is shown at two sizes.

    deploy/bench.sh load [--rows 400000] [--rounds 5]
"""

from __future__ import annotations

import argparse
import csv
import json
import resource
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from collector.files.detection import detect
from collector.files.load import FileLoader
from collector.files.mapping import FileMapping
from collector.stores.sqlite import SqliteStore
from rules.model.place import Sensor

NOW_MS = 1_795_608_000_000
FIRST_S = 1_600_000_000
SENSOR = Sensor.model_validate(
    {
        "id": "bag-07",
        "title": "Under the bag of batch 7",
        "topic": "shed/bag-07",
        "channel": [
            {"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "air"},
            {"id": "rh", "quantity": "relative_humidity", "unit": "%RH", "path": "rh"},
            {"id": "par", "quantity": "ppfd", "unit": "umol/m2/s", "path": "par"},
        ],
    }
)


def write(path: Path, rows: int) -> None:
    """Write a year or more of a reading every half minute, three values a row."""
    with path.open("w", encoding="utf-8") as file:
        file.write("Serial,bag-07\n\nDate Time,Air (°C),RH (%),PAR (umol/m2/s)\n")
        for n in range(rows):
            at = datetime.fromtimestamp(FIRST_S + 30 * n, UTC)
            values = f"{15 + n % 173 / 10:.1f},{40 + n % 577 / 10:.1f},{n % 999}"
            file.write(f"{at:%d/%m/%Y %H:%M:%S},{values}\n")


def load_ours(path: Path, database: Path) -> int:
    """Detect and load a file; return how many readings are kept."""
    store = SqliteStore(database)
    loader = FileLoader(
        store, together=store.file.writing, clock_ms=lambda: NOW_MS, rest=lambda _s: False
    )
    found = detect(path, [SENSOR], FileMapping(), site_zone="Europe/Madrid", now_ms=NOW_MS)
    kept = loader.load(found, dry=False, moved=lambda _done, _whole: None).kept
    store.close()
    return kept


def load_bare(path: Path, database: Path) -> int:
    """Do the least that keeps the same numbers under the same keys, batch by batch."""
    SqliteStore(database).close()
    db = sqlite3.connect(database, isolation_level=None)
    db.execute("PRAGMA synchronous = FULL")
    db.executemany("INSERT INTO channel VALUES (?, ?)", enumerate(("air", "rh", "par"), start=1))
    insert = (
        "INSERT INTO reading (channel, at_ms, value) VALUES (?, ?, ?)"
        " ON CONFLICT (channel, at_ms) DO NOTHING"
    )
    batch: list[tuple[int, int, float]] = []
    kept = 0
    with path.open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file)
        for _ in range(3):
            next(rows)
        for row in rows:
            at = datetime.strptime(row[0] + "+0000", "%d/%m/%Y %H:%M:%S%z")
            at_ms = round(at.timestamp() * 1000)
            batch += [(place, at_ms, float(row[place])) for place in (1, 2, 3)]
            if len(batch) >= 4096:
                kept += _keep(db, insert, batch)
    kept += _keep(db, insert, batch)
    db.close()
    return kept


def _keep(db: sqlite3.Connection, insert: str, batch: list[tuple[int, int, float]]) -> int:
    db.execute("BEGIN IMMEDIATE")
    db.executemany(insert, batch)
    db.execute("COMMIT")
    count = len(batch)
    batch.clear()
    return count


def measured(what: str, path: Path) -> dict[str, float]:
    """Load in a process of its own; return seconds, and the peak of its memory in MB."""
    with tempfile.TemporaryDirectory() as folder:
        said = subprocess.run(
            [sys.executable, __file__, "--do", what, "--file", str(path), "--into", folder],
            capture_output=True,
            text=True,
            check=True,
        )
    answer: dict[str, float] = json.loads(said.stdout)
    return answer


def compare(rows: int, rounds: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path, large = Path(folder) / "file.csv", Path(folder) / "large.csv"
        write(path, rows)
        write(large, rows * 4)
        ratios, ours, bare = [], [], []
        for _ in range(rounds):
            one, other = measured("ours", path), measured("bare", path)
            ours.append(one["seconds"])
            bare.append(other["seconds"])
            ratios.append(other["seconds"] / one["seconds"])
        small, big = measured("ours", path), measured("ours", large)
        again = measured("again", path)
        sizes = path.stat().st_size / 1e6, large.stat().st_size / 1e6
    print(f"{rows} rows of three values, {sizes[0]:.0f} MB, {rounds} rounds each")
    print(f"ours  {rows / statistics.median(ours):,.0f} rows/s")
    print(f"bare  {rows / statistics.median(bare):,.0f} rows/s (csv.reader, strptime, executemany)")
    spread = f"{min(ratios):.2f} to {max(ratios):.2f}"
    print(f"ratio {statistics.median(ratios):.2f} ({spread}) of the bare loop's rows/s")
    print(f"a second time, all known: {rows / again['seconds']:,.0f} rows/s")
    print(f"peak memory {small['peak_mb']:.0f} MB at {sizes[0]:.0f} MB, "
          f"{big['peak_mb']:.0f} MB at {sizes[1]:.0f} MB")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=400_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--do", choices=["ours", "bare", "again"], help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--into", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.do is None:
        compare(asked.rows, asked.rounds)
        return
    load = load_bare if asked.do == "bare" else load_ours
    database = asked.into / "readings.db"
    if asked.do == "again":
        load_ours(asked.file, database)
    began = time.perf_counter()
    load(asked.file, database)
    seconds = time.perf_counter() - began
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "peak_mb": peak_mb}))


if __name__ == "__main__":
    main()
