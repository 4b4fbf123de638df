"""Makes a backup while everything runs: records first, then readings, then files.

The records say up to which reading the watch has seen everything. So their moment must not lie
after that of the readings: a reading that the records know of is then in the copy, always. The
readings kept in the milliseconds between the two are there beyond that, and are judged after a
restore like all that came while nobody watched. Site and plans come last: what they say beyond the
records is a file that was changed, which is taken up as ever.
"""

from __future__ import annotations

import importlib.metadata
import shutil
import sqlite3
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.backup.content import differences, sqlite_content
from api.backup.copying import copy_sqlite, size_of, snapshot
from api.backup.exchange import exported, owed_in, position_in
from api.backup.folder import (
    MANIFEST,
    PLANS,
    READINGS,
    RECORDS,
    SITE,
    becoming,
    name_of,
    write_private,
)
from api.backup.manifest import FORM, Manifest, ReadingsTold, RecordsTold, told
from api.backup.settings_kept import settings_kept
from api.backup.trouble import BackupFailed, told_plainly
from api.records.session import form_of, forms, reading, records_as_they_are
from api.settings import READINGS_FILE
from collector.stores.migrations import STEPS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime
    from pathlib import Path

    from sqlalchemy import Connection

    from api.backup.content import TableContent
    from api.backup.going import Going
    from api.settings import Settings

_ROOM_BEYOND = 1.05
_MB = 1_000_000


@dataclass(frozen=True, slots=True)
class Sources:
    """What is backed up. `extra` are more files by name, as the settings written down.

    `records` is their file, or the address of their database: a secret. `archive` names the
    InfluxDB that readings go on to, which is not backed up here; None: there is none.
    """

    data: Path
    records: Path | str
    site: Path
    plans: Path
    program: str
    extra: Mapping[str, bytes]
    secrets: bool
    archive: str | None


def sources_of(
    settings: Settings, environment: Mapping[str, str], *, with_secrets: bool
) -> Sources:
    """Return what is backed up by the settings; SettingUnreadable for a secret's file."""
    return Sources(
        data=settings.data,
        records=settings.records_at,
        site=settings.site,
        plans=settings.plans,
        program=importlib.metadata.version("graftvigil"),
        extra=settings_kept(environment, with_secrets=with_secrets),
        secrets=with_secrets,
        archive=settings.influx_url if settings.store == "influx" else None,
    )


@dataclass(frozen=True, slots=True)
class _Source:
    """The records at their moment. `file` is None where they lie in a database."""

    db: Connection
    file: sqlite3.Connection | None
    form: str


def make_backup(sources: Sources, folder: Path, *, now: datetime, going: Going) -> Path:
    """Write a backup into a folder of backups, as it was at one moment; return its own folder.

    Raises BackupFailed with what to do, Stopped when asked to stop; then nothing is left. Killed
    in the middle, what is left has a name that ends in `.part`, and the next one takes it away.
    """
    with told_plainly(folder):
        sources.site.read_bytes()  # what can't be read is told before anything is written
        with becoming(folder, now) as part:
            _copy_stores(sources, part, now=now, going=going)
            write_private(part / SITE, sources.site.read_bytes())
            for path in sorted(sources.plans.glob("*.toml")):
                write_private(part / PLANS / path.name, path.read_bytes())
            for name, body in sources.extra.items():
                write_private(part / name, body)
            going.look()
    return folder / name_of(now)


def _copy_stores(sources: Sources, part: Path, *, now: datetime, going: Going) -> None:
    with _records_at_one_moment(sources.records) as records:
        readings_file = sources.data / READINGS_FILE
        if not readings_file.is_file():
            msg = f"{readings_file} is not there. Name the folder with --data"
            raise BackupFailed(msg)
        with snapshot(readings_file) as readings:
            _refuse_without_room(part, records, readings)
            told_of_records = _copy_records(records, part / RECORDS, going=going)
            told_of_readings = _copy_readings(readings, part / READINGS, going=going)
    manifest = Manifest(
        form=FORM,
        made_at=now,
        program=sources.program,
        records=told_of_records,
        readings=told_of_readings,
        secrets=sources.secrets,
        archive=sources.archive,
    )
    write_private(part / MANIFEST, (manifest.model_dump_json(indent=1) + "\n").encode("utf-8"))


@contextmanager
def _records_at_one_moment(where: Path | str) -> Iterator[_Source]:
    if not isinstance(where, str) and not where.is_file():
        msg = f"{where} is not there. Name the folder with --data; `graftvigil run` makes it"
        raise BackupFailed(msg)
    engine = records_as_they_are(where)
    try:
        with reading(engine) as db:
            form = form_of(db)  # the first look: from here on it stands still
            if form is None:
                msg = "there are no records yet. Start `graftvigil run` once"
                raise BackupFailed(msg)
            if form not in forms():
                msg = f"a newer version wrote the records (form {form}). Back up with that one"
                raise BackupFailed(msg)
            raw: object = db.connection.dbapi_connection
            yield _Source(db, raw if isinstance(raw, sqlite3.Connection) else None, form)
    finally:
        engine.dispose()


def _refuse_without_room(part: Path, records: _Source, readings: sqlite3.Connection) -> None:
    """Tell at once where it can't fit, rather than after minutes of copying."""
    needed = size_of(readings) + (0 if records.file is None else size_of(records.file))
    needed = int(needed * _ROOM_BEYOND)
    free = shutil.disk_usage(part).free
    if free < needed:
        msg = (
            f"{part.parent}: {needed // _MB} MB are needed, and {free // _MB} MB are free. Make "
            "room there, or name another folder; nothing of the backup is left"
        )
        raise BackupFailed(msg)


def _copy_records(records: _Source, target: Path, *, going: Going) -> RecordsTold:
    if records.file is None:
        expected = exported(records.db, target, form=records.form, going=going)
    else:
        expected = sqlite_content(records.file, look=going.look)
        copy_sqlite(records.file, target, what="records", going=going)
    _compare(target, expected, going=going)
    position = position_in(records.db)
    return RecordsTold(
        kept_in="postgresql" if records.file is None else "sqlite",
        revision=records.form,
        tables=told(expected),
        next_minute=None if position is None else position[0],
        sequence=None if position is None else position[1],
        owed=owed_in(records.db),
    )


def _copy_readings(readings: sqlite3.Connection, target: Path, *, going: Going) -> ReadingsTold:
    steps = tuple(name for (name,) in readings.execute("SELECT name FROM schema_step ORDER BY 1"))
    unknown = sorted(set(steps) - {name for name, _ in STEPS})
    if unknown:
        msg = f'a newer version wrote the readings (step "{unknown[0]}"). Back up with that one'
        raise BackupFailed(msg)
    expected = sqlite_content(readings, look=going.look)
    copy_sqlite(readings, target, what="readings", going=going)
    _compare(target, expected, going=going)
    count = readings.execute("SELECT kept FROM reading_count").fetchone()[0]
    last, newest = readings.execute("SELECT max(sequence), max(at_ms) FROM reading").fetchone()
    return ReadingsTold(
        steps=steps,
        tables=told(expected),
        count=count,
        last_sequence=last or 0,
        newest_ms=newest,
    )


def _compare(copy: Path, expected: Mapping[str, TableContent], *, going: Going) -> None:
    """Hold a copy against what was read: a disk that lies is found out now, not in need."""
    with snapshot(copy) as db:
        found = differences(expected, sqlite_content(db, look=going.look))
    if found:
        msg = f"{copy.name}: the copy is not what was read ({found[0]}). See that the disk works"
        raise BackupFailed(msg)
