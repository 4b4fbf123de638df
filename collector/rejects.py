"""The log of refused messages that the technician reads. Bounded, whatever arrives."""

from __future__ import annotations

from collections import Counter
from enum import StrEnum
from typing import TYPE_CHECKING

from rules.model.reading import Reject

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from collector.stores.sqlite_file import SqliteFile

MOST_KEPT = 10_000
MOST_A_BATCH = 100
PAYLOAD_HEAD = 200
_TOPIC_HEAD = 512
_TEXT_HEAD = 300


class Kind(StrEnum):
    """What was wrong. A reject's problem starts with one of these, then says the details."""

    UNKNOWN_TOPIC = "unknown topic"
    UNKNOWN_DEVICE = "unknown device"
    TOO_LARGE = "too large"
    NOT_JSON = "not JSON"
    NOT_OBJECT = "not an object"
    NOT_LIST = "not a list"
    NOT_SENML = "not SenML"
    NOT_LINE = "not line protocol"
    NOT_PRESENCE = "not up or down"
    NOT_ALLOWED = "not allowed"
    PATH_MISSING = "path missing"
    NOT_NUMBER = "not a number"
    NOT_FINITE = "not finite"
    WRONG_UNIT = "wrong unit"
    OUT_OF_RANGE = "out of range"
    BAD_TIME = "bad time"
    CLOCK_AHEAD = "clock ahead"
    CLOCK_BEHIND = "clock behind"
    OLD_COPY = "old copy"
    FILE_REFUSED = "file refused"
    ROWS_REFUSED = "rows of a file refused"


def problem(kind: Kind, details: str) -> str:
    """Return the problem text of a reject: its kind, then the details.

    >>> problem(Kind.NOT_FINITE, "the value is NaN")
    'not finite: the value is NaN'
    """
    return f"{kind}: {details}"


def kind_of(reject: Reject) -> str:
    """Return what kind of problem a reject has; its counts are kept by this word."""
    return reject.problem.partition(":")[0][:40]


def writable(text: str, most: int) -> str:
    """Return the head of a text without halves of characters, which no database takes."""
    return text[:most].encode("utf-8", errors="backslashreplace").decode("utf-8")


def readable(payload: bytes) -> str:
    r"""Return the head of a payload as text that is safe to print: nothing but visible characters.

    >>> readable(b'{"t": 1}\x1b[2J\xff')
    '{"t": 1}\\x1b[2J\\xff'
    """
    head = payload[:PAYLOAD_HEAD].decode("utf-8", errors="backslashreplace")
    shown = "".join(
        mark if mark.isprintable() else mark.encode("unicode_escape").decode("ascii")
        for mark in head
    )
    return shown + ("…" if len(payload) > PAYLOAD_HEAD else "")


class RejectLog:
    """The newest refused messages, and how many there ever were of each kind.

    Of one batch at most `MOST_A_BATCH` are written out, so that a storm of bad messages costs
    little time; all are counted. At most `MOST_KEPT` are kept, so that it costs little disk.
    """

    def __init__(self, file: SqliteFile) -> None:
        self.file = file

    def add(self, rejects: Sequence[Reject]) -> None:
        """Count all of `rejects` and keep the newest; return when synced, else raise."""
        if not rejects:
            return
        counted = Counter(kind_of(reject) for reject in rejects)
        named = [one for one in rejects if one.sensor]
        of_sensor = Counter((one.sensor, kind_of(one)) for one in named)
        last_ms = {(one.sensor, kind_of(one)): one.at_ms for one in named}
        rows = [
            (
                reject.at_ms,
                writable(reject.topic, _TOPIC_HEAD),
                reject.payload[:PAYLOAD_HEAD],
                writable(reject.field, _TEXT_HEAD),
                writable(reject.problem, _TEXT_HEAD),
                writable(reject.fix, _TEXT_HEAD),
                reject.sensor,
            )
            for reject in rejects[-MOST_A_BATCH:]
        ]
        with self.file.writing() as db:
            db.executemany(
                "INSERT INTO reject (at_ms, topic, payload, field, problem, fix, sensor) "
                "VALUES (?, ?, ?, ?, ?, ?, ?)",
                rows,
            )
            db.execute(
                "DELETE FROM reject WHERE id <= (SELECT max(id) FROM reject) - ?", (MOST_KEPT,)
            )
            db.executemany(
                "INSERT INTO reject_count VALUES (?, ?) "
                "ON CONFLICT (kind) DO UPDATE SET count = count + excluded.count",
                counted.items(),
            )
            db.executemany(
                "INSERT INTO reject_of_sensor VALUES (?, ?, ?, ?) "
                "ON CONFLICT (sensor, kind) DO UPDATE "
                "SET count = count + excluded.count, last_ms = excluded.last_ms",
                [(*key, count, last_ms[key]) for key, count in of_sensor.items()],
            )

    def newest(self, most: int) -> Sequence[Reject]:
        """Return at most `most` rejects, the newest first. Payloads are cut to their head."""
        return [one for _, one in self.page(most)]

    def page(self, most: int, *, before: int | None = None) -> Sequence[tuple[int, Reject]]:
        """Return the same with the number of each, from before a number on; None: from the last."""
        query = (
            "SELECT id, at_ms, topic, payload, field, problem, fix, sensor "
            "FROM reject WHERE id < ? ORDER BY id DESC LIMIT ?"
        )
        after = 2**63 - 1 if before is None else before
        with self.file.reading() as db:
            return [(row[0], Reject(*row[1:])) for row in db.execute(query, (after, most))]

    def counts(self) -> Mapping[str, int]:
        """Return how many rejects there ever were of each kind of problem."""
        with self.file.reading() as db:
            return dict(db.execute("SELECT kind, count FROM reject_count ORDER BY kind"))

    def of_sensors(self) -> Mapping[str, Mapping[str, int]]:
        """Return for each sensor how many rejects it ever had of each kind of problem."""
        found: dict[str, dict[str, int]] = {}
        query = "SELECT sensor, kind, count FROM reject_of_sensor ORDER BY count DESC, kind"
        with self.file.reading() as db:
            for sensor, kind, count in db.execute(query):
                found.setdefault(sensor, {})[kind] = count
        return found
