"""Tries a backup by really restoring it into a fresh place, and holds what is there against it.

Restoring does the same, and goes on only with what came out whole here.
"""

from __future__ import annotations

import shutil
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy.exc import SQLAlchemyError

from api.backup.content import differences, sqlite_content
from api.backup.copying import settle, snapshot
from api.backup.exchange import owed_in, position_in
from api.backup.folder import PLANS, READINGS, RECORDS, SITE, check_sums
from api.backup.manifest import Manifest, contents, manifest_of
from api.backup.trouble import CannotRestore, Damaged
from api.bookkeeping import Bookkeeping, FilesFaulty
from api.records.session import cause_of, forms, open_records, reading
from api.records.states import unpacked
from api.records.watch import load_position
from collector.stores.base import StoreFailure
from collector.stores.blocks import unpacked_real, unpacked_whole
from collector.stores.migrations import STEPS
from collector.stores.sqlite import SqliteStore

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy import Engine

    from api.backup.content import TableContent
    from api.backup.going import Going

_LEAST_FREE = 1.1


@dataclass(frozen=True, slots=True)
class Tried:
    """A backup that came out whole in `place`, brought to the newest form.

    `notes` are what to know of it that is no damage: faults that its files had when it was made.
    """

    place: Path
    manifest: Manifest
    notes: tuple[str, ...]

    @property
    def records(self) -> Path:
        """The file of the records, whole and open nowhere."""
        return self.place / RECORDS

    @property
    def readings(self) -> Path:
        """The file of the readings, whole and open nowhere."""
        return self.place / READINGS


def try_backup(backup: Path, place: Path, *, going: Going) -> Tried:
    """Restore a backup into an empty folder and compare; every table, reading and state is read.

    Raises Damaged with all that was found, or as `manifest_of` does. OSError where the place can't
    be written.
    """
    check_sums(backup, look=going.look)
    manifest = manifest_of(backup)
    _refuse_newer(manifest)
    _refuse_without_room(backup, place)
    for done, name in enumerate((RECORDS, READINGS, SITE, PLANS)):
        going.look()
        going.moved("copy", done, 4)
        source = backup / name
        if source.is_dir():
            shutil.copytree(source, place / name)
        elif source.exists():
            shutil.copyfile(source, place / name)
            (place / name).chmod(0o600)
    (place / PLANS).mkdir(mode=0o700, exist_ok=True)
    findings = [
        *_tables(place / RECORDS, contents(manifest.records.tables), going=going),
        *_tables(place / READINGS, contents(manifest.readings.tables), going=going),
    ]
    if findings:
        raise Damaged(*findings)
    findings += _readings(place / READINGS, manifest, going=going)
    notes = []
    engine = _brought_up(place / RECORDS)
    try:
        findings += _records(engine, manifest)
        going.look()
        try:
            Bookkeeping(place / SITE, place / PLANS, engine)
        except FilesFaulty as trouble:
            notes = [str(fault).replace(f"{place}/", "") for fault in trouble.faults]
    except SQLAlchemyError as trouble:
        findings.append(f"{RECORDS}: {cause_of(trouble)}")
    finally:
        engine.dispose()
    if findings:
        raise Damaged(*findings)
    settle(place / RECORDS)
    settle(place / READINGS)
    return Tried(place, manifest, tuple(notes))


def _refuse_newer(manifest: Manifest) -> None:
    unknown = sorted(set(manifest.readings.steps) - {name for name, _ in STEPS})
    if manifest.records.revision not in forms() or unknown:
        msg = (
            f"graftvigil {manifest.program} made this backup, and its records or readings are of a "
            "newer form than this version knows. Restore it with that version, or a later one"
        )
        raise CannotRestore(msg)


def _refuse_without_room(backup: Path, place: Path) -> None:
    needed = int(sum((backup / x).stat().st_size for x in (RECORDS, READINGS)) * _LEAST_FREE)
    free = shutil.disk_usage(place).free
    if free < needed:
        msg = f"{place}: {needed >> 20} MB are needed to restore into, {free >> 20} MB are free"
        raise CannotRestore(msg)


def _tables(file: Path, expected: dict[str, TableContent], *, going: Going) -> list[str]:
    """Return what a restored file does not hold as it was put in, and where it is not sound."""
    try:
        with snapshot(file) as db:
            sound = [said for (said,) in db.execute("PRAGMA integrity_check(3)") if said != "ok"]
            loose = db.execute("PRAGMA foreign_key_check").fetchone()
            found = [*sound, *([f"{loose[0]}: points at nothing"] if loose else ())]
            found += differences(expected, sqlite_content(db, look=going.look))
    except sqlite3.Error as trouble:
        found = [str(trouble)]
    return [f"{file.name}: {one}" for one in found]


def _readings(file: Path, manifest: Manifest, *, going: Going) -> list[str]:
    """Open the readings as a running graftvigil does, and read every one of them."""
    told = manifest.readings
    try:
        store = SqliteStore(file)
        try:
            newest = max((one.at_ms for one in store.latest().values()), default=None)
            seen = (store.count(), store.last_sequence(), newest)
            expected = (told.count, told.last_sequence, told.newest_ms)
            found = [] if seen == expected else [f"holds {seen} instead of {expected}"]
            with store.file.snapshot() as db:
                found += _blocks(db, told.count, going=going)
        finally:
            store.close()
    except StoreFailure as trouble:
        found = [str(trouble)]
    return [f"{file.name}: {one}" for one in found]


def _blocks(db: sqlite3.Connection, count: int, *, going: Going) -> Iterator[str]:
    """Yield packed days that can't be unpacked to what they should be, and a wrong count of all."""
    held = db.execute("SELECT count(*) FROM reading").fetchone()[0]
    asked = "SELECT channel, day, readings, last_sequence, at_ms, value, sequence FROM block"
    for number, row in enumerate(db.execute(asked)):
        channel, day, readings, last, at_ms, value, sequence = row
        if number % 100 == 0:
            going.look()
            going.moved("days", number, number)
        order = unpacked_whole(sequence)
        sizes = {unpacked_whole(at_ms).size, unpacked_real(value).size, order.size}
        if sizes != {readings} or int(order.max()) != last:
            yield f"day {day} of channel {channel} does not unpack to what it was"
        held += readings
    if held != count:
        yield f"{held} readings are there, and {count} are counted"


def _brought_up(file: Path) -> Engine:
    try:
        return open_records(file)
    except SQLAlchemyError as trouble:
        msg = f"{file.name}: can't be brought to the newest form: {cause_of(trouble)}"
        raise Damaged(msg) from trouble


def _records(engine: Engine, manifest: Manifest) -> Iterator[str]:
    """Yield where the records, brought up, do not agree with themselves or with the readings."""
    told = manifest.records
    with reading(engine) as db:
        if owed_in(db) != told.owed:
            yield f"{RECORDS}: {owed_in(db)} messages are owed instead of {told.owed}"
        seen = position_in(db)
        if seen != (None if told.next_minute is None else (told.next_minute, told.sequence)):
            yield f"{RECORDS}: the watch stands at another minute than it did"
        position = load_position(db)
    if position is None:
        return
    if position.sequence > manifest.readings.last_sequence:
        yield f"{RECORDS}: the watch has seen readings that are not in the backup"
    try:
        unpacked(position.state)
    except ValueError:
        # An earlier version wrote it: the watch then begins its delays anew, and says so.
        if told.revision == forms()[-1]:
            yield f"{RECORDS}: the state of the watch can't be read"
