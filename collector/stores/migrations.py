"""Named steps that build the SQLite file, each recorded in the transaction that makes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.stores.base import StoreFailure

if TYPE_CHECKING:
    import sqlite3

STEPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "0001 readings",
        (
            "CREATE TABLE channel (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE)",
            # AUTOINCREMENT: a sequence is never given twice, even after old rows are taken away.
            """CREATE TABLE reading (
                 sequence INTEGER PRIMARY KEY AUTOINCREMENT,
                 channel INTEGER NOT NULL REFERENCES channel (id),
                 at_ms INTEGER NOT NULL,
                 value REAL NOT NULL,
                 UNIQUE (channel, at_ms)
               )""",
            "CREATE TABLE reading_count (id INTEGER PRIMARY KEY CHECK (id = 1), kept INTEGER)",
            "INSERT INTO reading_count VALUES (1, 0)",
        ),
    ),
    (
        "0002 rejects",
        (
            """CREATE TABLE reject (
                 id INTEGER PRIMARY KEY AUTOINCREMENT,
                 at_ms INTEGER NOT NULL,
                 topic TEXT NOT NULL,
                 payload BLOB NOT NULL,
                 field TEXT NOT NULL,
                 problem TEXT NOT NULL,
                 fix TEXT NOT NULL
               )""",
            "CREATE TABLE reject_count (kind TEXT PRIMARY KEY, count INTEGER NOT NULL)",
        ),
    ),
    (
        "0003 rejects by sensor, presence",
        (
            "ALTER TABLE reject ADD COLUMN sensor TEXT NOT NULL DEFAULT ''",
            """CREATE TABLE reject_of_sensor (
                 sensor TEXT NOT NULL,
                 kind TEXT NOT NULL,
                 count INTEGER NOT NULL,
                 last_ms INTEGER NOT NULL,
                 PRIMARY KEY (sensor, kind)
               ) WITHOUT ROWID""",
            """CREATE TABLE presence (
                 sensor TEXT PRIMARY KEY,
                 up INTEGER NOT NULL,
                 since_ms INTEGER NOT NULL,
                 heard_ms INTEGER NOT NULL
               ) WITHOUT ROWID""",
        ),
    ),
    (
        "0004 device tokens",
        (
            """CREATE TABLE device_token (
                 id INTEGER PRIMARY KEY,
                 name TEXT NOT NULL,
                 hash TEXT NOT NULL UNIQUE,
                 sensor TEXT,
                 made_ms INTEGER NOT NULL,
                 revoked_ms INTEGER
               )""",
            """CREATE UNIQUE INDEX device_token_that_counts
                 ON device_token (name) WHERE revoked_ms IS NULL""",
        ),
    ),
    (
        "0005 waiting list",
        (
            """CREATE TABLE waiting (
                 id INTEGER PRIMARY KEY AUTOINCREMENT,
                 topic TEXT NOT NULL,
                 device TEXT NOT NULL,
                 sample BLOB NOT NULL,
                 size INTEGER NOT NULL,
                 first_ms INTEGER NOT NULL,
                 last_ms INTEGER NOT NULL,
                 count INTEGER NOT NULL,
                 adopted_ms INTEGER,
                 UNIQUE (topic, device)
               )""",
        ),
    ),
)


def migrate(db: sqlite3.Connection) -> None:
    """Bring the file up to date. `db` is in autocommit mode.

    Raises StoreFailure when the file holds a step that this version does not know.
    """
    db.execute("CREATE TABLE IF NOT EXISTS schema_step (name TEXT PRIMARY KEY)")
    known = {name for name, _ in STEPS}
    unknown = sorted({name for (name,) in db.execute("SELECT name FROM schema_step")} - known)
    if unknown:
        msg = (
            f'the readings file holds the step "{unknown[0]}", which this version does not know: '
            "a newer version wrote it. Run that version, or restore an older copy"
        )
        raise StoreFailure(msg)
    for name, statements in STEPS:
        _apply(db, name, statements)


def _apply(db: sqlite3.Connection, name: str, statements: tuple[str, ...]) -> None:
    db.execute("BEGIN IMMEDIATE")
    try:
        # Asked inside the transaction: another process may have opened the file at this moment.
        done = db.execute("SELECT 1 FROM schema_step WHERE name = ?", (name,)).fetchone()
        if done is None:
            for statement in statements:
                db.execute(statement)
            db.execute("INSERT INTO schema_step VALUES (?)", (name,))
    except BaseException:
        db.execute("ROLLBACK")
        raise
    db.execute("COMMIT")
