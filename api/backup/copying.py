"""Copies a SQLite file as it is at one moment, in steps between which others go on writing."""

from __future__ import annotations

import os
import sqlite3
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from api.backup.going import Going

_PAGES = 512
"""Two megabytes a step: short beside any disk's sync, so that no commit waits long for it."""

_SYNC_EVERY = 8
_BUSY_S = 10.0


@contextmanager
def snapshot(path: Path) -> Iterator[sqlite3.Connection]:
    """Give a connection that sees a file as it was at the beginning, and writes nothing.

    In a file with a write-ahead log, as ours are, nobody waits for it: writers append to the log,
    which only grows meanwhile.
    """
    db = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=ro",
        uri=True,
        timeout=_BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        db.execute("BEGIN")
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()  # from here on it stands still
        yield db
    finally:
        db.close()


def size_of(db: sqlite3.Connection) -> int:
    """Return how many bytes a file takes."""
    pages, page = (db.execute(f"PRAGMA {x}").fetchone()[0] for x in ("page_count", "page_size"))
    return int(pages * page)


def copy_sqlite(db: sqlite3.Connection, target: Path, *, what: str, going: Going) -> None:
    """Copy what a snapshot sees into a new private file, one file alone, synced.

    The snapshot holds while it is copied: pages written meanwhile neither spoil the copy nor make
    it begin anew, as they would without one.
    """
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    file = os.open(target, os.O_RDONLY)
    began_s = time.perf_counter()
    steps = 0

    def moved(_status: int, remaining: int, total: int) -> None:
        nonlocal began_s, steps
        steps += 1
        if steps % _SYNC_EVERY == 0:
            os.fdatasync(file)  # little by little: one great sync at the end would hold others up
        going.moved(what, total - remaining, total)
        going.rest(time.perf_counter() - began_s)
        began_s = time.perf_counter()

    copy = sqlite3.connect(target, timeout=_BUSY_S, isolation_level=None)
    try:
        # Nobody reads it before it is whole, so it needs no journal of its own.
        copy.execute("PRAGMA journal_mode = OFF")
        copy.execute("PRAGMA synchronous = OFF")
        db.backup(copy, pages=_PAGES, progress=moved)
        copy.execute("PRAGMA journal_mode = DELETE")
    finally:
        copy.close()
        os.fsync(file)
        os.close(file)


def settle(path: Path) -> None:
    """Put a file that is open nowhere into one piece without a log beside it, and sync it."""
    db = sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)
    try:
        db.execute("PRAGMA journal_mode = DELETE")
    finally:
        db.close()
    file = os.open(path, os.O_RDONLY)
    try:
        os.fsync(file)
    finally:
        os.close(file)
