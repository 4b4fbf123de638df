"""Which sensors said that they are there, or had it said for them by their last will."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from collector.gate import PresenceWord
    from collector.stores.sqlite_file import SqliteFile


@dataclass(frozen=True, slots=True)
class Presence:
    """Whether a sensor is there by its own word, since when, and when it last said so.

    Instants are milliseconds since the epoch, UTC, by our own clock.
    """

    up: bool
    since_ms: int
    heard_ms: int


class PresenceLog:
    """The last word of each sensor. It outlives a restart: a broker says it once only."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    def add(self, words: Sequence[PresenceWord]) -> None:
        """Keep what was said, in order; return when synced, else raise."""
        if not words:
            return
        with self._file.writing() as db:
            db.executemany(
                "INSERT INTO presence VALUES (?, ?, ?, ?) ON CONFLICT (sensor) DO UPDATE SET "
                "since_ms = CASE WHEN up = excluded.up THEN since_ms ELSE excluded.since_ms END, "
                "up = excluded.up, heard_ms = excluded.heard_ms",
                [(word.sensor, int(word.up), word.at_ms, word.at_ms) for word in words],
            )

    def current(self) -> Mapping[str, Presence]:
        """Return the last word of each sensor that ever said one."""
        with self._file.reading() as db:
            return {
                sensor: Presence(bool(up), since_ms, heard_ms)
                for sensor, up, since_ms, heard_ms in db.execute("SELECT * FROM presence")
            }
