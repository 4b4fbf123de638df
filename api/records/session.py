"""Opens the records: one engine, its transactions, and its tables at the newest form."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event

if TYPE_CHECKING:
    from collections.abc import Iterator
    from sqlite3 import Connection as SqliteConnection

_BEGIN = "graftvigil_begin"
_BUSY_MS = 10_000


def open_records(where: Path | str) -> Engine:
    """Open or create the records and bring their tables to the newest form.

    Parameters
    ----------
    where
        Path of a SQLite file (its folder is created), or a database address with `://` in it.

    Raises
    ------
    sqlalchemy.exc.SQLAlchemyError
        The file or database cannot be opened.
    """
    if isinstance(where, str) and "://" in where:
        engine = create_engine(where)
    else:
        path = Path(where)
        path.parent.mkdir(parents=True, exist_ok=True)
        engine = create_engine(f"sqlite:///{path}")
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up)
        event.listen(engine, "begin", _begin)
    _to_newest_form(engine)
    return engine


@contextmanager
def writing(records: Engine) -> Iterator[Connection]:
    """Hold one write transaction: committed at the end, rolled back if the block raises.

    On SQLite the write lock is taken at once, so that what the block reads first still holds when
    it writes.
    """
    with (
        records.connect().execution_options(**{_BEGIN: "BEGIN IMMEDIATE"}) as db,
        db.begin(),
    ):
        yield db


@contextmanager
def reading(records: Engine) -> Iterator[Connection]:
    """Hold one transaction that sees a single moment of the records; nothing in it is kept."""
    with records.connect() as db:
        yield db


def _set_up(sqlite: SqliteConnection, _record: object) -> None:
    sqlite.isolation_level = None  # transactions are begun by _begin, not by the driver
    for pragma in (
        f"busy_timeout = {_BUSY_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
    ):
        sqlite.execute(f"PRAGMA {pragma}").close()


def _begin(db: Connection) -> None:
    db.exec_driver_sql(str(db.get_execution_options().get(_BEGIN, "BEGIN")))


def _to_newest_form(engine: Engine) -> None:
    config = Config()
    scripts = Path(__file__).parent / "migrations"
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    with writing(engine) as db:
        config.attributes["connection"] = db
        command.upgrade(config, "head")
