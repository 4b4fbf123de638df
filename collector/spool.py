"""What is kept here goes on to the archive, in order, as soon as the archive takes it.

The readings file is the queue: how far the archive has come is one number in it, moved on after
the archive has answered. Killed between the two, the same readings are written again, and the
archive holds them once, since time and tags are their key.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.stores.base import StoreFailure
from collector.stores.influx_archive import LinesRefused
from rules.model.reading import StoredReading

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from collector.stores.influx_archive import InfluxArchive
    from collector.stores.sqlite import SqliteStore

log = logging.getLogger(__name__)

MOST_A_WRITE = 2_000
IDLE_S = 1.0
_FIRST_WAIT_S = 1.0
_LONGEST_WAIT_S = 60.0
_ASIDE = """
    SELECT sequence, channel, at_ms, value FROM set_aside
    WHERE sequence > ? ORDER BY sequence LIMIT ?"""
_LAST_SAID = "SELECT said FROM set_aside ORDER BY sequence DESC LIMIT 1"


@dataclass(frozen=True, slots=True)
class SpoolHealth:
    """How far the archive is behind. Instants are milliseconds since the epoch, UTC.

    `waiting` is at most how many readings wait, and `oldest_ms` the instant of the first of them.
    `set_aside` counts readings that the archive refuses for themselves; `last_refusal` is what it
    said of the last. `trouble` and `trouble_since_ms` are set while the archive takes nothing.
    """

    waiting: int
    oldest_ms: int | None
    set_aside: int
    last_refusal: str | None
    trouble: str | None
    trouble_since_ms: int | None


class Spool:
    """Drains the readings file into the archive. `step` may be called by one thread at a time."""

    def __init__(
        self, store: SqliteStore, archive: InfluxArchive, *, clock_ms: Callable[[], int]
    ) -> None:
        self._store = store
        self._archive = archive
        self._clock_ms = clock_ms
        self._lock = threading.Lock()
        self._trouble: str | None = None
        self._trouble_since_ms: int | None = None

    def archived_up_to(self) -> int:
        """Return the sequence up to which every reading is in the archive, or set aside."""
        with self._store.file.reading() as db:
            return int(db.execute("SELECT upto FROM archive_position").fetchone()[0])

    def step(self) -> int:
        """Send the next readings on; return how many, 0 when none wait. Raises ArchiveAway."""
        with self._lock:
            readings = self._store.since(self.archived_up_to(), MOST_A_WRITE)
            if readings:
                self._done(readings, self._send(readings))
            return len(readings)

    def _send(self, readings: Sequence[StoredReading]) -> list[tuple[StoredReading, str]]:
        """Write readings; return those that the archive refuses for themselves, and its words.

        A refused lot is halved again and again: one bad reading costs a few requests.
        """
        try:
            self._archive.write(readings)
        except LinesRefused as refused:
            if len(readings) == 1:
                return [(readings[0], str(refused))]
            half = len(readings) // 2
            return self._send(readings[:half]) + self._send(readings[half:])
        return []

    def _done(
        self, readings: Sequence[StoredReading], refused: Sequence[tuple[StoredReading, str]]
    ) -> None:
        for reading, said in refused:
            log.error(
                "archive_refused channel=%s at_ms=%d said=%s", reading.channel, reading.at_ms, said
            )
        rows = [(one.sequence, one.channel, one.at_ms, one.value, said) for one, said in refused]
        with self._store.file.writing() as db:
            db.executemany("INSERT OR REPLACE INTO set_aside VALUES (?, ?, ?, ?, ?)", rows)
            db.execute("UPDATE archive_position SET upto = max(upto, ?)", (readings[-1].sequence,))

    def send_set_aside(self) -> int:
        """Try what was set aside once more, as at every start; return how many were taken.

        Ends at the first lot of which nothing is taken, so that a server that refuses everything
        is not asked about each.
        """
        taken = 0
        last = 0
        with self._lock:
            while lot := self._set_aside_after(last):
                refused = {one.sequence for one, _ in self._send(lot)}
                gone = [(one.sequence,) for one in lot if one.sequence not in refused]
                if not gone:
                    break
                with self._store.file.writing() as db:
                    db.executemany("DELETE FROM set_aside WHERE sequence = ?", gone)
                taken += len(gone)
                last = lot[-1].sequence
        return taken

    def _set_aside_after(self, sequence: int) -> list[StoredReading]:
        with self._store.file.reading() as db:
            rows = db.execute(_ASIDE, (sequence, MOST_A_WRITE)).fetchall()
        return [StoredReading(*row) for row in rows]

    def run(self, stop: threading.Event) -> None:
        """Send on whatever comes until `stop`; wait longer and longer while the archive is away."""
        wait_s = _FIRST_WAIT_S
        retried = False
        while not stop.is_set():
            try:
                if not retried:
                    self.send_set_aside()
                    retried = True
                sent = self.step()
            except StoreFailure as trouble:  # the archive away, or the local file refusing
                self._note(str(trouble))
            except Exception as error:
                log.exception("spool_failed")
                self._note(f"{type(error).__name__}: {error}")
            else:
                self._note(None)
                wait_s = _FIRST_WAIT_S
                if sent < MOST_A_WRITE:
                    stop.wait(IDLE_S)
                continue
            stop.wait(wait_s)
            wait_s = min(wait_s * 2, _LONGEST_WAIT_S)

    def _note(self, trouble: str | None) -> None:
        if trouble is None and self._trouble is not None:
            log.info("archive_back waiting=%d", self._waiting())
        if trouble is not None and self._trouble is None:
            log.error("archive_away cause=%s", trouble)
            self._trouble_since_ms = self._clock_ms()
        if trouble is None:
            self._trouble_since_ms = None
        self._trouble = trouble

    def _waiting(self) -> int:
        return max(0, self._store.last_sequence() - self.archived_up_to())

    def health(self) -> SpoolHealth:
        """Return how far the archive is behind, and why."""
        first = self._store.since(self.archived_up_to(), 1)
        with self._store.file.reading() as db:
            refused = db.execute("SELECT count(*) FROM set_aside").fetchone()[0]
            said = db.execute(
                "SELECT said FROM set_aside ORDER BY sequence DESC LIMIT 1"
            ).fetchone()
        return SpoolHealth(
            waiting=self._waiting() if first else 0,
            oldest_ms=first[0].at_ms if first else None,
            set_aside=int(refused),
            last_refusal=None if said is None else str(said[0]),
            trouble=self._trouble,
            trouble_since_ms=self._trouble_since_ms,
        )
