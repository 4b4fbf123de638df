"""Readings in one SQLite file: one writer that syncs every commit, readers beside it."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import threading
from typing import TYPE_CHECKING

from collector.stores.base import StoreFailure
from collector.stores.migrations import migrate
from rules.model.reading import StoredReading

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from rules.model.reading import Reading

_BUSY_S = 10.0

# One statement writes many rows: SQLite runs it without the interpreter's lock, so the network
# thread goes on reading meanwhile. A batch is cut into these sizes, so few statements are compiled.
_CHUNKS = (1024, 256, 64, 16, 4, 1)


def _insert_of(rows: int) -> str:
    values = ",".join(["(?,?,?)"] * rows)
    head = "INSERT INTO reading (channel, at_ms, value) VALUES"
    return "\n".join((head, values, "ON CONFLICT (channel, at_ms) DO NOTHING"))


_INSERT = {rows: _insert_of(rows) for rows in _CHUNKS}
_SINCE = """
    SELECT r.sequence, c.name, r.at_ms, r.value FROM reading r JOIN channel c ON c.id = r.channel
    WHERE r.sequence > ? ORDER BY r.sequence LIMIT ?"""
_SPAN = """
    SELECT r.sequence, c.name, r.at_ms, r.value FROM channel c JOIN reading r ON r.channel = c.id
    WHERE c.name IN (SELECT value FROM json_each(?)) AND r.at_ms >= ? AND r.at_ms < ?
    ORDER BY c.name, r.at_ms"""
_LATEST = """
    SELECT r.sequence, c.name, r.at_ms, r.value FROM channel c JOIN reading r ON r.sequence =
      (SELECT sequence FROM reading WHERE channel = c.id ORDER BY at_ms DESC LIMIT 1)"""


class SqliteFile:
    """The file itself: a writing connection behind a lock, and reading connections on demand."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.RLock()
        self._depth = 0
        self._idle: list[sqlite3.Connection] = []
        self._idle_lock = threading.Lock()
        self._closed = False
        with _told_plainly(path):
            self._writer = self._open()
            self._writer.execute("PRAGMA journal_mode = WAL")
            self._writer.execute("PRAGMA synchronous = FULL")
            self._writer.execute("PRAGMA journal_size_limit = 67108864")
            migrate(self._writer)

    def _open(self) -> sqlite3.Connection:
        return sqlite3.connect(
            self._path, timeout=_BUSY_S, isolation_level=None, check_same_thread=False
        )

    def _check_open(self) -> None:
        if self._closed:
            raise StoreFailure(_CLOSED)

    @contextlib.contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Give the writing connection inside a transaction; on leaving, it is committed and synced.

        Entered again by the same thread it joins the outer transaction: the outermost commits.
        """
        with self._lock, _told_plainly(self._path):
            self._check_open()
            if self._depth:
                yield self._writer
                return
            self._writer.execute("BEGIN IMMEDIATE")
            self._depth = 1
            try:
                yield self._writer
                self._writer.execute("COMMIT")
            except BaseException:
                # SQLite has already rolled back by itself after some failures, a full disk among
                # them; asking again would hide the first cause.
                if self._writer.in_transaction:
                    self._writer.execute("ROLLBACK")
                raise
            finally:
                self._depth = 0

    @contextlib.contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Give a connection for queries. It sees what is committed and never waits for a writer."""
        with _told_plainly(self._path):
            with self._idle_lock:
                self._check_open()
                db = self._idle.pop() if self._idle else None
            if db is None:
                db = self._open()
                db.execute("PRAGMA query_only = ON")
            try:
                yield db
            except BaseException:
                db.close()
                raise
            with self._idle_lock:
                if self._closed:
                    db.close()
                else:
                    self._idle.append(db)

    def close(self) -> None:
        """Close every connection; those in use close when their query ends."""
        with self._lock, self._idle_lock:
            if self._closed:
                return
            self._closed = True
            for db in self._idle:
                db.close()
            self._idle.clear()
            self._writer.close()


_CLOSED = "the readings store was closed. Start the collector again"


@contextlib.contextmanager
def _told_plainly(path: Path) -> Iterator[None]:
    """Turn what SQLite says into a StoreFailure that tells the technician what to do."""
    try:
        yield
    except sqlite3.IntegrityError:
        raise  # a caller's mistake, such as a NaN, and no fault of the store
    except (sqlite3.OperationalError, sqlite3.DatabaseError, sqlite3.ProgrammingError) as err:
        said = str(err)
        if "full" in said:
            fix = "Free some space on its disk; readings wait at the broker meanwhile"
        elif "readonly" in said or "read-only" in said:
            fix = "Let the collector's user write to the file and its folder"
        elif "unable to open" in said:
            fix = "Make the folder, and let the collector's user write to it"
        elif "locked" in said or "busy" in said:
            fix = "Another program holds the file; close it"
        elif "malformed" in said or "not a database" in said:
            fix = "The file is damaged: set it aside and restore the last copy"
        else:
            fix = "See that the disk works"
        msg = f"{path}: {said}. {fix}"
        raise StoreFailure(msg) from err


class SqliteStore:
    """A ReadingStore in one file. Give `file` on to a RejectLog so that both commit together."""

    def __init__(self, path: Path) -> None:
        self.file = SqliteFile(path)

    def keep(self, readings: Sequence[Reading]) -> None:
        """Return when all of `readings` are synced to disk; first value of a key wins."""
        if not readings:
            return
        with self.file.writing() as db:
            ids = _ids_of(db, {reading.channel for reading in readings})
            flat: list[int | float] = []
            append = flat.append  # looked up once: this loop runs for every reading there is
            for reading in readings:
                append(ids[reading.channel])
                append(reading.at_ms)
                append(reading.value)
            kept = _insert(db, flat)
            db.execute("UPDATE reading_count SET kept = kept + ?", (kept,))

    def since(self, sequence: int, most: int) -> Sequence[StoredReading]:
        """Return at most `most` readings kept after `sequence`, in the order of keeping."""
        with self.file.reading() as db:
            return [StoredReading(*row) for row in db.execute(_SINCE, (sequence, most))]

    def span(self, channels: Sequence[str], start_ms: int, end_ms: int) -> Sequence[StoredReading]:
        """Return readings of `channels` with start_ms <= at_ms < end_ms, by (channel, at_ms)."""
        with self.file.reading() as db:
            bound = (json.dumps(list(channels)), start_ms, end_ms)
            return [StoredReading(*row) for row in db.execute(_SPAN, bound)]

    def latest(self) -> Mapping[str, StoredReading]:
        """Return for every channel ever kept its reading with the largest at_ms."""
        with self.file.reading() as db:
            return {row[1]: StoredReading(*row) for row in db.execute(_LATEST)}

    def last_sequence(self) -> int:
        """Return the sequence of the reading kept last; 0 when nothing was ever kept."""
        with self.file.reading() as db:
            return int(db.execute("SELECT coalesce(max(sequence), 0) FROM reading").fetchone()[0])

    def count(self) -> int:
        """Return how many readings are kept."""
        with self.file.reading() as db:
            return int(db.execute("SELECT kept FROM reading_count").fetchone()[0])

    def close(self) -> None:
        """Close the file."""
        self.file.close()


def _ids_of(db: sqlite3.Connection, names: set[str]) -> Mapping[str, int]:
    """Return the number of each channel; new ones are written in the running transaction.

    Asked anew for every batch: numbers remembered here could outlive a transaction rolled back.
    """
    ids: dict[str, int] = {}
    for name in names:
        row = db.execute("SELECT id FROM channel WHERE name = ?", (name,)).fetchone()
        if row is None:
            row = db.execute(
                "INSERT INTO channel (name) VALUES (?) RETURNING id", (name,)
            ).fetchone()
        ids[name] = row[0]
    return ids


def _insert(db: sqlite3.Connection, flat: list[int | float]) -> int:
    """Write rows given as channel, at_ms, value, channel, ...; return how many were new."""
    kept = 0
    at = 0
    for rows in _CHUNKS:
        width = rows * 3
        statement = _INSERT[rows]
        while len(flat) - at >= width:
            kept += db.execute(statement, flat[at : at + width]).rowcount
            at += width
    return kept
