"""Keeps readings and sends them on to InfluxDB, for a test that kills it or the server.

Usage: spool_process.py FILE URL BUCKET FIRST LAST. Says "n" once batch n is kept, from FIRST to
LAST, then "done" once the archive has everything.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import collector.spool
from collector.spool import Spool
from collector.stores.influx import InfluxStore
from collector.stores.influx_archive import InfluxAddress, InfluxArchive
from collector.stores.sqlite import SqliteStore
from rules.model.reading import Reading

START_MS = 1_772_000_000_000
BATCH = 20


def batch_of(number: int) -> list[Reading]:
    """A minute of twenty channels."""
    return [
        Reading(f"bag-{n:02d}/air", START_MS + number * 60_000 + n, number + n / 100)
        for n in range(BATCH)
    ]


def main() -> None:
    # Small lots without a pause: it is nearly always in the middle of a write when killed.
    collector.spool.MOST_A_WRITE = 50
    collector.spool.IDLE_S = 0.001
    collector.spool._FIRST_WAIT_S = 0.02
    path, url, bucket, first, last = sys.argv[1:]
    local = SqliteStore(Path(path))
    archive = InfluxArchive(InfluxAddress(url, bucket, "-", token=None), timeout_s=5.0)
    store = InfluxStore(local, archive)
    spool = Spool(local, archive, clock_ms=lambda: START_MS)
    stop = threading.Event()
    threading.Thread(target=spool.run, args=(stop,), daemon=True).start()
    for number in range(int(first), int(last) + 1):
        store.keep(batch_of(number))
        sys.stdout.write(f"{number}\n")
        sys.stdout.flush()
        stop.wait(0.001)
    while spool.archived_up_to() < store.last_sequence():
        stop.wait(0.02)
    sys.stdout.write("done\n")
    sys.stdout.flush()
    stop.wait()


if __name__ == "__main__":
    main()
