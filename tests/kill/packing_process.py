"""Keeps readings of ten past days again and again while packing them, for a test that kills it.

Usage: packing_process.py FILE FIRST. Batch n holds the same readings in every process; says
"n" once batch n is kept, from FIRST on, and packs as fast as it can meanwhile.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

from collector.stores.sqlite import SqliteStore
from collector.stores.upkeep import Upkeep
from rules.model.reading import Reading

DAY_MS = 86_400_000
FIRST_DAY = 20_400
DAYS = 10
BATCH = 20


def batch_of(number: int) -> list[Reading]:
    """Readings that jump from day to day, so that packed days get late ones all the time."""
    readings = []
    for n in range(number * BATCH, (number + 1) * BATCH):
        at_ms = (FIRST_DAY + n * 7 % DAYS) * DAY_MS + n * 1009
        readings.append(Reading(("sky/par", "bag/air")[n % 2], at_ms, n / 10))
    return readings


def main() -> None:
    store = SqliteStore(Path(sys.argv[1]))
    upkeep = Upkeep(
        store.file,
        raw_days=0,
        clock_ms=lambda: (FIRST_DAY + DAYS + 2) * DAY_MS,
        safe_sequence=lambda: 0,
        kept_elsewhere=False,
    )

    def pack() -> None:
        pause = threading.Event()
        while True:
            if upkeep.step() is None:
                pause.wait(0.001)

    threading.Thread(target=pack, daemon=True).start()
    number = int(sys.argv[2])
    while True:
        store.keep(batch_of(number))
        sys.stdout.write(f"{number}\n")
        sys.stdout.flush()
        number += 1


if __name__ == "__main__":
    main()
