"""The folder of one backup: its name, the sums of its files, and how it becomes whole at once.

It is written under a name that ends in `.part` and given its own name when all of it, its sums
last, is on the disk. Whatever has its own name is whole or was damaged later, which the sums tell.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import re
import shutil
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from api.backup.trouble import Damaged, NoBackup

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

RECORDS = "records.sqlite"
READINGS = "readings.sqlite"
SITE = "site.toml"
PLANS = "plans"
SETTINGS = "settings.env"
SECRETS = "secrets.env"
MANIFEST = "manifest.json"
SUMS = "SHA256SUMS"
PART = ".part"
_NAME = re.compile(r"graftvigil-(\d{8}T\d{6})Z")
_LINE = re.compile(r"([0-9a-f]{64})  ([^\n]+)")
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class Kept:
    """A backup in a folder of backups; `at` is the instant in its name, UTC."""

    path: Path
    at: datetime


def name_of(at: datetime) -> str:
    """Return the name of a backup made at an aware instant.

    >>> name_of(datetime(2026, 11, 29, 3, 30, tzinfo=UTC))
    'graftvigil-20261129T033000Z'
    """
    return f"graftvigil-{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def kept_in(folder: Path) -> tuple[Kept, ...]:
    """Return the backups in a folder, the oldest first; OSError if it can't be looked into."""
    found = []
    for path in folder.iterdir():
        match = _NAME.fullmatch(path.name)
        if match is not None and (path / SUMS).is_file():
            at = datetime.strptime(f"{match[1]}+0000", "%Y%m%dT%H%M%S%z").astimezone(UTC)
            found.append(Kept(path, at))
    return tuple(sorted(found, key=lambda one: one.at))


@contextmanager
def becoming(folder: Path, at: datetime) -> Iterator[Path]:
    """Give the folder to write into; on leaving, it gets its own name. Else nothing is left.

    What an earlier one left that was killed is taken away. OSError if that can't be written.
    """
    _make_private(folder)
    whole = folder / name_of(at)
    part = whole.with_name(f"{whole.name}{PART}")
    with _taken(folder):
        if whole.exists():
            raise FileExistsError(17, "a backup of this second is there already", str(whole))
        for left in folder.glob(f"graftvigil-*{PART}"):
            shutil.rmtree(left)
        part.mkdir(mode=0o700)
        try:
            yield part
            write_sums(part)
            sync_folder(part)
            part.rename(whole)
        except BaseException:
            shutil.rmtree(part, ignore_errors=True)
            raise
        sync_folder(folder)


@contextmanager
def _taken(folder: Path) -> Iterator[None]:
    """Hold a folder of backups: one is made there at a time."""
    held = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    except BlockingIOError as trouble:
        msg = "another backup is being made there"
        raise BlockingIOError(trouble.errno, msg, str(folder)) from trouble
    finally:
        os.close(held)


def _make_private(folder: Path) -> None:
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    for one in reversed(missing):
        one.mkdir(mode=0o700)


def files_in(backup: Path) -> tuple[str, ...]:
    """Return the files of a backup by their paths in it, in order, but for the sums."""
    found = (one.relative_to(backup).as_posix() for one in backup.rglob("*") if not one.is_dir())
    return tuple(sorted(name for name in found if name != SUMS))


def write_private(path: Path, body: bytes) -> None:
    """Write a file that this user alone may read, and see it on the disk."""
    path.parent.mkdir(mode=0o700, exist_ok=True)
    file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(file, "wb") as written:
        written.write(body)
        written.flush()
        os.fsync(written.fileno())


def sync_folder(folder: Path) -> None:
    """See the names in a folder, and in those in it, on the disk."""
    for one in (*(inside for inside in folder.iterdir() if inside.is_dir()), folder):
        opened = os.open(one, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def write_sums(backup: Path) -> None:
    """Write down the SHA-256 of every file, in the form that `sha256sum --check` reads."""
    lines = [f"{sum_of(backup / name)}  {name}\n" for name in files_in(backup)]
    write_private(backup / SUMS, "".join(lines).encode("utf-8"))


def sum_of(path: Path, *, look: Callable[[], None] = lambda: None) -> str:
    """Return the SHA-256 of a file; `look` is called now and then, and may raise to end it."""
    found = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            found.update(chunk)
            look()
    return found.hexdigest()


def check_sums(backup: Path, *, look: Callable[[], None]) -> None:
    """Raise Damaged if any file is not as it was written; NoBackup where there are no sums."""
    try:
        text = (backup / SUMS).read_bytes().decode("utf-8")
    except FileNotFoundError as trouble:
        msg = f"{backup} is no backup: no {SUMS} in it. Name one that `graftvigil backup` made"
        raise NoBackup(msg) from trouble
    except (OSError, UnicodeDecodeError) as trouble:
        msg = f"{SUMS}: can't be read"
        raise Damaged(msg) from trouble
    lines = text.split("\n")
    expected = {match[2]: match[1] for line in lines[:-1] if (match := _LINE.fullmatch(line))}
    findings = []
    if lines[-1] or len(expected) != len(lines) - 1:
        findings.append(f"{SUMS}: damaged")
    there = files_in(backup)
    findings += [f"{name}: missing" for name in expected if name not in there]
    for name in there:
        if name not in expected:
            findings.append(f"{name}: not part of the backup")
            continue
        try:
            found = sum_of(backup / name, look=look)
        except OSError as trouble:
            findings.append(f"{name}: can't be read ({trouble.strerror})")
            continue
        if found != expected[name]:
            findings.append(f"{name}: not as it was written")
    if findings:
        raise Damaged(*findings)
