"""Tables that are no plain text rows: JSON Lines, Parquet, workbooks.

Their libraries are imported only when such a file is read.
"""

from __future__ import annotations

import itertools
import json
import struct
import warnings
import zipfile
import zlib
from datetime import date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

from collector.files.delimited import columns_named
from collector.files.dialect import header_in
from collector.files.numbers import decimal_marks
from collector.files.refusal import FileRefused, Way
from collector.files.table import HEAD_ROWS, LOOK_ROWS, Cell, Column, Row, looked_at
from collector.files.text import open_text
from collector.files.times import TimeFormat

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from openpyxl.worksheet._read_only import ReadOnlyWorksheet
    from pyarrow import DataType, RecordBatch
    from pyarrow.parquet import ParquetFile

    from collector.files.text import Lines, TextFile

_BATCH = 4_096
_DEPTH = 4
_BROKEN = (
    OSError, ValueError, KeyError, TypeError, IndexError, AttributeError, EOFError, OverflowError,
    RuntimeError, AssertionError, struct.error, zlib.error, zipfile.BadZipFile, ParseError,
)  # fmt: skip


def _flat(document: Mapping[str, object], under: str = "", depth: int = _DEPTH) -> dict[str, Cell]:
    """Return the values of an object by dotted path."""
    cells: dict[str, Cell] = {}
    for name, value in document.items():
        path = f"{under}{name}"
        if isinstance(value, dict) and depth:
            cells |= _flat(value, f"{path}.", depth - 1)
        elif isinstance(value, list) and depth and len(value) <= 64:
            cells |= _flat({str(n): one for n, one in enumerate(value)}, f"{path}.", depth - 1)
        else:
            cells[path] = _cell(value)
    return cells


def _cell(value: object) -> Cell:
    match value:
        case bool():
            return "true" if value else "false"
        case None | str() | int() | float() | datetime() | date() | time():
            return value
        case Decimal():
            return float(value)
        case _:
            return str(value)[:200]


class JsonLinesTable:
    """A file of JSON objects, one a line; a nested value is called by its dotted path."""

    preamble: Sequence[str] = ()

    def __init__(self, file: TextFile, decimal: str | None) -> None:
        self._file = file
        self._reading: Lines | None = None
        stretches = [file.head(), *file.looks()]
        names: dict[str, None] = {}
        texts: list[str] = []
        for line in itertools.chain(*stretches):
            if line.strip() and isinstance(cells := _object_in(line), dict):
                names.update(dict.fromkeys(cells))
                texts += [cell for cell in cells.values() if isinstance(cell, str)]
        if not names:
            problem = "no line of the file is a JSON object"
            raise FileRefused(problem, 'Write one object a line, as {"time": …, "air": 21.5}')
        self.columns: Sequence[Column] = columns_named(tuple(names), (), width=len(names))
        self.decimal = decimal or _decimal_of(texts)

    @property
    def said(self) -> Sequence[tuple[str, str]]:
        """How the file is read."""
        return (("kind", "JSON Lines"), ("encoding", self._file.encoding))

    @property
    def settings(self) -> Sequence[tuple[str, str | int]]:
        """The same, as fields of a mapping."""
        return (("encoding", self._file.encoding),)

    def rows(self) -> Iterator[Row]:
        """Yield a row for every line that is not blank."""
        lines = self._file.lines()
        self._reading = lines
        try:
            yield from self._rows_in(enumerate(lines, start=1))
        finally:
            lines.close()

    def sample(self) -> list[list[Row]]:
        """Return stretches of neighbouring rows."""
        head = self._rows_in(enumerate(self._file.head(), start=1))
        looks = (list(self._rows_in((0, line) for line in look)) for look in self._file.looks())
        return looked_at(head, looks)

    def progress(self) -> tuple[int, int]:
        """Return the bytes read, and all there are."""
        return (0 if self._reading is None else self._reading.read_bytes()), self._file.size

    def _rows_in(self, lines: Iterator[tuple[int, str]] | enumerate[str]) -> Iterator[Row]:
        for number, line in lines:
            if not line.strip():
                continue
            read = _object_in(line)
            if isinstance(read, str):
                yield Row(number, (), read)
            else:
                yield Row(number, [read.get(column.name) for column in self.columns])


def _object_in(line: str) -> dict[str, Cell] | str:
    """Return the values in a line by dotted path, or why there are none."""
    try:
        document = json.loads(line.lstrip("\ufeff"))
        return _flat(document) if isinstance(document, dict) else "the line is no JSON object"
    except (ValueError, RecursionError) as error:
        return f"the line is not JSON ({str(error)[:80]})"


def _decimal_of(texts: Sequence[str]) -> str:
    """Return the mark before fractions of numbers that stand in texts."""
    point, comma, doubtful, example = decimal_marks(
        text for text in texts if text and text[-1].isdigit() and not text.count(":")
    )
    if doubtful and not point and not comma:
        problem = f'"{example}" can be a thousand or a decimal fraction'
        ways = (
            Way("decimal=,", f"{example} is {example.replace(',', '.')}", ()),
            Way("decimal=.", f"{example} is {example.replace(',', '')}", ()),
        )
        raise FileRefused(problem, "Choose one with --map", ways)
    return "," if comma and not point else "."


class ParquetTable:
    """A Parquet file. Rows are read batch by batch; timestamps keep their zone."""

    preamble: Sequence[str] = ()
    decimal = "."

    def __init__(self, path: Path) -> None:
        import pyarrow as pa
        import pyarrow.parquet as pq

        try:
            self._file: ParquetFile = pq.ParquetFile(path)
            schema = self._file.schema_arrow
        except (pa.ArrowException, *_BROKEN) as error:
            problem = f"the file is no Parquet that can be read ({str(error)[:120]})"
            raise FileRefused(problem, "Write it again") from error
        self._total = int(self._file.metadata.num_rows)
        self._done = 0
        self.columns: Sequence[Column] = tuple(
            Column(place, str(field.name) or f"#{place + 1}", instants=_instants_in(field.type))
            for place, field in enumerate(schema)
        )

    @property
    def said(self) -> Sequence[tuple[str, str]]:
        """How the file is read."""
        return (("kind", f"Parquet, {self._total} rows"),)

    @property
    def settings(self) -> Sequence[tuple[str, str | int]]:
        """Nothing had to be found out."""
        return ()

    def rows(self) -> Iterator[Row]:
        """Yield every row; `line` counts rows from 1."""
        yield from self._rows_of(range(self._file.num_row_groups), first=1)

    def sample(self) -> list[list[Row]]:
        """Return the first rows, and the first and last of other row groups."""
        groups = self._file.num_row_groups
        head = list(itertools.islice(self._rows_of(range(groups), first=1), HEAD_ROWS))
        if self._total <= HEAD_ROWS:
            return [head]
        stretches = [head]
        spread = sorted({groups * part // 8 for part in range(1, 8)} - {0, groups - 1})
        stretches += [
            list(itertools.islice(self._rows_of([group], first=0), LOOK_ROWS)) for group in spread
        ]
        last: list[Row] = []
        for row in self._rows_of([groups - 1], first=0):
            last = [*last[-LOOK_ROWS:], row] if len(last) > 2 * LOOK_ROWS else [*last, row]
        stretches.append(last[-LOOK_ROWS:])
        return stretches

    def progress(self) -> tuple[int, int]:
        """Return the rows read, and all there are."""
        return self._done, self._total

    def _rows_of(self, groups: Sequence[int], *, first: int) -> Iterator[Row]:
        import pyarrow as pa

        line = first
        for group in groups:
            at = line
            try:
                # Group by group, so that a broken one takes no other with it.
                for batch in self._file.iter_batches(batch_size=_BATCH, row_groups=[group]):
                    columns = [_column_of(batch, place) for place in range(batch.num_columns)]
                    for cells in zip(*columns, strict=True):
                        yield Row(at, cells)
                        at += 1 if first else 0
                    self._done = at
            except (pa.ArrowException, *_BROKEN) as error:
                why = str(error)[:120]
                yield Row(at, (), f"the rows from here to the end of their group are lost ({why})")
            if first:
                line += int(self._file.metadata.row_group(group).num_rows)


def _instants_in(kind: DataType) -> TimeFormat | None:
    import pyarrow as pa

    if not pa.types.is_timestamp(kind):
        return None
    return TimeFormat.UNIX_MS if kind.tz else TimeFormat.WALL_MS


def _column_of(batch: RecordBatch, place: int) -> list[Cell]:
    """Return a column's cells; timestamps as ms, which no library has to make objects of."""
    import pyarrow as pa

    column = batch.column(place)
    if pa.types.is_timestamp(column.type):
        in_ms = column.cast(pa.timestamp("ms", tz=column.type.tz), safe=False)
        counted: list[Cell] = in_ms.cast(pa.int64()).to_pylist()
        return counted
    return [_cell(value) for value in column.to_pylist()]


class WorkbookTable:
    """One sheet of a workbook (.xlsx), read row by row."""

    def __init__(
        self, path: Path, *, sheet: str | None, decimal: str | None, header_line: int | None
    ) -> None:
        self._path = path
        names = self._sheets()
        if sheet is not None and sheet not in names:
            problem = f'the workbook has no sheet "{sheet}"'
            raise FileRefused(problem, f"Write sheet= and one of {', '.join(names)}")
        tables = []
        for name in names if sheet is None else [sheet]:
            head = list(itertools.islice(self._cells_of(name), HEAD_ROWS))
            found = header_in([[_as_text(cell) for cell in cells] for cells in head], header_line)
            if found is not None:
                tables.append((name, head, found))
        if not tables:
            problem = "no sheet has a row with a time and a value"
            raise FileRefused(problem, "See that times are in it, and save it again")
        if len(tables) > 1:
            listed = tuple(
                Way(f"sheet={name}", f"columns {', '.join(found.names[:6])}", ())
                for name, _, found in tables
            )
            problem = f"{len(tables)} sheets hold readings, and one is loaded at a time"
            raise FileRefused(problem, "Choose one with --map, then load the next", listed)
        self._sheet, head, self._header = tables[0]
        self.columns: Sequence[Column] = columns_named(
            self._header.names, self._header.units, width=self._header.width
        )
        self.preamble: Sequence[str] = [
            " ".join(_as_text(cell) for cell in cells if cell is not None)
            for cells in head[: self._header.first]
        ] + [self._sheet]
        texts = [cell for cells in head[self._header.first :] for cell in cells]
        self.decimal = decimal or _decimal_of([text for text in texts if isinstance(text, str)])
        self._done = 0
        self._total = 0

    @property
    def said(self) -> Sequence[tuple[str, str]]:
        """How the workbook is read."""
        at = self._header.at + 1
        names = f"line {at}" if at else "none"
        return (("kind", "workbook"), ("sheet", self._sheet), ("names", names))

    @property
    def settings(self) -> Sequence[tuple[str, str | int]]:
        """The same, as fields of a mapping."""
        return (("sheet", self._sheet), ("header_line", self._header.at + 1))

    def rows(self) -> Iterator[Row]:
        """Yield every row of data that is not blank."""
        for number, cells in enumerate(self._cells_of(self._sheet), start=1):
            self._done = number
            if number > self._header.first and any(cell is not None for cell in cells):
                problem = cells[0] if isinstance(cells[0], _Trouble) else ""
                yield Row(number, () if problem else cells, str(problem))

    def sample(self) -> list[list[Row]]:
        """Return the first and the last rows; the whole sheet is passed over for the last."""
        head: list[Row] = []
        tail: list[Row] = []
        for row in self.rows():
            if len(head) < HEAD_ROWS:
                head.append(row)
            else:
                tail.append(row)
                if len(tail) > 2 * LOOK_ROWS:
                    del tail[:LOOK_ROWS]
        self._total = self._done
        return [head, tail] if tail else [head]

    def progress(self) -> tuple[int, int]:
        """Return the rows read, and all there are."""
        return self._done, self._total

    def _sheets(self) -> list[str]:
        from openpyxl import load_workbook

        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # about styles, which hold no reading
                book = load_workbook(self._path, read_only=True, data_only=True)
            names = [sheet.title for sheet in book.worksheets]
            book.close()
        except _BROKEN as error:
            problem = f"the file is no workbook that can be read ({str(error)[:120]})"
            raise FileRefused(problem, "Save it as .xlsx or as CSV again") from error
        return names

    def _cells_of(self, sheet: str) -> Iterator[list[Cell]]:
        from openpyxl import load_workbook

        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                book = load_workbook(self._path, read_only=True, data_only=True)
            shown: ReadOnlyWorksheet = book[sheet]
            shown.reset_dimensions()  # some writers claim a wrong size
            for cells in shown.iter_rows(values_only=True):
                yield [_cell(value) for value in cells]
            book.close()
        except _BROKEN as error:
            yield [_Trouble(f"the file cannot be read any further ({str(error)[:120]})")]


class _Trouble(str):
    """A cell that stands for a sheet that breaks off; its text says why."""

    __slots__ = ()


def _as_text(cell: Cell) -> str:
    match cell:
        case None:
            return ""
        case datetime():
            return cell.isoformat(sep=" ", timespec="seconds")
        case float():
            return f"{cell:.12g}"
        case _:
            return str(cell).strip()


def open_json_lines(path: Path, *, encoding: str | None, decimal: str | None) -> JsonLinesTable:
    """Return a file of JSON Lines as a table. Raises FileRefused, OSError."""
    return JsonLinesTable(open_text(path, encoding), decimal)
