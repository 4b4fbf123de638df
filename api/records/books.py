"""Which state of the books the watch judged with, from which minute on: for a replay as it was.

Everything that people enter is only added to, so that the numbers of the newest that were known say
exactly what was known. The files may be edited; what they held is kept beside.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import delete, insert, select

from api.records.entries import Known
from api.records.tables import as_ms, file_bases, instant, watch_books

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection, Row

_LEVEL = 6


@dataclass(frozen=True, slots=True)
class BookStretch:
    """Cells from `from_minute` until before `to_minute` were judged with one state of the books.

    `to_minute` is None for the state in force. `revision` names it, `base` the files it stood on,
    `known` how far entries were known, and `taken_at` is when the first of the cells was closed.
    """

    from_minute: int
    to_minute: int | None
    revision: str
    base: str
    known: Known
    taken_at: datetime


def last_book(db: Connection) -> BookStretch | None:
    """Return what the newest cell was judged with; None if nothing is noted yet."""
    row = db.execute(
        select(watch_books).order_by(watch_books.c.from_minute.desc()).limit(1)
    ).first()
    return None if row is None else _stretch(row, None)


def note_book(
    db: Connection,
    from_minute: int,
    *,
    revision: str,
    base: str,
    base_text: str,
    known: Known,
    at: datetime,
) -> None:
    """Keep that cells are judged with a state of the books from one on, and what the files held."""
    here = select(file_bases.c.revision).where(file_bases.c.revision == base)
    if db.execute(here).first() is None:
        packed = zlib.compress(base_text.encode(), _LEVEL)
        db.execute(insert(file_bases).values(revision=base, text=packed, first_ms=as_ms(at)))
    db.execute(delete(watch_books).where(watch_books.c.from_minute == from_minute))
    db.execute(
        insert(watch_books).values(
            from_minute=from_minute,
            revision=revision,
            base=base,
            observations=known.observations,
            entries=known.entries,
            taken_ms=as_ms(at),
        )
    )


def books_between(db: Connection, first_minute: int, end_minute: int) -> tuple[BookStretch, ...]:
    """Return the stretches that cover the cells from `first_minute` until before `end_minute`.

    The first may have begun earlier. Of cells before the first note, and of cells that are not
    closed yet, nothing is known; the last stretch has no end.
    """
    rows = list(db.execute(select(watch_books).order_by(watch_books.c.from_minute)))
    ends = [*(row.from_minute for row in rows[1:]), None]
    return tuple(
        _stretch(row, end)
        for row, end in zip(rows, ends, strict=True)
        if row.from_minute < end_minute and (end is None or end > first_minute)
    )


def base_text(db: Connection, base: str) -> str:
    """Return what the files of a base held, as JSON. Raises LookupError if it is not kept."""
    kept = db.execute(select(file_bases.c.text).where(file_bases.c.revision == base))
    row = kept.one_or_none()
    if row is None:
        msg = f"nothing is kept of the files {base}"
        raise LookupError(msg)
    return zlib.decompress(row.text).decode()


def _stretch(row: Row[tuple[object, ...]], end: int | None) -> BookStretch:
    return BookStretch(
        from_minute=row.from_minute,
        to_minute=end,
        revision=row.revision,
        base=row.base,
        known=Known(row.observations, row.entries),
        taken_at=instant(row.taken_ms),
    )
