"""Keeps the book up with the files and with what people enter, while everything runs.

Looked at every two seconds: the files by size and time, what was entered by its newest numbers, so
that an edit or an entry of another process is found as well. A new state is made once, beside those
who read, and put in whole. One with a fault is kept out and said, and the old one stays in force.
"""

from __future__ import annotations

import logging
import threading
from typing import TYPE_CHECKING

from sqlalchemy.exc import SQLAlchemyError

from api.book import Book, InForce, base_from, base_of, compiled
from api.records.books import base_text
from api.records.entries import in_force, known
from api.records.observations import entered
from api.records.session import reading
from api.site_files import read_files
from rules.model.fault import Fault

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from sqlalchemy import Connection, Engine

    from api.book import Base
    from api.records.books import BookStretch
    from api.records.entries import Known

log = logging.getLogger(__name__)

LOOK_S = 2.0

Look = tuple[tuple[str, int, int, int], ...]
"""The files as they were at one look: name, number, size and time of each."""


class FilesFaulty(Exception):
    """What the files and the entries hold has faults, and nothing is in force yet."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class Bookkeeping:
    """Keeps one book. `refresh` looks once; `run` looks until it is told to stop.

    Raises FilesFaulty when there is nothing without faults to begin with.

    Parameters
    ----------
    followers
        Called with every new state after it was put in; what one raises is logged.
    """

    def __init__(self, site_file: Path, plans_folder: Path, records: Engine) -> None:
        self._site_file = site_file
        self._plans_folder = plans_folder
        self._records = records
        self._turning = threading.Lock()
        self.followers: list[Callable[[InForce], None]] = []
        self._look = self._before = self._looked()
        files = read_files(site_file, plans_folder)
        if isinstance(files.text, Fault):
            raise FilesFaulty((files.text, *files.folder.faults))
        self._base = base_of(files)
        found = self._made(self._base)
        if not isinstance(found, InForce):
            raise FilesFaulty(found)
        self._known = found.known
        self.book = Book(found)

    def run(self, stop: threading.Event) -> None:
        """Look every two seconds until `stop`; a fault of disk or records is tried again."""
        while not stop.wait(LOOK_S):
            try:
                self.refresh(only_steady=True)
            except (OSError, SQLAlchemyError) as trouble:
                log.warning("book_not_looked_at why=%s", type(trouble).__name__)
            except Exception:
                log.exception("book_failed")

    def refresh(self, *, only_steady: bool = False) -> bool:
        """Take up what has changed; return whether something else is in force now.

        `only_steady`: files count once two looks in a row found them the same, so that one being
        written is never taken for whole.
        """
        with self._turning:
            look = self._looked()
            steady = not only_steady or look == self._before
            self._before = look
            new_files = look != self._look and steady
            with reading(self._records) as db:
                newest = known(db)
            if not new_files and newest == self._known:
                return False
            return self._take_up(look if new_files else None, newest)

    def _take_up(self, look: Look | None, newest: Known) -> bool:
        """Make the newest state and put it in; with new files if `look` is given and they do."""
        found: InForce | tuple[Fault, ...] = ()
        base = self._base
        if look is not None:
            self._look = look
            files = read_files(self._site_file, self._plans_folder)
            if isinstance(files.text, Fault):
                found = (files.text, *files.folder.faults)
            else:
                base = base_of(files)
                found = self._made(base)
            self._tell(() if isinstance(found, InForce) else found)
        if not isinstance(found, InForce):
            if newest == self._known:
                return False
            base = self._base
            found = self._made(base)
        if not isinstance(found, InForce):
            # Entries are checked before they are kept, so only other files could have let these in.
            self._tell(found)
            self._known = newest
            return False
        self._base, self._known = base, found.known
        before = self.book.now
        self.book.put(found)
        if found.revision == before.revision:
            return False
        log.info(
            "book_changed revision=%s observations=%d entries=%d",
            found.revision[:12],
            found.known.observations,
            found.known.entries,
        )
        for follower in self.followers:
            try:
                follower(found)
            except Exception:
                log.exception("book_follower_failed")
        return True

    def _tell(self, faults: tuple[Fault, ...]) -> None:
        """Say once what keeps a state out; and that nothing does any more."""
        if faults and faults != self.book.trouble:
            log.error("book_kept_out faults=%d first=%s", len(faults), faults[0])
        elif self.book.trouble and not faults:
            log.info("book_good_again")
        self.book.trouble = faults

    def _made(self, base: Base) -> InForce | tuple[Fault, ...]:
        if base.files.folder.faults:
            return base.files.folder.faults
        with reading(self._records) as db:
            return compiled_up_to(db, base, known(db))

    def _looked(self) -> Look:
        found: list[tuple[str, int, int, int]] = []
        try:
            plans = sorted(one for one in self._plans_folder.iterdir() if one.suffix == ".toml")
        except OSError:
            plans = []
        for path in (self._site_file, *plans):
            try:
                stat = path.stat()
            except OSError:
                found.append((str(path), 0, -1, 0))
                continue
            found.append((str(path), stat.st_ino, stat.st_size, stat.st_mtime_ns))
        return tuple(found)


def compiled_up_to(db: Connection, base: Base, far: Known) -> InForce | tuple[Fault, ...]:
    """Return what is in force by a base and by what was entered up to `far`, or every fault."""
    seen = [one for one in entered(db) if one.id is not None and one.id <= far.observations]
    return compiled(base, in_force(db, up_to=far.entries), seen, far)


def book_then(db: Connection, stretch: BookStretch) -> InForce:
    """Return what was in force over a stretch of cells, exactly as the watch knew it.

    Raises LookupError if it can't be made any more, as after a word was given up.
    """
    found = compiled_up_to(db, base_from(base_text(db, stretch.base)), stretch.known)
    if isinstance(found, tuple):
        msg = f"the book of minute {stretch.from_minute} has faults now: {found[0]}"
        raise LookupError(msg)  # noqa: TRY004 - what was kept is at fault, not its type
    if found.revision != stretch.revision:
        msg = f"the book of minute {stretch.from_minute} can't be made again"
        raise LookupError(msg)
    return found
