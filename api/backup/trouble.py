"""Why a backup can't be made, tried or restored; each message says what to do."""

from __future__ import annotations

import errno
import sqlite3
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy.exc import SQLAlchemyError

from api.records.session import cause_of
from collector.stores.base import StoreFailure

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class BackupFailed(Exception):
    """No backup could be made; nothing of it is left."""


class NoBackup(Exception):
    """What was named is no backup that this version can read."""


class Damaged(Exception):
    """A backup does not hold what was put into it. `findings` say where, each in one line."""

    def __init__(self, *findings: str) -> None:
        self.findings = findings
        super().__init__("\n".join(findings))


class CannotRestore(Exception):
    """Something is in the way; nothing was put in place."""


class Stopped(Exception):
    """It was asked to stop in the middle."""


@contextmanager
def told_plainly(folder: Path) -> Iterator[None]:
    """Turn what disk and databases say into a BackupFailed that says what to do."""
    try:
        yield
    except StoreFailure as trouble:
        raise BackupFailed(str(trouble)) from trouble
    except OSError as trouble:
        raise BackupFailed(_of_the_disk(folder, trouble)) from trouble
    except sqlite3.Error as trouble:
        said = str(trouble)
        full = OSError(errno.ENOSPC, said) if "full" in said else None
        msg = _of_the_disk(folder, full) if full else f"a store can't be copied: {said}. {_LOOK}"
        raise BackupFailed(msg) from trouble
    except SQLAlchemyError as trouble:
        msg = f"the records can't be copied: {cause_of(trouble)}. {_LOOK}"
        raise BackupFailed(msg) from trouble


_LOOK = "See that the disk and the database work, then try again"


def _of_the_disk(folder: Path, trouble: OSError) -> str:
    where = trouble.filename or folder
    said = trouble.strerror or str(trouble)
    match trouble.errno:
        case errno.ENOSPC | errno.EDQUOT:
            fix = "Make room there, or name another folder; nothing of the backup is left"
        case errno.EACCES | errno.EPERM | errno.EROFS:
            fix = "Let graftvigil's user write there, or name another folder"
        case errno.ENOENT | errno.ENOTDIR:
            fix = "See that the disk is there and the folder is named right"
        case _:
            fix = "See that its disk works, or name another folder"
    return f"{where}: {said}. {fix}"
