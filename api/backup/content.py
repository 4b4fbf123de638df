"""What tables hold, as numbers that can be compared: whichever file or database they lie in.

The digest of a table is the sum of the digests of its rows, so it does not depend on the order in
which a database hands them out, and of a table in SQLite and in PostgreSQL it is the same.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Iterable, Mapping, Sequence

_WHOLE = 1 << 256
_AS_THEY_ARE = frozenset({int, float, str, type(None)})
_ROWS_BETWEEN_LOOKS = 20_000


@dataclass(frozen=True, slots=True)
class TableContent:
    """How many rows a table holds, and the digest of all of them, in hexadecimal."""

    rows: int
    digest: str


@dataclass(slots=True)
class Counting:
    """Counts rows as they go by."""

    rows: int = 0
    _total: int = field(default=0, repr=False)

    def take(self, row: Sequence[object]) -> None:
        """Count one row, whose values come in the order of the columns' names."""
        plain = tuple(row)
        if not _AS_THEY_ARE.issuperset(map(type, plain)):
            plain = tuple(one if type(one) in _AS_THEY_ARE else _plain(one) for one in plain)
        digest = hashlib.sha256(ascii(plain).encode("ascii")).digest()
        self._total += int.from_bytes(digest, "big")
        self.rows += 1

    @property
    def content(self) -> TableContent:
        """What has gone by."""
        return TableContent(self.rows, f"{self._total % _WHOLE:064x}")


def _plain(value: object) -> object:
    """Return a value so that it is written alike wherever it comes from."""
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, bytes | memoryview):
        return ("bytes", hashlib.sha256(value).hexdigest())
    msg = f"a value of the type {type(value).__name__} is in no table of ours"
    raise TypeError(msg)


def content_of(rows: Iterable[Sequence[object]], *, look: Callable[[], None]) -> TableContent:
    """Return what rows hold; `look` is called now and then, and may raise to end it."""
    counting = Counting()
    for row in rows:
        counting.take(row)
        if counting.rows % _ROWS_BETWEEN_LOOKS == 0:
            look()
    return counting.content


def sqlite_tables(db: sqlite3.Connection) -> Mapping[str, tuple[str, ...]]:
    """Return the tables of a SQLite file with their columns, both in the order of their names.

    With them the counters from which numbers are given that are never to be given twice.
    """
    named = (
        "SELECT name FROM sqlite_master WHERE type = 'table' "
        "AND (name NOT LIKE 'sqlite\\_%' ESCAPE '\\' OR name = 'sqlite_sequence') ORDER BY name"
    )
    names = [name for (name,) in db.execute(named)]
    columns = "SELECT name FROM pragma_table_info(?) ORDER BY name"
    return {name: tuple(one for (one,) in db.execute(columns, (name,))) for name in names}


def sqlite_content(
    db: sqlite3.Connection, *, look: Callable[[], None]
) -> Mapping[str, TableContent]:
    """Return what every table of a SQLite file holds."""
    found = {}
    for name, columns in sqlite_tables(db).items():
        listed = ", ".join(quoted(one) for one in columns)
        rows = db.execute(f"SELECT {listed} FROM {quoted(name)}")  # noqa: S608  # names of ours
        found[name] = content_of(rows, look=look)
        look()
    return found


def quoted(name: str) -> str:
    """Return a name as it stands in a statement.

    >>> quoted("by")
    '"by"'
    """
    return '"' + name.replace('"', '""') + '"'


def differences(
    expected: Mapping[str, TableContent], found: Mapping[str, TableContent]
) -> tuple[str, ...]:
    """Return each table that does not hold what it should, in one line.

    >>> differences({"alarms": TableContent(2, "a")}, {"alarms": TableContent(1, "b")})
    ('alarms: 1 rows instead of 2',)
    """
    lines = []
    for name in sorted({*expected, *found}):
        wanted, there = expected.get(name), found.get(name)
        if wanted == there:
            continue
        if wanted is None or there is None:
            lines.append(f"{name}: {'missing' if there is None else 'not expected'}")
        elif wanted.rows != there.rows:
            lines.append(f"{name}: {there.rows} rows instead of {wanted.rows}")
        else:
            lines.append(f"{name}: {there.rows} rows, but not what was put in")
    return tuple(lines)
