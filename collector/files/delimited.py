"""Text tables, row by row: comma, semicolon, tab, bar or blanks between the cells."""

from __future__ import annotations

import csv
import itertools
from typing import TYPE_CHECKING

from collector.files.dialect import BLANKS, SAID_SEPARATOR, Dialect, dialect_of, rejoined, split
from collector.files.table import Column, Row, looked_at
from collector.files.text import open_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from collector.files.text import Lines, TextFile

_MOST_LINES_IN_ROW = 20


class DelimitedTable:
    """A text file taken apart as its dialect says."""

    def __init__(self, file: TextFile, dialect: Dialect) -> None:
        self._file = file
        self.dialect = dialect
        self.columns: Sequence[Column] = columns_named(
            dialect.names, dialect.units, width=dialect.width
        )
        self.preamble: Sequence[str] = dialect.preamble
        self.decimal = dialect.decimal
        self._reading: Lines | None = None

    @property
    def said(self) -> Sequence[tuple[str, str]]:
        """How the text is read."""
        mark = {".": "point", ",": "comma"}[self.decimal]
        names = f"line {self.dialect.header_line}" if self.dialect.header_line else "none"
        return (
            ("encoding", self._file.encoding),
            ("separator", SAID_SEPARATOR.get(self.dialect.separator, self.dialect.separator)),
            ("decimal", mark),
            ("names", names),
        )

    @property
    def settings(self) -> Sequence[tuple[str, str | int]]:
        """The same, as fields of a mapping."""
        return (
            ("encoding", self._file.encoding),
            ("separator", self.dialect.separator),
            ("decimal", self.decimal),
            ("header_line", self.dialect.header_line),
        )

    def rows(self) -> Iterator[Row]:
        """Yield every row of data. Blank lines are none."""
        lines = self._file.lines()
        self._reading = lines
        try:
            yield from self._rows_in(iter(lines), self.dialect.first_line)
        finally:
            lines.close()

    def sample(self) -> list[list[Row]]:
        """Return stretches of neighbouring rows: head, looks into the rest, end."""
        head = self._rows_in(iter(self._file.head()), self.dialect.first_line)
        looks = (
            [self._row(0, cells) for line in look if (cells := split(line, self.dialect.separator))]
            for look in self._file.looks()
        )
        return looked_at(head, looks)

    def progress(self) -> tuple[int, int]:
        """Return the bytes read, and all there are."""
        return (0 if self._reading is None else self._reading.read_bytes()), self._file.size

    def _rows_in(self, lines: Iterator[str], first_line: int) -> Iterator[Row]:
        for _ in itertools.islice(lines, first_line - 1):
            pass
        if self.dialect.separator == BLANKS:
            for number, line in enumerate(lines, start=first_line):
                cells = line.split()
                if cells:
                    yield self._row(number, cells)
            return
        yield from self._quoted_rows(lines, first_line)

    def _quoted_rows(self, lines: Iterator[str], first_line: int) -> Iterator[Row]:
        """Yield rows; a quotation mark that is never closed costs its own line and no other."""
        number = first_line - 1
        waiting: list[str] = []

        def counted() -> Iterator[str]:
            nonlocal number
            for line in lines:
                number += 1
                waiting.append(line)
                if len(waiting) > _MOST_LINES_IN_ROW:
                    return
                yield line

        plain = self.dialect.joined is False
        while True:
            reader = csv.reader(counted(), delimiter=self.dialect.separator, skipinitialspace=True)
            try:
                for cells in reader:
                    if len(waiting) > 1:
                        break
                    waiting.clear()
                    if cells:
                        yield Row(number, cells) if plain else self._row(number, cells)
            except csv.Error:
                pass
            if not waiting:
                return
            # One row over several lines: read each by itself, so that none is swallowed.
            again, first = list(waiting), number - len(waiting) + 1
            waiting.clear()
            for offset, line in enumerate(again):
                if line.strip():
                    yield self._unquoted(first + offset, line)

    def _unquoted(self, number: int, line: str) -> Row:
        if line.count('"') % 2:
            return Row(number, (), "a quotation mark is not closed")
        return self._row(number, split(line, self.dialect.separator))

    def _row(self, number: int, cells: list[str]) -> Row:
        if not self.dialect.joined:
            return Row(number, cells)
        whole = rejoined(cells, self.dialect.width)
        if whole is None:
            return Row(number, (), "nobody can tell which commas stand before fractions")
        return Row(number, whole)


def columns_named(names: Sequence[str], units: Sequence[str], *, width: int) -> tuple[Column, ...]:
    """Return columns with a name each; one without a name is called by its number.

    >>> [column.name for column in columns_named(["t", "", "t"], (), width=4)]
    ['t', '#2', 't', '#4']
    """
    return tuple(
        Column(
            index=place,
            name=(names[place].strip() if place < len(names) else "") or f"#{place + 1}",
            unit=units[place] if place < len(units) else "",
        )
        for place in range(max(width, len(names)))
    )


def open_delimited(
    path: Path,
    *,
    encoding: str | None,
    separator: str | None,
    decimal: str | None,
    header_line: int | None,
) -> DelimitedTable:
    """Return a text file as a table, found out as far as not given. Raises FileRefused, OSError."""
    file = open_text(path, encoding)
    looks = file.looks()
    dialect = dialect_of(
        file.head(), looks, separator=separator, decimal=decimal, header_line=header_line
    )
    return DelimitedTable(file, dialect)
