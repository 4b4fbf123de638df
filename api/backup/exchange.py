"""Records out of PostgreSQL into a SQLite file of the same form, and back.

A backup holds the records as one SQLite file, wherever they lay: it is tried, brought up and looked
into in one way, needs no server for that, and can be restored into either.
"""

from __future__ import annotations

import os
import sqlite3
from typing import TYPE_CHECKING

from sqlalchemy import LargeBinary, func, insert, inspect, literal_column, select, table, text
from sqlalchemy.sql import column

from api.backup.content import Counting, content_of, quoted, sqlite_tables
from api.records.account_tables import accounts
from api.records.node_tables import nodes
from api.records.session import bring_up, records_as_they_are, writing
from api.records.tables import METADATA

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from sqlalchemy import ColumnClause, Connection, Engine, Table

    from api.backup.content import TableContent
    from api.backup.going import Going

_ROWS = 1000
_ROWS_WITH_PICTURES = 8

# Whoever makes tables beside those of `api.records.tables` is named here, so that it is read first.
_WITH_TABLES = (accounts.metadata, nodes.metadata)
EVERY_TABLE: tuple[Table, ...] = tuple(_WITH_TABLES[-1].sorted_tables)
"""All tables of the newest form, each after those that it points at."""


def exported(
    db: Connection, target: Path, *, form: str, going: Going
) -> Mapping[str, TableContent]:
    """Write what a database holds, as one transaction sees it, into a new SQLite file of its form.

    Return what each table held as it was read: the copy is to be held against it.
    """
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    empty = records_as_they_are(target)
    with writing(empty) as new:
        bring_up(new, form=form)
    empty.dispose()
    there = set(inspect(db).get_table_names())
    copy = sqlite3.connect(target, isolation_level=None)
    try:
        copy.execute("PRAGMA foreign_keys = OFF")
        copy.execute("PRAGMA journal_mode = DELETE")
        copy.execute("BEGIN")
        tables = {name: named for name, named in sqlite_tables(copy).items() if name in there}
        found = {}
        for done, (name, columns) in enumerate(tables.items()):
            going.moved("records", done, len(tables))
            found[name] = _one_table(db, copy, name, columns, going=going)
        copy.execute("COMMIT")
    finally:
        copy.close()
    return found


def _one_table(
    db: Connection, copy: sqlite3.Connection, name: str, columns: tuple[str, ...], *, going: Going
) -> TableContent:
    counting = Counting()
    named: list[ColumnClause[object]] = [column(one) for one in columns]
    marks = ", ".join("?" * len(columns))
    listed = ", ".join(quoted(one) for one in columns)
    write = f"INSERT INTO {quoted(name)} ({listed}) VALUES ({marks})"  # noqa: S608  # names of ours
    copy.execute(f"DELETE FROM {quoted(name)}")  # noqa: S608  # what its making put there
    asked = select(*named).select_from(table(name))
    rows = db.execute(asked.execution_options(yield_per=_rows_at_once(name)))
    for lot in rows.partitions():
        going.look()
        for row in lot:
            counting.take(row)
        copy.executemany(write, [tuple(row) for row in lot])
    return counting.content


def _rows_at_once(name: str) -> int:
    """Return how many rows are held at once: few where each may hold a picture."""
    known = METADATA.tables.get(name)
    heavy = known is not None and any(isinstance(one.type, LargeBinary) for one in known.c)
    return _ROWS_WITH_PICTURES if heavy else _ROWS


def tables_in_use(db: Connection) -> tuple[str, ...]:
    """Return the tables of ours that are in a database, filled or not."""
    ours = {one.name for one in EVERY_TABLE} | {"alembic_version"}
    return tuple(sorted(ours & set(inspect(db).get_table_names())))


def imported(source: Engine, db: Connection, *, going: Going) -> Mapping[str, TableContent]:
    """Write records of the newest form into an empty database, in the running transaction.

    Return what each table holds as read back from there.
    """
    bring_up(db)
    for done, one in enumerate(EVERY_TABLE):
        going.moved("records", done, len(EVERY_TABLE))
        with source.connect() as old:
            asked = select(one).execution_options(yield_per=_rows_at_once(one.name))
            rows = old.execute(asked)
            for lot in rows.mappings().partitions():
                going.look()
                db.execute(insert(one), [dict(row) for row in lot])
        _count_on(db, one)
    return {one.name: _content(db, one, going=going) for one in EVERY_TABLE}


def _count_on(db: Connection, one: Table) -> None:
    """Let a database that counts numbers by itself go on after the greatest that was written."""
    key = one.autoincrement_column
    if key is None or db.dialect.name != "postgresql":
        return
    counter = db.execute(select(func.pg_get_serial_sequence(one.name, key.name))).scalar_one()
    if counter is not None:
        greatest = select(func.max(key)).scalar_subquery()
        db.execute(select(func.setval(counter, func.coalesce(greatest, 1), greatest.is_not(None))))


def _content(db: Connection, one: Table, *, going: Going) -> TableContent:
    named = [one.c[name] for name in sorted(one.c.keys())]
    asked = select(*named).execution_options(yield_per=_rows_at_once(one.name))
    return content_of(db.execute(asked), look=going.look)


def owed_in(db: Connection) -> int:
    """Return how many messages are still to be sent; any form has these columns."""
    waiting = text("sent_ms IS NULL AND gave_up_ms IS NULL")
    asked = select(func.count(literal_column("*"))).select_from(table("outbox")).where(waiting)
    return int(db.execute(asked).scalar_one())


def position_in(db: Connection) -> tuple[int, int] | None:
    """Return the watch's next minute and the last sequence it has seen, in records of any form."""
    next_minute: ColumnClause[int] = column("next_minute")
    sequence: ColumnClause[int] = column("sequence")
    asked = select(next_minute, sequence).select_from(table("watch_position"))
    row = db.execute(asked).one_or_none()
    return None if row is None else (row.next_minute, row.sequence)
