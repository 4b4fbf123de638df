"""Queries over packed days: what is in them, what is not yet, and what cells they leave."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from collector.stores.blocks import (
    DAY_MS,
    Columns,
    Slots,
    columns_of,
    joined,
    merged,
    slots_of,
    unpacked_real,
    unpacked_total,
    unpacked_whole,
)
from rules.model.reading import StoredReading

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

log = logging.getLogger(__name__)

_LEAST = -(2**63)
_GREATEST = 2**63 - 1
_BLOCK = "SELECT at_ms, value, sequence FROM block WHERE channel = ? AND day = ?"
_BLOCKS = """
    SELECT at_ms, value, sequence FROM block
    WHERE channel = ? AND day BETWEEN ? AND ? ORDER BY day"""
_ROWS = """
    SELECT at_ms, value, sequence FROM reading
    WHERE channel = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms"""
_WAITING = """
    SELECT b.channel, b.day, b.first_sequence, c.name
    FROM block b JOIN channel c ON c.id = b.channel
    WHERE b.last_sequence > ? ORDER BY b.first_sequence"""
_COARSE = """
    SELECT c.day, c.readings, c.given_up, coalesce(b.readings, 0),
           c.slot, c.count, c.lowest, c.highest, c.total
    FROM coarse_day c LEFT JOIN block b ON b.channel = c.channel AND b.day = c.day
    WHERE c.channel = ? AND c.day BETWEEN ? AND ? ORDER BY c.day"""


def day_of(at_ms: int) -> int:
    """Return the UTC day of an instant, in whole days since the epoch."""
    return at_ms // DAY_MS


def day_start_ms(day: int) -> int:
    """Return the first instant of a UTC day that 64 bits hold."""
    return min(max(day * DAY_MS, _LEAST), _GREATEST)


def block_at(db: sqlite3.Connection, channel: int, day: int) -> Columns | None:
    """Return a packed day; None where there is none."""
    row = db.execute(_BLOCK, (channel, day)).fetchone()
    return None if row is None else _columns_in(row)


def blocks_between(
    db: sqlite3.Connection, channel: int, start_ms: int, end_ms: int
) -> list[Columns]:
    """Return what packed days hold with start_ms <= at_ms < end_ms, day after day."""
    if end_ms <= start_ms:
        return []
    rows = db.execute(_BLOCKS, (channel, day_of(start_ms), day_of(end_ms - 1))).fetchall()
    found = [_columns_in(row) for row in rows]
    if found:
        found[0] = found[0].between(start_ms, end_ms)
        found[-1] = found[-1].between(start_ms, end_ms)
    return found


def rows_between(db: sqlite3.Connection, channel: int, start_ms: int, end_ms: int) -> Columns:
    """Return what is not packed with start_ms <= at_ms < end_ms."""
    return columns_of(db.execute(_ROWS, (channel, start_ms, end_ms)).fetchall())


def _columns_in(row: tuple[bytes, bytes, bytes]) -> Columns:
    return Columns(unpacked_whole(row[0]), unpacked_real(row[1]), unpacked_whole(row[2]))


def packed_since(db: sqlite3.Connection, sequence: int, most: int) -> list[StoredReading]:
    """Return the at most `most` packed readings that were kept first after `sequence`.

    Blocks are opened in the order of their first sequences, and no further than needed.
    """
    found: list[StoredReading] = []
    for channel, day, first_sequence, name in db.execute(_WAITING, (sequence,)).fetchall():
        if len(found) >= most and first_sequence > found[most - 1].sequence:
            break
        block = block_at(db, channel, day)
        if block is None:
            continue
        after = np.flatnonzero(block.sequence > sequence)
        found.extend(
            StoredReading(*row[:1], name, *row[1:])
            for row in zip(
                block.sequence[after].tolist(),
                block.at_ms[after].tolist(),
                block.value[after].tolist(),
                strict=True,
            )
        )
        found.sort(key=lambda reading: reading.sequence)
        del found[most:]
    return found


@dataclass(slots=True)
class _Past:
    """What is known of the past days of one batch of readings, each day looked up once."""

    db: sqlite3.Connection
    packed: dict[tuple[int, int], frozenset[int]]
    given_up: dict[tuple[int, int], bool]

    def holds(self, channel: int, at_ms: int) -> bool:
        key = (channel, day_of(at_ms))
        if key not in self.packed:
            block = block_at(self.db, *key)
            self.packed[key] = frozenset() if block is None else frozenset(block.at_ms.tolist())
        return at_ms in self.packed[key]

    def gave_up(self, channel: int, at_ms: int) -> bool:
        key = (channel, day_of(at_ms))
        if key not in self.given_up:
            self.given_up[key] = is_given_up(self.db, *key)
        return self.given_up[key]


def is_given_up(db: sqlite3.Connection, channel: int, day: int) -> bool:
    """Return whether the raw readings of a day have been given up."""
    row = db.execute(
        "SELECT given_up FROM coarse_day WHERE channel = ? AND day = ?", (channel, day)
    ).fetchone()
    return row is not None and bool(row[0])


def not_in_blocks(
    db: sqlite3.Connection, flat: Sequence[int | float], *, packed_before_ms: int, revive: bool
) -> list[int | float]:
    """Return those of channel, at_ms, value, channel, ... that no packed day holds.

    Readings of days given up are left out, unless `revive`: the caller knows them to be new.
    """
    past = _Past(db, {}, {})
    fresh: list[int | float] = []
    refused = 0
    for i in range(0, len(flat), 3):
        channel, at_ms = int(flat[i]), int(flat[i + 1])
        if at_ms < packed_before_ms:
            if past.holds(channel, at_ms):
                continue
            if not revive and past.gave_up(channel, at_ms):
                refused += 1
                continue
        fresh.extend(flat[i : i + 3])
    if refused:
        log.warning("readings_of_days_given_up readings=%d", refused)
    return fresh


def coarse_slots(
    db: sqlite3.Connection, channel: int, start_ms: int, end_ms: int, *, cell_ms: int
) -> Slots:
    """Return the cells of `cell_ms` between two instants that lie on their grid.

    Of a packed day the cells that were kept with it, unless readings have come to it since.
    """
    if end_ms <= start_ms:
        return merged([], cell_ms=cell_ms)
    loose = rows_between(db, channel, start_ms, end_ms)
    days = loose.at_ms // DAY_MS
    parts: list[Slots] = []
    counted: set[int] = set()
    for day, readings, given_up, in_block, *blobs in db.execute(
        _COARSE, (channel, day_of(start_ms), day_of(end_ms - 1))
    ).fetchall():
        whole_day = rows_between(db, channel, day_start_ms(day), day_start_ms(day + 1))
        if given_up:
            parts.append(slots_in(blobs))
        elif readings == in_block + whole_day.size:
            parts.append(slots_in(blobs))
            counted.add(day)
        else:
            block = block_at(db, channel, day)
            parts.append(slots_of(joined([*([block] if block else []), whole_day])))
            counted.add(day)
    left = np.isin(days, sorted(counted), invert=True)
    parts.append(slots_of(Columns(loose.at_ms[left], loose.value[left], loose.sequence[left])))
    found = merged(parts, cell_ms=cell_ms)
    inside = (found.start_ms >= start_ms) & (found.start_ms < end_ms)
    return Slots(
        found.start_ms[inside],
        found.count[inside],
        found.lowest[inside],
        found.highest[inside],
        found.total[inside],
    )


def slots_in(blobs: Sequence[bytes]) -> Slots:
    """Return the cells packed as slot, count, lowest, highest, total."""
    slot, count, lowest, highest, total = blobs
    return Slots(
        unpacked_whole(slot),
        unpacked_whole(count),
        unpacked_real(lowest),
        unpacked_real(highest),
        unpacked_total(total),
    )
