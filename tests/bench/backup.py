"""What a backup of a season costs, against a plain copy of the same files in the same run.

A season of one-minute readings of 200 channels lies packed, the last two days as rows, as a running
graftvigil keeps them; beside it records with photos. The baseline is what `cp` and `sync` would do:
shutil.copyfile and fsync, of files that nobody writes. Then a process writes readings and records
as fast as it can, once with nothing beside it and once while backups are made: the longest of its
rounds, each of two synced commits, is what the watch would have had to wait.

Run: python tests/bench/backup.py [--days 90] [--channels 200] [--photos 200] [--rounds 3]
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from sqlalchemy import insert

from api.records.session import open_records, writing
from api.records.tables import file_bases, watch_position
from collector.stores.blocks import DAY_MS, Columns, packed, slots_of
from collector.stores.sqlite import SqliteStore

ROOT = Path(__file__).parents[2]
WRITER = ROOT / "tests" / "kill" / "backup_writer.py"
FIRST_DAY = 20_400
AS_ROWS = 2
PHOTO = 300_000


def channel_day(day: int, channel: int, first: int, rng: np.random.Generator) -> Columns:
    minutes = np.arange(1440)
    at_ms = day * DAY_MS + minutes * 60_000 + np.rint(rng.normal(30_000, 400, 1440))
    swing = 22 + 6 * np.sin(minutes / 1440 * 2 * np.pi + channel)
    value = np.round(swing + np.cumsum(rng.normal(0, 0.03, 1440)), 1 + channel % 2)
    sequence = first + channel + 200 * minutes
    return Columns(at_ms.astype(np.int64), value, sequence.astype(np.int64))


def fill(folder: Path, days: int, channels: int, photos: int) -> int:
    """Write a season straight into the tables; return how many readings there are."""
    rng = np.random.default_rng(11)
    data = folder / "data"
    data.mkdir()
    SqliteStore(data / "readings.sqlite").close()
    db = sqlite3.connect(data / "readings.sqlite", isolation_level=None)
    db.execute("BEGIN")
    names = [(n + 1, f"bag-{n // 2:03d}/{'air' if n % 2 else 'humidity'}") for n in range(channels)]
    db.executemany("INSERT INTO channel VALUES (?, ?)", names)
    for number in range(days):
        day, first = FIRST_DAY + number, 1 + number * 1440 * 200
        for channel in range(channels):
            one = channel_day(day, channel, first, rng)
            key = (channel + 1, day)
            if number >= days - AS_ROWS:
                rows = zip(
                    one.sequence.tolist(),
                    [key[0]] * one.size,
                    one.at_ms.tolist(),
                    one.value.tolist(),
                    strict=True,
                )
                db.executemany("INSERT INTO reading VALUES (?, ?, ?, ?)", rows)
                continue
            columns = (packed(one.at_ms), packed(one.value), packed(one.sequence))
            ends = (int(one.sequence.min()), int(one.sequence.max()))
            db.execute(
                "INSERT INTO block VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (*key, one.size, *ends, *columns),
            )
            slots = slots_of(one)
            cells = (slots.start_ms, slots.count, slots.lowest, slots.highest, slots.total)
            db.execute(
                "INSERT INTO coarse_day VALUES (?, ?, ?, 0, ?, ?, ?, ?, ?)",
                (*key, one.size, *(packed(each) for each in cells)),
            )
    total = days * channels * 1440
    db.execute(
        "UPDATE reading_count SET kept = ?, packed_before_ms = ?",
        (total, (FIRST_DAY + days - AS_ROWS) * DAY_MS),
    )
    db.execute("COMMIT")
    db.close()
    records = open_records(data / "records.sqlite")
    with writing(records) as new:
        for number in range(photos):
            body = rng.bytes(PHOTO)
            new.execute(insert(file_bases).values(revision=f"p{number}", text=body, first_ms=1))
        new.execute(
            insert(watch_position).values(
                id=1, began_minute=1, next_minute=2, sequence=0, revision="r", state=b"none"
            )
        )
    records.dispose()
    for name in ("readings", "records"):
        last = sqlite3.connect(data / f"{name}.sqlite")
        last.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        last.close()
    shutil.copyfile(ROOT / "demo_data" / "site.toml", folder / "site.toml")
    shutil.copytree(ROOT / "demo_data" / "plans", folder / "plans")
    return total


def took_s(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def plain_copy(folder: Path, to: Path) -> None:
    to.mkdir()
    for name in ("readings.sqlite", "records.sqlite"):
        shutil.copyfile(folder / "data" / name, to / name)
        file = os.open(to / name, os.O_RDONLY)
        os.fsync(file)
        os.close(file)


def command(folder: Path, *asked: str) -> tuple[float, float]:
    """Run the command in a process of its own; return seconds and peak memory in MB."""
    places = ("--data", str(folder / "data"), "--site", str(folder / "site.toml"))
    return process_of("backup", *asked, *places)


def process_of(*arguments: str) -> tuple[float, float]:
    script = "import sys; from api.cli.main import main; sys.exit(main())"
    began = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-c", script, *arguments], stdout=subprocess.DEVNULL
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in {0, 1}:
        raise SystemExit(f"the command ended with {process.returncode}")
    return time.perf_counter() - began, used.ru_maxrss / 1024


def writer(folder: Path, first_round: int) -> subprocess.Popen[str]:
    data = folder / "data"
    process = subprocess.Popen(
        [sys.executable, str(WRITER), str(data), str(data / "records.sqlite"), str(first_round)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    if process.stdout is None or process.stdout.readline() != "ready\n":
        raise SystemExit("the writer did not start")
    return process


def ended(process: subprocess.Popen[str]) -> dict[str, float]:
    process.send_signal(signal.SIGTERM)
    found: dict[str, float] = json.loads(process.communicate(timeout=60)[0])
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=90)
    parser.add_argument("--channels", type=int, default=200)
    parser.add_argument("--photos", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--folder", type=Path, help="where to work (default: the temporary folder)")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        folder = Path(name)
        total = fill(folder, asked.days, asked.channels, asked.photos)
        files = [folder / "data" / one for one in ("readings.sqlite", "records.sqlite")]
        sizes = [one.stat().st_size / 1e6 for one in files]
        print(f"{total} readings in {sizes[0]:.0f} MB, records {sizes[1]:.0f} MB")
        copies, ours, tries, peaks = [], [], [], []
        for number in range(asked.rounds):
            backups = folder / f"b{number}"
            copies.append(took_s(lambda n=number: plain_copy(folder, folder / f"c{n}")))
            seconds, peak = command(folder, str(backups))
            ours.append(seconds)
            peaks.append(peak)
            seconds, peak = command(folder, str(backups), "--check")
            tries.append(seconds)
            peaks.append(peak)
            shutil.rmtree(backups)
            shutil.rmtree(folder / f"c{number}")
        told = [f"{statistics.median(one):.1f} s" for one in (copies, ours, tries)]
        print(f"plain copy and sync {told[0]}; backup {told[1]}; trying it by restoring {told[2]}")
        _, least = process_of("check", str(folder / "site.toml"))
        print(
            f"peak memory: {max(peaks):.0f} MB; of `graftvigil check`, to compare: {least:.0f} MB"
        )
        alone, beside = [], []
        for number in range(asked.rounds):
            process = writer(folder, 2 * number * 10**6)
            threading.Event().wait(statistics.median(ours))
            alone.append(ended(process))
            process = writer(folder, (2 * number + 1) * 10**6)
            command(folder, str(folder / f"w{number}"))
            beside.append(ended(process))
            shutil.rmtree(folder / f"w{number}")
        for what, found in (("alone", alone), ("while backups are made", beside)):
            longest = [one["longest_ms"] for one in found]
            middle = [one["median_ms"] for one in found]
            print(
                f"two synced commits, {what}: median {statistics.median(middle):.1f} ms, "
                f"longest {', '.join(f'{one:.0f}' for one in longest)} ms"
            )


if __name__ == "__main__":
    main()
