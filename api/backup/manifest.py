"""What a backup says of itself: made when, by what, from what, and what must be in it."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, ValidationError

from api.backup.content import TableContent
from api.backup.folder import MANIFEST
from api.backup.trouble import CannotRestore, Damaged, NoBackup

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

FORM = 1
"""Counts up when a backup is laid out so that an earlier program could not restore it."""


class Told(BaseModel):
    """The content of one table."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    rows: int
    digest: str


class RecordsTold(BaseModel):
    """The records: where they lay, in which form, what each table held, how far the watch was.

    `next_minute` is the cell it would have closed next and `sequence` the last reading it had
    seen; None before its first start. `owed` counts the messages that were still to be sent.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    kept_in: Literal["sqlite", "postgresql"]
    revision: str
    tables: dict[str, Told]
    next_minute: int | None
    sequence: int | None
    owed: int

    @property
    def rows(self) -> int:
        """How many rows all tables hold."""
        return sum(one.rows for one in self.tables.values())


class ReadingsTold(BaseModel):
    """The readings: by which steps their file was made, what it held, the last and the newest."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    steps: tuple[str, ...]
    tables: dict[str, Told]
    count: int
    last_sequence: int
    newest_ms: int | None


class Manifest(BaseModel):
    """The whole of `manifest.json`. `archive` names the InfluxDB that is not in it, if any."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    form: int
    made_at: AwareDatetime
    program: str
    records: RecordsTold
    readings: ReadingsTold
    secrets: bool
    archive: str | None

    @property
    def made(self) -> datetime:
        """The instant as of which everything in it is, UTC."""
        return self.made_at


def told(tables: Mapping[str, TableContent]) -> dict[str, Told]:
    """Return the content of tables as it is written down."""
    return {name: Told(rows=one.rows, digest=one.digest) for name, one in tables.items()}


def contents(tables: Mapping[str, Told]) -> dict[str, TableContent]:
    """Return the content of tables as it was written down."""
    return {name: TableContent(one.rows, one.digest) for name, one in tables.items()}


def manifest_of(backup: Path) -> Manifest:
    """Return what a backup says of itself.

    Raises NoBackup if it says nothing, Damaged if that can't be read, CannotRestore if a newer
    version made it.
    """
    try:
        text = (backup / MANIFEST).read_bytes()
    except FileNotFoundError as trouble:
        msg = f"{backup} is no backup: it has no {MANIFEST}. Name a folder `graftvigil backup` made"
        raise NoBackup(msg) from trouble
    except OSError as trouble:
        msg = f"{MANIFEST}: can't be read ({trouble.strerror})"
        raise Damaged(msg) from trouble
    try:
        form = json.loads(text)["form"]
        if form > FORM:
            msg = "a newer version made this backup. Restore it with that version, or a later one"
            raise CannotRestore(msg)
        return Manifest.model_validate_json(text)
    except (ValidationError, ValueError, KeyError, TypeError) as trouble:
        msg = f"{MANIFEST}: damaged"
        raise Damaged(msg) from trouble
