"""Packs past days into blocks and gives up old ones, a small transaction at a time.

A step reads and encodes outside the transaction, then writes blocks and cells and removes the rows
in one: killed anywhere, a reading is either a row or in a block. What arrives meanwhile has a
greater sequence than all that was read, stays a row, and is packed by a later step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.stores.base import StoreFailure
from collector.stores.blocks import DAY_MS, SLOT_MS, joined, merged, packed, slots_of
from collector.stores.days import (
    block_at,
    day_of,
    day_start_ms,
    is_given_up,
    rows_between,
    slots_in,
)

if TYPE_CHECKING:
    import sqlite3

    from collector.stores.blocks import Columns, Slots
    from collector.stores.sqlite_file import SqliteFile

MOST_ROWS_A_STEP = 10_000
MOST_DAYS_A_STEP = 200

# The newest reading of each channel, and the last one kept, always stay rows: `latest` and
# `last_sequence` then need no look into blocks, and survive every giving up.
_OLDEST = """
    SELECT r.at_ms FROM reading r
    WHERE r.channel = ?1 AND r.at_ms < ?2
      AND r.at_ms < (SELECT max(at_ms) FROM reading WHERE channel = ?1)
      AND r.sequence < (SELECT max(sequence) FROM reading)
    ORDER BY r.at_ms LIMIT 1"""
_KEPT_OUT = """
    SELECT (SELECT max(at_ms) FROM reading WHERE channel = ?), max(sequence) FROM reading"""
_IDS = "SELECT id FROM channel ORDER BY id"
_TAKE_OUT = """
    DELETE FROM reading
    WHERE channel = ? AND at_ms >= ? AND at_ms < ? AND at_ms < ? AND sequence < ?"""
_OLD_BLOCKS = """
    SELECT b.day, b.readings FROM block b
    WHERE b.channel = ?1 AND b.day < ?2 AND b.last_sequence <= ?3 AND NOT EXISTS (
      SELECT 1 FROM reading r
      WHERE r.channel = ?1 AND r.at_ms >= b.day * 86400000 AND r.at_ms < (b.day + 1) * 86400000)
    ORDER BY b.day LIMIT ?4"""
_CELLS = """
    SELECT slot, count, lowest, highest, total FROM coarse_day WHERE channel = ? AND day = ?"""
_SIZE = "SELECT readings FROM block WHERE channel = ? AND day = ?"
_PUT_BLOCK = "INSERT OR REPLACE INTO block VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
_PUT_CELLS = "INSERT OR REPLACE INTO coarse_day VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"


@dataclass(frozen=True, slots=True)
class _PackedDay:
    """One channel's day, ready to be written; `before` readings were in its block already.

    `rows` readings go in: those with instants before `newest_ms` and sequences before `last`.
    """

    channel: int
    day: int
    before: int
    rows: int
    newest_ms: int
    last: int
    block: tuple[object, ...]
    cells: tuple[object, ...]


def pack_some(file: SqliteFile, *, before_ms: int) -> int:
    """Pack a few channels' oldest day that ended by `before_ms`; return how many rows went in.

    Returns 0 once there is nothing left to pack.
    """
    before_ms = before_ms - before_ms % DAY_MS
    with file.snapshot() as db:
        ready = _ready(db, before_ms)
    if not ready:
        return 0
    with file.writing() as db:
        gone = sum(_put(db, one) for one in ready)
        end_ms = day_start_ms(max(one.day for one in ready) + 1)
        db.execute(
            "UPDATE reading_count SET packed_before_ms = max(coalesce(packed_before_ms, ?1), ?1)",
            (end_ms,),
        )
    return gone


def _ready(db: sqlite3.Connection, before_ms: int) -> list[_PackedDay]:
    days: dict[int, list[int]] = {}
    for (channel,) in db.execute(_IDS).fetchall():
        oldest = db.execute(_OLDEST, (channel, before_ms)).fetchone()
        if oldest is not None and not is_given_up(db, channel, day_of(oldest[0])):
            days.setdefault(day_of(oldest[0]), []).append(channel)
    ready: list[_PackedDay] = []
    if days:
        day = min(days)
        for channel in days[day]:
            one = _packed_day(db, channel, day)
            if ready and sum(each.rows for each in ready) + one.rows > MOST_ROWS_A_STEP:
                break
            ready.append(one)
    return ready


def _packed_day(db: sqlite3.Connection, channel: int, day: int) -> _PackedDay:
    loose = rows_between(db, channel, day_start_ms(day), day_start_ms(day + 1))
    newest_ms, last = db.execute(_KEPT_OUT, (channel,)).fetchone()
    into = loose.where((loose.at_ms < newest_ms) & (loose.sequence < last))
    old = block_at(db, channel, day)
    block = joined([into] if old is None else [old, into])
    return _PackedDay(
        channel,
        day,
        before=0 if old is None else old.size,
        rows=into.size,
        newest_ms=newest_ms,
        last=last,
        block=_block_row(channel, day, block),
        cells=_cells_row(channel, day, slots_of(block), given_up=False),
    )


def _block_row(channel: int, day: int, block: Columns) -> tuple[object, ...]:
    return (
        channel,
        day,
        block.size,
        int(block.sequence.min()),
        int(block.sequence.max()),
        packed(block.at_ms),
        packed(block.value),
        packed(block.sequence),
    )


def _cells_row(channel: int, day: int, slots: Slots, *, given_up: bool) -> tuple[object, ...]:
    return (
        channel,
        day,
        int(slots.count.sum()),
        int(given_up),
        packed(slots.start_ms),
        packed(slots.count),
        packed(slots.lowest),
        packed(slots.highest),
        packed(slots.total),
    )


def _put(db: sqlite3.Connection, one: _PackedDay) -> int:
    """Write a packed day and take its rows out; return how many. StoreFailure if it has changed."""
    found = db.execute(_SIZE, (one.channel, one.day)).fetchone()
    start_ms, end_ms = day_start_ms(one.day), day_start_ms(one.day + 1)
    bound = (one.channel, start_ms, end_ms, one.newest_ms, one.last)
    taken = db.execute(_TAKE_OUT, bound).rowcount
    if taken != one.rows or (0 if found is None else found[0]) != one.before:
        msg = "two programs pack the same readings file. Let only one run; nothing was lost"
        raise StoreFailure(msg)
    db.execute(_PUT_BLOCK, one.block)
    db.execute(_PUT_CELLS, one.cells)
    return taken


def give_up_some(
    file: SqliteFile, *, before_ms: int, safe_sequence: int, kept_elsewhere: bool
) -> int:
    """Give up the raw readings of a few past days; return how many days, 0 when all is done.

    Parameters
    ----------
    before_ms
        Only days that ended by then.
    safe_sequence
        Only days whose readings all have sequences up to this one: others may still be asked for.
    kept_elsewhere
        Another place keeps what is given up here, so it goes on being counted.
    """
    before_day = day_of(before_ms)
    done = 0
    with file.writing() as db:
        for (channel,) in db.execute(_IDS).fetchall():
            bound = (channel, before_day, safe_sequence, MOST_DAYS_A_STEP - done)
            for day, readings in db.execute(_OLD_BLOCKS, bound).fetchall():
                key = (channel, day)
                db.execute("DELETE FROM block WHERE channel = ? AND day = ?", key)
                db.execute("UPDATE coarse_day SET given_up = 1 WHERE channel = ? AND day = ?", key)
                if not kept_elsewhere:
                    db.execute("UPDATE reading_count SET kept = kept - ?", (readings,))
                done += 1
            if done >= MOST_DAYS_A_STEP:
                break
    return done


def fold_revived(file: SqliteFile, *, safe_sequence: int) -> int:
    """Add readings that came to days given up to the cells of those days; return how many.

    Each is counted once: it leaves the rows in the transaction that counts it.
    """
    folded = 0
    with file.writing() as db:
        for (channel,) in db.execute(_IDS).fetchall():
            oldest = db.execute(_OLDEST, (channel, 2**63 - 1)).fetchone()
            if oldest is not None and is_given_up(db, channel, day_of(oldest[0])):
                folded += _fold(db, channel, day_of(oldest[0]), safe_sequence)
    return folded


def _fold(db: sqlite3.Connection, channel: int, day: int, safe_sequence: int) -> int:
    start_ms, end_ms = day_start_ms(day), day_start_ms(day + 1)
    newest_ms, last = db.execute(_KEPT_OUT, (channel,)).fetchone()
    last = min(last, safe_sequence + 1)
    loose = rows_between(db, channel, start_ms, end_ms)
    goes = loose.where((loose.at_ms < newest_ms) & (loose.sequence < last))
    if not goes.size:
        return 0
    old = slots_in(db.execute(_CELLS, (channel, day)).fetchone())
    cells = merged([old, slots_of(goes)], cell_ms=SLOT_MS)
    db.execute(_PUT_CELLS, _cells_row(channel, day, cells, given_up=True))
    db.execute(_TAKE_OUT, (channel, start_ms, end_ms, newest_ms, last))
    return goes.size
