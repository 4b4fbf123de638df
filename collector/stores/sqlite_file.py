"""One SQLite file: a writer that syncs every commit, and readers beside it."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from typing import TYPE_CHECKING

from collector.stores.base import StoreFailure
from collector.stores.migrations import migrate

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_BUSY_S = 10.0


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

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[sqlite3.Connection]:
        """Give a connection whose queries all see the file as it was at the first of them."""
        with self.reading() as db:
            db.execute("BEGIN")
            yield db
            db.execute("COMMIT")

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
