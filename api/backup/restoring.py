"""Puts a backup in place: all of it or nothing, and nothing that is there is lost by it.

All is tried in a folder beside first. Then a mark is set with which no `graftvigil run` starts, the
files are moved to their places, the database is filled in one transaction, and the mark is taken
away. Killed before the mark, nothing has changed; killed after it, the mark says to restore again.
"""

from __future__ import annotations

import fcntl
import shutil
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy.exc import SQLAlchemyError

from api.backup.afterwards import set_right
from api.backup.content import differences, sqlite_content
from api.backup.copying import settle, snapshot
from api.backup.exchange import imported, tables_in_use
from api.backup.folder import PLANS, SITE, sync_folder, write_private
from api.backup.trouble import CannotRestore
from api.backup.trying import try_backup
from api.records.session import cause_of, reading, records_as_they_are, writing
from api.settings import READINGS_FILE, RECORDS_FILE, UNFINISHED_RESTORE

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from api.backup.afterwards import SetRight
    from api.backup.going import Going
    from api.backup.trying import Tried

_LOCK_FILE = "lock"
_STAGING = "restoring"
_OF_SQLITE = ("", "-wal", "-shm", "-journal")


@dataclass(frozen=True, slots=True)
class Places:
    """Where everything goes. `records` is a file in `data`, or the address of a database."""

    data: Path
    records: Path | str
    site: Path
    plans: Path


@dataclass(frozen=True, slots=True)
class Restored:
    """What was restored. `aside` is where what was there before lies now, None: nothing was."""

    tried: Tried
    right: SetRight
    aside: Path | None
    files: tuple[Path, ...]


def restore(
    backup: Path,
    places: Places,
    *,
    now: datetime,
    going: Going,
    overwrite: bool,
    send_owed: bool,
) -> Restored:
    """Restore a backup into its places.

    Raises CannotRestore with what to do where something is in the way, and what `try_backup`
    raises; then nothing has changed.

    Parameters
    ----------
    overwrite
        What is there already is set aside, in a folder in `places.data`, and not thrown away.
    send_owed
        Messages owed at the backup are sent: only where nobody has run since.
    """
    with _held(places.data):
        unfinished = (places.data / UNFINISHED_RESTORE).exists()
        if not unfinished:
            _refuse_what_is_there(places, backup, overwrite=overwrite)
        _refuse_filled(places.records)
        staging = places.data / _STAGING
        if staging.exists():
            shutil.rmtree(staging)
        staging.mkdir(mode=0o700)
        try:
            tried = try_backup(backup, staging, going=going)
            engine = records_as_they_are(tried.records)
            right = set_right(engine, made_at=tried.manifest.made, now=now, send_owed=send_owed)
            engine.dispose()
            settle(tried.records)
            sync_folder(staging)
            going.look()
            aside = places.data / f"before-restore-{now:%Y%m%dT%H%M%SZ}"
            written = _put_in_place(tried, places, aside, going=going)
        finally:
            shutil.rmtree(staging, ignore_errors=True)
    return Restored(tried, right, aside if aside.exists() else None, written)


def _put_in_place(tried: Tried, places: Places, aside: Path, *, going: Going) -> tuple[Path, ...]:
    mark = places.data / UNFINISHED_RESTORE
    if not mark.exists():
        write_private(mark, b"A restore was cut off in the middle. Run it again.\n")
        sync_folder(places.data)
    written = []
    for source, target in _files(tried, places):
        if target.exists() and target.read_bytes() == source.read_bytes():
            continue
        _set_aside([target], aside)
        target.parent.mkdir(parents=True, exist_ok=True)
        fresh = target.with_name(f".{target.name}.restored")
        fresh.unlink(missing_ok=True)
        write_private(fresh, source.read_bytes())
        fresh.replace(target)
        sync_folder(target.parent)
        written.append(target)
    stores = {READINGS_FILE: tried.readings}
    if not isinstance(places.records, str):
        stores[RECORDS_FILE] = tried.records
    for name, source in stores.items():
        _set_aside([places.data / f"{name}{end}" for end in _OF_SQLITE], aside)
        source.replace(places.data / name)
    sync_folder(places.data)
    if isinstance(places.records, str):
        _fill(tried.records, places.records, going=going)
    mark.unlink()
    sync_folder(places.data)
    return tuple(written)


def _files(tried: Tried, places: Places) -> Iterator[tuple[Path, Path]]:
    yield tried.place / SITE, places.site
    for plan in sorted((tried.place / PLANS).glob("*.toml")):
        yield plan, places.plans / plan.name


def _set_aside(paths: list[Path], aside: Path) -> None:
    for path in paths:
        if path.exists():
            aside.mkdir(mode=0o700, exist_ok=True)
            shutil.move(path, aside / path.name)


@contextmanager
def _held(data: Path) -> Iterator[None]:
    """Hold a data folder as a running graftvigil does, so that none runs meanwhile."""
    made = not data.exists()
    try:
        data.mkdir(parents=True, exist_ok=True)
        with (data / _LOCK_FILE).open("a+", encoding="utf-8") as held:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
            yield
    except BlockingIOError as trouble:
        msg = f"{data} is in use by a running graftvigil. Stop it first, or name another folder"
        raise CannotRestore(msg) from trouble
    except OSError as trouble:
        msg = (
            f"{trouble.filename or data}: {trouble.strerror}. See that there is room, and let your "
            "user write there"
        )
        raise CannotRestore(msg) from trouble
    finally:
        if made and data.is_dir() and {one.name for one in data.iterdir()} <= {_LOCK_FILE}:
            shutil.rmtree(data)


def _refuse_what_is_there(places: Places, backup: Path, *, overwrite: bool) -> None:
    """Refuse to write over anything: a store, or a site or plan file that says something else."""
    if overwrite:
        return
    stores = [READINGS_FILE, RECORDS_FILE]
    there = [places.data / name for name in stores if (places.data / name).exists()]
    pairs = [(backup / SITE, places.site)]
    pairs += [(one, places.plans / one.name) for one in sorted((backup / PLANS).glob("*.toml"))]
    there += [
        target
        for source, target in pairs
        if target.exists() and source.exists() and target.read_bytes() != source.read_bytes()
    ]
    if there:
        listed = ", ".join(str(one) for one in there)
        msg = (
            f"there already, and not written over: {listed}. Name other places with --data, --site "
            "and --plans, or say --overwrite: then what is there is set aside, not thrown away"
        )
        raise CannotRestore(msg)


def _refuse_filled(records: Path | str) -> None:
    """Refuse a database that holds anything of ours: it is never written over."""
    if not isinstance(records, str):
        return
    engine = records_as_they_are(records)
    try:
        with reading(engine) as db:
            there = tables_in_use(db)
    except SQLAlchemyError as trouble:
        msg = f"the database can't be reached: {cause_of(trouble)}. Start it, or mend its address"
        raise CannotRestore(msg) from trouble
    finally:
        engine.dispose()
    if there:
        msg = (
            "the database in GRAFTVIGIL_RECORDS_URL holds records already, and is never written "
            "over. Make a new, empty one (createdb) and name that"
        )
        raise CannotRestore(msg)


def _fill(file: Path, address: str, *, going: Going) -> None:
    """Fill a database in one transaction, committed only when it reads back the same."""
    source, target = records_as_they_are(file), records_as_they_are(address)
    try:
        with snapshot(file) as db:
            expected = dict(sqlite_content(db, look=going.look))
        expected.pop("alembic_version")
        with writing(target) as new:
            if tables_in_use(new):
                msg = "the database was filled by someone else meanwhile. Make a new, empty one"
                raise CannotRestore(msg)
            found = imported(source, new, going=going)
            if wrong := differences(expected, found):
                msg = f"the database does not hold what was written ({wrong[0]}). Nothing was kept"
                raise CannotRestore(msg)
    except SQLAlchemyError as trouble:
        msg = f"the database can't be filled: {cause_of(trouble)}. Restore again once it can"
        raise CannotRestore(msg) from trouble
    finally:
        source.dispose()
        target.dispose()
