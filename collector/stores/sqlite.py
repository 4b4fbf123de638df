"""Readings in one SQLite file: recent ones as rows, older days packed, days given up as cells."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from collector.stores.base import CoarseCell, Series, checked_cell_min
from collector.stores.blocks import joined
from collector.stores.days import (
    blocks_between,
    coarse_slots,
    day_of,
    not_in_blocks,
    packed_since,
    rows_between,
)
from collector.stores.sqlite_file import SqliteFile
from rules.model.reading import MINUTE_MS, StoredReading

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from collector.stores.blocks import Columns
    from rules.model.reading import Reading

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
_CHANNELS = """
    SELECT id, name FROM channel WHERE name IN (SELECT value FROM json_each(?)) ORDER BY name"""
_GIVEN_UP = """
    SELECT c.name, d.day FROM channel c JOIN coarse_day d ON d.channel = c.id
    WHERE d.given_up AND c.name IN (SELECT value FROM json_each(?))"""
# A channel's newest reading is never packed nor given up, so rows alone tell it.
_LATEST = """
    SELECT r.sequence, c.name, r.at_ms, r.value FROM channel c JOIN reading r ON r.sequence =
      (SELECT sequence FROM reading WHERE channel = c.id ORDER BY at_ms DESC LIMIT 1)"""


class SqliteStore:
    """A ReadingStore in one file. Give `file` on to a RejectLog so that both commit together."""

    def __init__(self, path: Path) -> None:
        self.file = SqliteFile(path)

    def keep(self, readings: Sequence[Reading]) -> None:
        """Return when all of `readings` are synced to disk; first value of a key wins."""
        self._keep(readings, revive=False)

    def keep_revived(self, readings: Sequence[Reading]) -> None:
        """Keep readings of days given up that the caller knows never to have been kept."""
        self._keep(readings, revive=True)

    def of_days_given_up(self, readings: Sequence[Reading]) -> Sequence[Reading]:
        """Return those readings whose day's raw readings have been given up."""
        with self.file.snapshot() as db:
            before_ms = db.execute("SELECT packed_before_ms FROM reading_count").fetchone()[0]
            if before_ms is None or min(reading.at_ms for reading in readings) >= before_ms:
                return ()
            given_up = set(db.execute(_GIVEN_UP, (json.dumps(_names_in(readings)),)))
        return [one for one in readings if (one.channel, day_of(one.at_ms)) in given_up]

    def _keep(self, readings: Sequence[Reading], *, revive: bool) -> None:
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
            packed_before_ms = db.execute("SELECT packed_before_ms FROM reading_count").fetchone()
            if packed_before_ms[0] is not None and min(flat[1::3]) < packed_before_ms[0]:
                flat = not_in_blocks(db, flat, packed_before_ms=packed_before_ms[0], revive=revive)
            kept = _insert(db, flat)
            db.execute("UPDATE reading_count SET kept = kept + ?", (kept,))

    def since(self, sequence: int, most: int) -> Sequence[StoredReading]:
        """Return at most `most` readings kept after `sequence`, in the order of keeping."""
        with self.file.snapshot() as db:
            rows = [StoredReading(*row) for row in db.execute(_SINCE, (sequence, most))]
            packed = packed_since(db, sequence, most)
        if not packed:
            return rows
        return sorted([*rows, *packed], key=_by_sequence)[:most]

    def span(self, channels: Sequence[str], start_ms: int, end_ms: int) -> Sequence[StoredReading]:
        """Return readings of `channels` with start_ms <= at_ms < end_ms, by (channel, at_ms)."""
        found: list[StoredReading] = []
        with self.file.snapshot() as db:
            for channel, name in db.execute(_CHANNELS, (json.dumps(list(channels)),)).fetchall():
                found.extend(readings_in(name, _columns(db, channel, start_ms, end_ms)))
        return found

    def columns(self, channel: str, start_ms: int, end_ms: int) -> Columns:
        """Return the readings of one channel with start_ms <= at_ms < end_ms, sequences too."""
        with self.file.snapshot() as db:
            known = db.execute(_CHANNELS, (json.dumps([channel]),)).fetchone()
            return joined([]) if known is None else _columns(db, known[0], start_ms, end_ms)

    def series(self, channels: Sequence[str], start_ms: int, end_ms: int) -> Mapping[str, Series]:
        """Return the readings of channels with start_ms <= at_ms < end_ms as arrays."""
        nothing = joined([])
        found = dict.fromkeys(channels, Series(nothing.at_ms, nothing.value))
        with self.file.snapshot() as db:
            for channel, name in db.execute(_CHANNELS, (json.dumps(list(channels)),)).fetchall():
                columns = _columns(db, channel, start_ms, end_ms)
                found[name] = Series(columns.at_ms, columns.value)
        return found

    def coarse(
        self, channels: Sequence[str], start_ms: int, end_ms: int, *, cell_min: int
    ) -> Sequence[CoarseCell]:
        """Return the cells with start_ms <= cell start < end_ms, by (channel, start)."""
        cell_ms = checked_cell_min(cell_min) * MINUTE_MS
        first_ms = -(-start_ms // cell_ms) * cell_ms
        after_ms = -(-end_ms // cell_ms) * cell_ms
        found: list[CoarseCell] = []
        with self.file.snapshot() as db:
            for channel, name in db.execute(_CHANNELS, (json.dumps(list(channels)),)).fetchall():
                slots = coarse_slots(db, channel, first_ms, after_ms, cell_ms=cell_ms)
                found.extend(
                    CoarseCell(name, *cell)
                    for cell in zip(
                        slots.start_ms.tolist(),
                        slots.count.tolist(),
                        slots.lowest.tolist(),
                        slots.highest.tolist(),
                        (slots.totals / slots.count).tolist(),
                        strict=True,
                    )
                )
        return found

    def latest(self) -> Mapping[str, StoredReading]:
        """Return for every channel ever kept its reading with the largest at_ms."""
        with self.file.reading() as db:
            return {row[1]: StoredReading(*row) for row in db.execute(_LATEST)}

    def last_sequence(self) -> int:
        """Return the sequence of the reading kept last; 0 when nothing was ever kept."""
        with self.file.reading() as db:
            # The last reading kept is never packed nor given up either.
            return int(db.execute("SELECT coalesce(max(sequence), 0) FROM reading").fetchone()[0])

    def count(self) -> int:
        """Return how many readings are kept."""
        with self.file.reading() as db:
            return int(db.execute("SELECT kept FROM reading_count").fetchone()[0])

    def close(self) -> None:
        """Close the file."""
        self.file.close()


def readings_in(channel: str, columns: Columns) -> list[StoredReading]:
    """Return columns as readings of one channel."""
    return [
        StoredReading(sequence, channel, at_ms, value)
        for sequence, at_ms, value in zip(
            columns.sequence.tolist(), columns.at_ms.tolist(), columns.value.tolist(), strict=True
        )
    ]


def _names_in(readings: Sequence[Reading]) -> list[str]:
    return sorted({reading.channel for reading in readings})


def _by_sequence(reading: StoredReading) -> int:
    return reading.sequence


def _columns(db: sqlite3.Connection, channel: int, start_ms: int, end_ms: int) -> Columns:
    packed = blocks_between(db, channel, start_ms, end_ms)
    loose = rows_between(db, channel, start_ms, end_ms)
    return joined([*packed, loose] if loose.size else packed)


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
