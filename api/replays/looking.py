"""Recorded files before they are used: what was found out, or why that is not settled."""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

from api.replays.files import GivenRefused, detected
from collector.files.detection import open_table
from collector.files.mapping import mapping_in
from collector.files.refusal import FileRefused

if TYPE_CHECKING:
    from collections.abc import Sequence

    from api.replays.files import Given
    from collector.files.detection import Detection
    from collector.files.table import Column, Row
    from rules.model.site import Site

MOST_UNPACKED_BYTES = 256 * 1024 * 1024
MOST_ROWS_SHOWN = 3
_WORKBOOKS = frozenset({".xlsx", ".xlsm"})


@dataclass(frozen=True, slots=True)
class Look:
    """A file as it would be read: either `detection` or `refusal` is there, never both.

    `columns` are all columns that it has, as far as they could be told apart, and `first_rows` a
    few rows of a file that can't be used, so that a person sees what a column holds.
    """

    given: Given
    detection: Detection | None
    refusal: FileRefused | None
    columns: tuple[Column, ...]
    first_rows: tuple[Row, ...] = ()

    @property
    def name(self) -> str:
        """The file's own name."""
        return self.given.path.name


def look_at(given: Given, site: Site, *, now_ms: int) -> Look:
    """Look at a file; one that can't be read as it stands is a value, with the way out."""
    try:
        _refuse_swollen(given)
        detection = detected(given, site, now_ms=now_ms)
    except GivenRefused as trouble:
        return _refused(given, trouble.refusal)
    except FileRefused as refusal:
        return Look(given, None, refusal, ())
    return Look(given, detection, None, tuple(detection.table.columns))


def look_at_all(every: Sequence[Given], site: Site, *, now_ms: int) -> tuple[Look, ...]:
    """Look at files, in their order."""
    return tuple(look_at(one, site, now_ms=now_ms) for one in every)


def _refused(given: Given, refusal: FileRefused) -> Look:
    # What was said may itself be wrong: then the columns as they are found without it.
    for options in ([one for one in given.options if not one.startswith("#")], []):
        try:
            table = open_table(given.path, mapping_in(options, []))
            rows = (row for row in table.sample()[0] if not row.problem)
            first = tuple(islice(rows, MOST_ROWS_SHOWN))
        except (FileRefused, OSError):
            continue
        return Look(given, None, refusal, tuple(table.columns), first)
    return Look(given, None, refusal, ())


def _refuse_swollen(given: Given) -> None:
    """Refuse a workbook that would fill the memory once it is unpacked."""
    if given.path.suffix.casefold() not in _WORKBOOKS:
        return
    try:
        with zipfile.ZipFile(given.path) as packed:
            unpacked = sum(one.file_size for one in packed.infolist())
    except (zipfile.BadZipFile, OSError):
        return  # what reads it says what is wrong
    if unpacked > MOST_UNPACKED_BYTES:
        problem = f"the workbook holds {unpacked // 1024 // 1024} MiB once unpacked"
        most = MOST_UNPACKED_BYTES // 1024 // 1024
        raise FileRefused(problem, f"At most {most} MiB are read: save the sheet as CSV")
