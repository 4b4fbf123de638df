"""Batches as a table, a row each: written for a spreadsheet, and read back from one."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.book import form_revision
from api.entering import ANY_REVISION, Change
from api.records.entries import Kind
from api.written.sentences import meant
from collector.files.refusal import FileRefused
from collector.files.text import open_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from rules.model.fault import Fault

NEEDED = (
    "code",
    "species",
    "cultivar",
    "rootstock",
    "method",
    "scion",
    "wrap",
    "cover",
    "count",
    "grafter",
    "grafted_on",
    "bench",
    "plan",
)
OPTIONAL = ("stock_diameter_mm", "scion_diameter_mm")
STAGES = "stages"
REVISION = "revision"
COLUMNS = (*NEEDED, *OPTIONAL, STAGES, REVISION)
LARGEST_BYTES = 4_000_000
_BETWEEN = (",", ";", "\t", "|")


@dataclass(frozen=True, slots=True, order=True)
class RowFault:
    """What is wrong in one cell. `row` is its line in the file, 1 for the headings."""

    row: int
    column: str
    problem: str
    fix: str

    def __str__(self) -> str:
        return f"row {self.row}, {self.column}: {self.problem}. {self.fix}"


class TableRefused(Exception):
    """Nothing of a table can be used; every fault of it."""

    def __init__(self, faults: Iterable[RowFault]) -> None:
        self.faults = tuple(sorted(faults))
        super().__init__("\n".join(str(one) for one in self.faults))


@dataclass(frozen=True, slots=True)
class BatchRow:
    """A change as a row of a table asks for it."""

    row: int
    change: Change


def table_of(forms: Iterable[Mapping[str, object]]) -> str:
    """Return batches as comma-separated text with headings, as `rows_in` reads it."""
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(COLUMNS)
    for form in forms:
        cells = [str(form.get(name, "")) for name in (*NEEDED, *OPTIONAL)]
        table.writerow([*cells, _stages_cell(form), form_revision(form)])
    return out.getvalue()


def rows_in(path: Path, known: Mapping[str, Mapping[str, object]]) -> tuple[BatchRow, ...]:
    """Return the changes that a table asks for. Raises TableRefused with every fault, and OSError.

    `known` are the written forms in force by code: what a row has no column for stays as it is.
    """
    lines = _lines_of(path)
    headings = [name.strip().casefold() for name in lines[0][1]]
    faults = list(_wrong_headings(headings))
    if faults:
        raise TableRefused(faults)
    rows: list[BatchRow] = []
    first: dict[str, int] = {}
    for number, cells in lines[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > len(headings) and any(cell.strip() for cell in cells[len(headings) :]):
            problem = f"has {len(cells)} cells, and there are {len(headings)} headings"
            fix = "Put text that holds the separator between double quotes."
            faults.append(RowFault(number, headings[-1], problem, fix))
            continue
        row = dict(zip(headings, (cell.strip() for cell in cells), strict=False))
        code = row.get("code", "")
        if code in first:
            problem = f'"{code}" stands in row {first[code]} already'
            faults.append(RowFault(number, "code", problem, "Write one row for each batch."))
            continue
        first[code] = number
        form, wrong = _form_in(number, row, headings, known.get(code))
        faults += wrong
        rows.append(BatchRow(number, Change(Kind.BATCH, code, form, _revision_in(row))))
    faults += _outdated(rows, known)
    if faults:
        raise TableRefused(faults)
    return tuple(rows)


def told_by_row(faults: Iterable[Fault], rows: Iterable[BatchRow]) -> tuple[RowFault, ...]:
    """Return the faults of what a table asked for by row and column."""
    lines = {one.change.key: one.row for one in rows}
    found: list[RowFault] = []
    for fault in faults:
        named = re.match(r"batch\[([^]]+)\]\.?([a-z_]*)", fault.field)
        row = lines.get(named[1], 1) if named else 1
        column = (named[2] if named else "") or fault.field
        column = STAGES if column == "stage" else column
        found.append(RowFault(row, column, fault.problem, fault.fix))
    return tuple(sorted(found))


def _lines_of(path: Path) -> list[tuple[int, list[str]]]:
    """Return every record with the line on which it begins."""
    try:
        file = open_text(path, None)
    except FileRefused as refused:
        raise TableRefused([RowFault(1, "file", refused.problem, f"{refused.fix}.")]) from refused
    if file.size > LARGEST_BYTES:
        fix = "Leave out batches that have ended."
        raise TableRefused([RowFault(1, "file", "is larger than 4 MB", fix)])
    text = path.read_bytes().decode(file.encoding, errors="replace").removeprefix("\ufeff")
    heading = text.splitlines()[0]
    between = max(_BETWEEN, key=heading.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    lines: list[tuple[int, list[str]]] = []
    begins = 1
    try:
        for cells in reader:
            lines.append((begins, cells))
            begins = reader.line_num + 1
    except csv.Error as trouble:
        fix = "Close each text with the double quotes that opened it."
        raise TableRefused(
            [RowFault(begins, "file", f"can't be read: {trouble}", fix)]
        ) from trouble
    return lines


def _wrong_headings(headings: list[str]) -> Iterator[RowFault]:
    for at, name in enumerate(headings):
        if name not in COLUMNS:
            yield RowFault(1, name or f"column {at + 1}", "is no column", meant(name, COLUMNS))
        elif name in headings[:at]:
            yield RowFault(1, name, "is there twice", "Remove one of the two.")
    if "code" not in headings:
        yield RowFault(1, "code", "is missing", "Name each batch in a column code.")


def _form_in(
    number: int,
    row: Mapping[str, str],
    headings: Iterable[str],
    before: Mapping[str, object] | None,
) -> tuple[dict[str, object], list[RowFault]]:
    form = dict(before or {})
    faults: list[RowFault] = []
    for name in headings:
        cell = row.get(name, "")
        if name == REVISION:
            continue
        if name == STAGES:
            stages, wrong = _stages_in(number, cell)
            form["stage"] = stages
            faults += wrong
        elif name in OPTIONAL and not cell:
            form.pop(name, None)
        elif not cell:
            faults.append(RowFault(number, name, "is empty", "Write what holds for this batch."))
        elif name == "count" or name in OPTIONAL:
            form[name], wrong = _number_in(number, name, cell)
            faults += wrong
        else:
            form[name] = cell
    if before is None:
        missing = [name for name in (*NEEDED, STAGES) if name not in headings]
        fix = "Add the column; only batches that are there already can do without."
        faults += [RowFault(number, name, "is missing for a new batch", fix) for name in missing]
    return form, faults


def _number_in(number: int, name: str, cell: str) -> tuple[float | int | None, list[RowFault]]:
    """Return a number, written with a point or a comma."""
    said = cell.replace(",", ".")
    if name == "count" and re.fullmatch(r"\d{1,9}(\.0+)?", said):
        return int(float(said)), []
    if name != "count" and re.fullmatch(r"\d{1,9}(\.\d+)?", said):
        return float(said), []
    what = "a whole number" if name == "count" else "a number"
    fix = "Write digits only." if name == "count" else "Write digits, as in 7.5 or 7,5."
    return None, [RowFault(number, name, f'"{cell[:40]}" is not {what}', fix)]


def _stages_cell(form: Mapping[str, object]) -> str:
    stages = form.get("stage")
    assert isinstance(stages, list)  # noqa: S101 - every batch has stages
    return "\n".join(
        f"{one['stage']} {one['since']} {' '.join(str(one['because']).split())}" for one in stages
    )


def _stages_in(number: int, cell: str) -> tuple[list[dict[str, str]], list[RowFault]]:
    """Return the stages in a cell: a line each, of stage, instant and reason."""
    stages: list[dict[str, str]] = []
    faults: list[RowFault] = []
    fix = 'Write a line each, as in "healing 2026-11-03T10:00:00+11:00 grafted".'
    for line in cell.splitlines():
        parts = line.split(maxsplit=2)
        if len(parts) == 3:
            stages.append(dict(zip(("stage", "since", "because"), parts, strict=True)))
        elif parts:
            problem = f'"{line[:40]}" lacks a stage, an instant or a reason'
            faults.append(RowFault(number, STAGES, problem, fix))
    if not stages and not faults:
        faults.append(RowFault(number, STAGES, "is empty", fix))
    return stages, faults


def _revision_in(row: Mapping[str, str]) -> str:
    return row.get(REVISION) or ANY_REVISION


def _outdated(
    rows: Iterable[BatchRow], known: Mapping[str, Mapping[str, object]]
) -> Iterator[RowFault]:
    for one in rows:
        said = one.change.revision
        if said not in (ANY_REVISION, form_revision(known.get(one.change.key))):
            problem = f"{one.change.key} was changed by someone else since this was exported"
            fix = "Export again and change that; or leave the cell empty to change it all the same."
            yield RowFault(one.row, REVISION, problem, fix)
