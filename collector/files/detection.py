"""What was found out about a file, ready to be shown and then used."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from math import isnan
from typing import TYPE_CHECKING

from collector.files.columns import ChannelColumn, Channels, LeftOut
from collector.files.delimited import open_delimited
from collector.files.doubts import likelier_unit
from collector.files.headings import unit_spelt
from collector.files.mapping import LEFT_OUT, ColumnChoice, FileMapping
from collector.files.numbers import as_float, number_in, with_unit
from collector.files.refusal import FileRefused, Way
from collector.files.tabular import ParquetTable, WorkbookTable, open_json_lines
from collector.files.times import Cell, NoTime, TimeFormat, wall_time
from collector.files.timing import Sample, Timing, timing_of
from collector.files.wall_clock import Direction, WallClock, direction_of
from rules.model.quantities import in_our_unit

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from collector.files.table import Column, Table
    from rules.model.place import Sensor

_SHOWN_ROWS = 3
_NIGHT_HOURS = frozenset({21, 22, 23, 0, 1, 2, 3, 4, 5})
TEXT_ENDINGS = frozenset({".csv", ".txt", ".tsv", ".tab", ".dat", ".asc", ".log", ".prn", ""})


@dataclass(frozen=True, slots=True)
class Detection:
    """How a file is going to be read.

    `first_ms` and `last_ms` are the instants of its first and last row that have one; `shown` its
    first rows, each the time as written and the values as written.
    """

    path: Path
    table: Table
    timing: Timing
    columns: tuple[ChannelColumn, ...]
    left_out: tuple[LeftOut, ...]
    missing: tuple[float | str, ...]
    direction: Direction
    first_ms: int | None
    last_ms: int | None
    shown: tuple[tuple[str, ...], ...]

    def clock(self) -> WallClock:
        """Return the clock that the file's times were read from."""
        return WallClock(self.timing.zone)

    def mapping(self) -> FileMapping:
        """Return everything that was found out, as a mapping that leads to the same again."""
        timing = self.timing
        names = [column.name for column in self.table.columns]
        fields: dict[str, object] = dict(self.table.settings)
        fields["time"] = tuple(_called(column, names) for column in timing.columns)
        if timing.columns[0].instants is None:
            fields["time_format"] = timing.form
        if timing.form is TimeFormat.TEXT:
            fields["date_order"] = timing.order
        fields["zone"] = timing.zone_name
        fields["missing"] = self.missing
        fields["column"] = {
            **{
                _called(one.column, names): ColumnChoice(channel=one.channel.key, unit=one.unit)
                for one in self.columns
            },
            **{_called(one.column, names): ColumnChoice(channel=LEFT_OUT) for one in self.left_out},
        }
        return FileMapping.model_validate(fields)


def _called(column: Column, names: Sequence[str]) -> str:
    return column.name if names.count(column.name) == 1 else f"#{column.index + 1}"


def detect(
    path: Path, sensors: Sequence[Sensor], mapping: FileMapping, *, site_zone: str, now_ms: int
) -> Detection:
    """Return how a file is to be read. Raises FileRefused when that cannot be settled."""
    try:
        table = open_table(path, mapping)
        sample = table.sample()
        timing = timing_of(table, sample, mapping, site_zone=site_zone, now_ms=now_ms)
    except OSError as error:
        problem = f"the file cannot be read ({(error.strerror or str(error)).lower()})"
        raise FileRefused(problem, "Name a file that is there, and that you may read") from error
    of_time = {column.index for column in timing.columns}
    values = [column for column in table.columns if column.index not in of_time]
    preamble = [("the file", line) for line in table.preamble]
    columns, left_out = Channels(sensors).columns_in(
        values,
        mapping,
        places=[*preamble, ("the file's name", path.stem)],
        cell_units=_units_in_cells(table, sample, values),
    )
    columns = tuple(_doubtless(one, table, timing, sample) for one in columns)
    clock = WallClock(timing.zone)
    walls = _walls(timing, sample)
    return Detection(
        path=path,
        table=table,
        timing=timing,
        columns=columns,
        left_out=left_out,
        missing=mapping.missing,
        direction=direction_of([[ms for ms, _ in stretch] for stretch in walls]),
        first_ms=_first_instant(clock, (one for stretch in walls for one in stretch)),
        last_ms=_first_instant(
            clock, (one for stretch in reversed(walls) for one in reversed(stretch))
        ),
        shown=_shown(timing, columns, sample),
    )


def open_table(path: Path, mapping: FileMapping) -> Table:
    """Return the table in a file, by its ending. Raises FileRefused, OSError."""
    match path.suffix.casefold():
        case ".jsonl" | ".ndjson":
            return open_json_lines(path, encoding=mapping.encoding, decimal=mapping.decimal)
        case ".parquet" | ".pq":
            return ParquetTable(path)
        case ".xlsx" | ".xlsm":
            return WorkbookTable(
                path,
                sheet=mapping.sheet,
                decimal=mapping.decimal,
                header_line=mapping.header_line,
            )
        case ".xls" | ".ods" | ".zip" | ".gz" | ".pdf" | ".json" as ending:
            problem = f"files that end in {ending} are not read"
            fix = "Save it as CSV, .xlsx, .parquet or .jsonl (one JSON object a line)"
            raise FileRefused(problem, fix)
        case _:
            return open_delimited(
                path,
                encoding=mapping.encoding,
                separator=mapping.separator,
                decimal=mapping.decimal,
                header_line=mapping.header_line,
            )


def _units_in_cells(table: Table, sample: Sample, columns: Sequence[Column]) -> dict[int, str]:
    """Return the unit that most cells of a column carry behind their figures, if any do."""
    found: dict[int, str] = {}
    for column in columns:
        units: Counter[str] = Counter()
        for row in itertools.islice(itertools.chain(*sample), 500):
            cell = row.cells[column.index] if column.index < len(row.cells) else None
            if not isinstance(cell, str) or number_in(cell, table.decimal) is not None:
                continue
            split = with_unit(cell)
            if split and unit_spelt(split[1]):
                units[split[1]] += 1
        if units:
            found[column.index] = units.most_common(1)[0][0]
    return found


def _doubtless(one: ChannelColumn, table: Table, timing: Timing, sample: Sample) -> ChannelColumn:
    """Return the column; raise FileRefused when its values speak for another unit."""
    if one.chosen:
        return one
    reader = timing.reader()
    every: list[float] = []
    night: list[float] = []
    for row in itertools.chain(*sample):
        if one.column.index >= len(row.cells):
            continue
        value = value_in(row.cells[one.column.index], table.decimal)
        if value is None or abs(value) >= 990:  # such figures stand for no value
            continue
        every.append(value)
        cells = timing.cells_of(row.cells)
        try:
            ms = None if cells is None else reader.read(cells)
        except NoTime:
            continue
        if ms is not None and _hour(*ms, timing=timing) in _NIGHT_HOURS:
            night.append(value)
    other = likelier_unit(one.channel.quantity, one.unit, night=night, every=every)
    if other is None:
        return one
    middle = sorted(night or every)[len(night or every) // 2]
    ways = tuple(
        Way(
            f"{one.column.name}={one.channel.key} {unit}",
            f"{middle:g} {unit}",
            (f"is {in_our_unit(one.channel.quantity, unit, middle):.1f} in our unit",),
        )
        for unit in (other, one.unit)
    )
    when = "at night" if night else "in the middle"
    problem = (
        f'column "{one.column.name}" is said to be in {one.unit} by {one.unit_by}, but reads '
        f"{middle:g} {when}: it looks like {other}"
    )
    raise FileRefused(problem, "Look at the logger, then choose one with --map", ways)


def _hour(ms: int, is_instant: object, *, timing: Timing) -> int:
    """Return the hour on the wall."""
    return (datetime.fromtimestamp(ms / 1000, timing.zone) if is_instant else wall_time(ms)).hour


def value_in(cell: Cell, decimal: str) -> float | None:
    """Return the figure in a cell, with or without a unit behind it; None if there is none."""
    match cell:
        case int() | float():
            return None if isnan(figure := as_float(cell)) else figure
        case str():
            value = number_in(cell, decimal)
            if value is None and (split := with_unit(cell)) and unit_spelt(split[1]):
                value = number_in(split[0], decimal)
            return value
        case _:
            return None


def _walls(timing: Timing, sample: Sample) -> list[list[tuple[int, bool]]]:
    reader = timing.reader()
    stretches: list[list[tuple[int, bool]]] = []
    for stretch in sample:
        read: list[tuple[int, bool]] = []
        for row in stretch:
            cells = timing.cells_of(row.cells)
            try:
                if cells is not None:
                    read.append(reader.read(cells))
            except NoTime:
                continue
        stretches.append(read)
    return stretches


def _first_instant(clock: WallClock, walls: Iterable[tuple[int, bool]]) -> int | None:
    for ms, is_instant in walls:
        meant = (ms,) if is_instant else clock.instants(ms)
        if meant:
            return meant[0]
    return None


def _shown(
    timing: Timing, columns: Sequence[ChannelColumn], sample: Sample
) -> tuple[tuple[str, ...], ...]:
    rows: list[tuple[str, ...]] = []
    reader = timing.reader()
    for row in itertools.chain(*sample):
        cells = timing.cells_of(row.cells)
        try:
            if cells is None or not reader.read(cells):
                continue
        except NoTime:
            continue
        at = " ".join(str(cell) for cell in cells)
        values = [
            str(row.cells[one.column.index]) if one.column.index < len(row.cells) else ""
            for one in columns
        ]
        rows.append((at, *values))
        if len(rows) == _SHOWN_ROWS:
            break
    return tuple(rows)
