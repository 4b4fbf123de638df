"""Who speaks without being in the site file: kept in a bounded list until a person adopts it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zlib import crc32

from collector.rejects import writable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.gate import Unclaimed
    from collector.stores.sqlite_file import SqliteFile

MOST_STEADY = 200
MOST_NEW = 100
MOST_A_BATCH = 100
SAMPLE_BYTES = 8 * 1024
_TOPIC_HEAD = 512
_MAKE_ROOM = """
    DELETE FROM waiting
    WHERE id NOT IN (SELECT id FROM waiting
                     ORDER BY last_ms > ? DESC, count DESC, last_ms DESC LIMIT ?)
      AND id NOT IN (SELECT id FROM waiting ORDER BY first_ms DESC, id DESC LIMIT ?)"""
_DAY_MS = 24 * 3600 * 1000


@dataclass(frozen=True, slots=True)
class Waiting:
    """A topic, or a device that a shared topic names, which no sensor of the site file has.

    `device` is empty for the whole topic. `sample` is the head of the newest message; `size` its
    whole length in bytes. Instants are milliseconds since the epoch, UTC. `adopted_ms` is set once
    it was written into the site file, where a running graftvigil finds it.
    """

    topic: str
    device: str
    sample: bytes
    size: int
    first_ms: int
    last_ms: int
    count: int
    adopted_ms: int | None


class WaitingList:
    """At most `MOST_STEADY` that speak most, and `MOST_NEW` that were heard first last.

    So neither a storm of invented topics drives out a device that speaks each minute, nor do many
    old ones keep a new device from being seen.
    """

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    def add(self, unclaimed: Sequence[Unclaimed]) -> None:
        """Count what was heard and keep the newest sample of each; return when synced, else raise.

        Of one batch at most `MOST_A_BATCH` are written: those listed already, then any.
        """
        if not unclaimed:
            return
        heard: dict[tuple[str, str], list[Unclaimed]] = {}
        for one in unclaimed:
            heard.setdefault((one.topic, one.device), []).append(one)
        ranked = self._ranked(heard)[:MOST_A_BATCH]
        rows = [
            (
                writable(topic, _TOPIC_HEAD),
                writable(device, _TOPIC_HEAD),
                said[-1].payload[:SAMPLE_BYTES],
                len(said[-1].payload),
                min(one.arrived_ms for one in said),
                max(one.arrived_ms for one in said),
                len(said),
            )
            for (topic, device), said in ranked
        ]
        newest_ms = max(row[5] for row in rows)
        with self._file.writing() as db:
            db.executemany(
                "INSERT INTO waiting (topic, device, sample, size, first_ms, last_ms, count) "
                "VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (topic, device) DO UPDATE SET "
                "sample = excluded.sample, size = excluded.size, last_ms = excluded.last_ms, "
                "count = count + excluded.count",
                rows,
            )
            (kept,) = db.execute("SELECT count(*) FROM waiting").fetchone()
            if kept > MOST_STEADY + MOST_NEW:
                db.execute(_MAKE_ROOM, (newest_ms - _DAY_MS, MOST_STEADY, MOST_NEW))

    def _ranked(
        self, heard: dict[tuple[str, str], list[Unclaimed]]
    ) -> list[tuple[tuple[str, str], list[Unclaimed]]]:
        if len(heard) <= MOST_A_BATCH:
            return list(heard.items())
        with self._file.reading() as db:
            known = set(db.execute("SELECT topic, device FROM waiting"))

        def rank(item: tuple[tuple[str, str], list[Unclaimed]]) -> tuple[bool, int, int]:
            (topic, device), said = item
            # Drawn anew in every batch, so that whoever goes on speaking comes in soon.
            drawn = crc32(f"{topic} {device} {said[-1].arrived_ms}".encode(errors="replace"))
            return (topic, device) not in known, -len(said), drawn

        return sorted(heard.items(), key=rank)

    def listed(self) -> Sequence[Waiting]:
        """Return all that wait, those heard last first."""
        query = (
            "SELECT topic, device, sample, size, first_ms, last_ms, count, adopted_ms "
            "FROM waiting ORDER BY last_ms DESC, topic, device"
        )
        with self._file.reading() as db:
            return [Waiting(*row) for row in db.execute(query)]

    def note_adopted(self, of: Sequence[tuple[str, str]], *, at_ms: int) -> None:
        """Note that topics with their devices were written into the site file."""
        with self._file.writing() as db:
            db.executemany(
                "UPDATE waiting SET adopted_ms = ? WHERE topic = ? AND device = ?",
                [(at_ms, topic, device) for topic, device in of],
            )
