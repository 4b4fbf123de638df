"""Hammers a data folder as a running graftvigil would: a reading kept, then seen by the watch.

Arguments: the data folder, where the records are, and the number of the first round. Each round
keeps readings, and then keeps in the records up to which of them the watch has seen, with an entry
that names it. Ends on SIGTERM, and prints how many rounds there were, the longest and the median of
them in milliseconds.
"""

from __future__ import annotations

import json
import signal
import statistics
import sys
import threading
import time
from pathlib import Path

from sqlalchemy import insert, update

from api.records.session import open_records, writing
from api.records.tables import file_bases, watch_position
from collector.stores.sqlite import SqliteStore
from rules.model.reading import Reading

FIRST_MS = 1_780_000_000_000
EACH = 5


def main(data: Path, records_at: Path | str, first_round: int) -> None:
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    store, records = SqliteStore(data / "readings.sqlite"), open_records(records_at)
    rounds = first_round
    took_s: list[float] = []
    while not stop.wait(0.001):
        began_s = time.perf_counter()
        first = rounds * EACH
        store.keep([Reading("hammer/air", FIRST_MS + n, n / 4) for n in range(first, first + EACH)])
        seen = store.last_sequence()
        with writing(records) as db:
            db.execute(update(watch_position).values(sequence=seen))
            db.execute(
                insert(file_bases).values(revision=f"{rounds:09d}", text=b"x", first_ms=seen)
            )
        took_s.append(time.perf_counter() - began_s)
        rounds += 1
        if len(took_s) == 1:
            print("ready", flush=True)
    told = {"longest_ms": max(took_s) * 1000, "median_ms": statistics.median(took_s) * 1000}
    print(json.dumps({"rounds": rounds, **told}), flush=True)


if __name__ == "__main__":
    where = sys.argv[2] if "://" in sys.argv[2] else Path(sys.argv[2])
    main(Path(sys.argv[1]), where, int(sys.argv[3]))
