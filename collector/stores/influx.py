"""Readings kept in the local file first and in InfluxDB for good: a ReadingStore of the two.

The local file makes the promise: it syncs, orders and refuses doubles. It keeps the newest days
(or all of them, as the settings say), and cells for ever. Days it has given up come from InfluxDB.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from collector.stores.base import Series
from collector.stores.blocks import Columns, columns_of, joined
from collector.stores.days import day_of, day_start_ms
from collector.stores.sqlite import readings_in

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from collector.stores.base import CoarseCell
    from collector.stores.influx_archive import InfluxArchive
    from collector.stores.sqlite import SqliteStore
    from collector.stores.sqlite_file import SqliteFile
    from rules.model.reading import Reading, StoredReading

_GIVEN_UP = """
    SELECT d.day FROM coarse_day d JOIN channel c ON c.id = d.channel
    WHERE d.given_up AND c.name = ? AND d.day BETWEEN ? AND ? ORDER BY d.day"""
_ASIDE = """
    SELECT at_ms, value, sequence FROM set_aside
    WHERE channel = ? AND at_ms >= ? AND at_ms < ?"""


class InfluxStore:
    """A ReadingStore whose local file may give up days because an archive keeps them.

    A Spool takes what is kept here to the archive. Only reads that reach back to days given up ask
    the archive, and only those raise StoreFailure while it is away.
    """

    def __init__(self, local: SqliteStore, archive: InfluxArchive) -> None:
        self._local = local
        self._archive = archive

    @property
    def file(self) -> SqliteFile:
        """The local file, for the log of rejects and for upkeep."""
        return self._local.file

    def keep(self, readings: Sequence[Reading]) -> None:
        """Return when all of `readings` are synced to the local disk; first value of a key wins.

        Readings of days given up are looked for in the archive, and StoreFailure is raised while
        it can't be asked. Those that it lacks are kept.
        """
        if not readings:
            return
        old = self._local.of_days_given_up(readings)
        fresh = self._not_archived(old) if old else []
        with self._local.file.writing():
            self._local.keep_revived(fresh)
            if old:
                past = {(one.channel, one.at_ms) for one in old}
                readings = [one for one in readings if (one.channel, one.at_ms) not in past]
            self._local.keep(readings)

    def _not_archived(self, readings: Sequence[Reading]) -> list[Reading]:
        days = {(one.channel, day_of(one.at_ms)) for one in readings}
        there = {
            (channel, at_ms)
            for channel, day in days
            for at_ms in self._past(
                channel, day_start_ms(day), day_start_ms(day + 1)
            ).at_ms.tolist()
        }
        return [one for one in readings if (one.channel, one.at_ms) not in there]

    def since(self, sequence: int, most: int) -> Sequence[StoredReading]:
        """Return at most `most` readings kept after `sequence`, in the order of keeping."""
        return self._local.since(sequence, most)

    def span(self, channels: Sequence[str], start_ms: int, end_ms: int) -> Sequence[StoredReading]:
        """Return readings of `channels` with start_ms <= at_ms < end_ms, by (channel, at_ms)."""
        found: list[StoredReading] = []
        for channel in sorted(set(channels)):
            found.extend(readings_in(channel, self._columns(channel, start_ms, end_ms)))
        return found

    def series(self, channels: Sequence[str], start_ms: int, end_ms: int) -> Mapping[str, Series]:
        """Return the readings of channels with start_ms <= at_ms < end_ms as arrays."""
        found: dict[str, Series] = {}
        for channel in sorted(set(channels)):
            columns = self._columns(channel, start_ms, end_ms)
            found[channel] = Series(columns.at_ms, columns.value)
        return found

    def coarse(
        self, channels: Sequence[str], start_ms: int, end_ms: int, *, cell_min: int
    ) -> Sequence[CoarseCell]:
        """Return the cells with start_ms <= cell start < end_ms; the local file has them all."""
        return self._local.coarse(channels, start_ms, end_ms, cell_min=cell_min)

    def latest(self) -> Mapping[str, StoredReading]:
        """Return for every channel ever kept its reading with the largest at_ms."""
        return self._local.latest()

    def last_sequence(self) -> int:
        """Return the sequence of the reading kept last; 0 when nothing was ever kept."""
        return self._local.last_sequence()

    def count(self) -> int:
        """Return how many readings are kept, here or in the archive."""
        return self._local.count()

    def close(self) -> None:
        """Let go of both."""
        self._local.close()
        self._archive.close()

    def _columns(self, channel: str, start_ms: int, end_ms: int) -> Columns:
        local = self._local.columns(channel, start_ms, end_ms)
        past = self._past(channel, start_ms, end_ms)
        if not past.size:
            return local
        # A reading that came to a day given up is on its way: here and, a moment later, there too.
        # So is a day that is given up right now: that is why the local file is asked first.
        return joined([local, past.where(np.isin(past.at_ms, local.at_ms, invert=True))])

    def _past(self, channel: str, start_ms: int, end_ms: int) -> Columns:
        """Return what the archive, or the readings it refused, hold of days given up."""
        if end_ms <= start_ms:
            return joined([])
        with self._local.file.snapshot() as db:
            bound = (channel, day_of(start_ms), day_of(end_ms - 1))
            days = [day for (day,) in db.execute(_GIVEN_UP, bound)]
            aside = columns_of(db.execute(_ASIDE, (channel, start_ms, end_ms)).fetchall())
        if not days:
            return joined([])
        parts = [
            self._archive.columns(
                channel,
                max(start_ms, day_start_ms(first)),
                min(end_ms, day_start_ms(last + 1)),
            )
            for first, last in _runs(days)
        ]
        return joined([*parts, aside])


def _runs(days: Sequence[int]) -> list[tuple[int, int]]:
    """Return the first and last of each stretch of days that follow each other."""
    runs: list[tuple[int, int]] = []
    for day in days:
        if runs and day == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], day)
        else:
            runs.append((day, day))
    return runs
