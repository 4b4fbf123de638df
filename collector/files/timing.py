"""Which columns hold the time, how it is written, in which order its date, on which clock."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.files.cells import Look, counted, is_date, look_of
from collector.files.dialect import is_time_word
from collector.files.refusal import FileRefused, Way
from collector.files.times import (
    DAY_MS,
    SAID_ORDER,
    Cell,
    DateOrder,
    NoTime,
    TimeFormat,
    TimeReader,
    counted_form,
    wall_time,
)
from collector.files.wall_clock import zone_named

if TYPE_CHECKING:
    from datetime import tzinfo

    from collector.files.mapping import FileMapping
    from collector.files.table import Column, Row, Table

_MOST_LOOKED_AT = 3_000
_MOST_OF_THEM = 0.5
_MOST_AHEAD_MS = 2 * DAY_MS
_OFFSET_SAID = re.compile(r"\b(?:UTC|GMT)\s*(?:([+\-−])\s*(\d{1,2})(?::?(\d{2}))?)?(?!\w)")
_ZONE_SAID = re.compile(r"\b([A-Z][A-Za-z]+/[A-Z][A-Za-z_]+(?:/[A-Z][A-Za-z_]+)?)\b")

Sample = Sequence[Sequence["Row"]]


@dataclass(frozen=True, slots=True)
class Timing:
    """How a file tells the time. `reader` is made anew for every pass over the file."""

    columns: tuple[Column, ...]
    form: TimeFormat
    order: DateOrder
    order_by: str
    zone: tzinfo
    zone_name: str
    zone_by: str

    def reader(self) -> TimeReader:
        """Return what reads the instants of this file."""
        return TimeReader(self.form, self.order)

    def cells_of(self, cells: Sequence[Cell]) -> Sequence[Cell] | None:
        """Return the cells that hold a row's time; None when the row ends before them."""
        if self.columns[-1].index >= len(cells) or self.columns[0].index >= len(cells):
            return None
        return [cells[column.index] for column in self.columns]


def timing_of(
    table: Table, sample: Sample, mapping: FileMapping, *, site_zone: str, now_ms: int
) -> Timing:
    """Return how a file tells the time, found out where the mapping does not say.

    Raises FileRefused: no time, two columns of it, or dates that can be read in two orders.
    """
    columns = _named_columns(table, mapping.time) if mapping.time else _time_columns(table, sample)
    form = mapping.time_format or _form_of(columns, sample)
    zone, name, by = _zone_of(columns, table, mapping, site_zone)
    order, order_by = DateOrder.YMD, ""
    if form is TimeFormat.TEXT:
        if mapping.date_order is not None:
            order, order_by = mapping.date_order, "you"
        else:
            order, order_by = _order_of(table, columns, sample, now_ms)
    return Timing(columns, form, order, order_by, zone, name, by)


def _named_columns(table: Table, names: Sequence[str]) -> tuple[Column, ...]:
    found = []
    for name in names:
        same = [one for one in table.columns if name in {one.name, f"#{one.index + 1}"}]
        if len(same) != 1:
            listed = ", ".join(f'"{column.name}"' for column in table.columns[:12])
            problem = f'time: {len(same) or "no"} columns are called "{name}"'
            raise FileRefused(problem, f"Columns are {listed}; a number is written as #1")
        found.append(same[0])
    return tuple(found)


def _cells_in(sample: Sample, place: int) -> list[Cell]:
    cells = (row.cells[place] for stretch in sample for row in stretch if place < len(row.cells))
    return [cell for cell in itertools.islice(cells, _MOST_LOOKED_AT) if cell not in {None, ""}]


def _share(cells: Sequence[Cell], fits: Callable[[Cell], bool]) -> float:
    return sum(fits(cell) for cell in cells) / len(cells) if cells else 0.0


def _time_columns(table: Table, sample: Sample) -> tuple[Column, ...]:
    stamps: list[Column] = []
    dates: list[Column] = []
    times: list[Column] = []
    numbers: list[Column] = []
    for column in table.columns:
        headings = {column.name, column.unit}
        cells = [cell for cell in _cells_in(sample, column.index) if cell not in headings]
        texts = [cell for cell in cells if isinstance(cell, str)]
        if column.instants is not None or _share(cells, _is_stamp) >= _MOST_OF_THEM:
            # A date beside a column of its own for the time has midnight for its time.
            (dates if cells and _share(cells, _is_midnight) == 1.0 else stamps).append(column)
        elif _share(cells, _is_date) >= _MOST_OF_THEM and (
            not _share(texts, _is_bare_number) or is_time_word(column.name)
        ):
            dates.append(column)
        elif _share(cells, _is_time) >= _MOST_OF_THEM:
            times.append(column)
        elif _counts_time(column, cells):
            numbers.append(column)
    if len(dates) == 1 and len(times) == 1 and not stamps:
        return (dates[0], times[0])
    found = stamps or (dates if dates and not times and _any_midnight(dates, sample) else [])
    found = found or numbers
    if not found:
        problem = "no column holds a date with a time"
        if dates or times:
            problem = "dates and times of day do not pair up"
        raise FileRefused(problem, 'Write --map "time=COLUMN" or --map "time=DATE+TIME"')
    if len(found) > 1:
        zoned = [column for column in found if _OFFSET_SAID.search(column.name)]
        if len(zoned) == 1:
            return (zoned[0],)
        raise _two_times(found, sample)
    return (found[0],)


def _any_midnight(dates: Sequence[Column], sample: Sample) -> bool:
    return any(_share(_cells_in(sample, column.index), _is_stamp) for column in dates)


def _is_stamp(cell: Cell) -> bool:
    if isinstance(cell, str):
        return look_of(cell) is Look.STAMP
    return hasattr(cell, "hour") and hasattr(cell, "year")


def _is_midnight(cell: Cell) -> bool:
    if isinstance(cell, str):
        return bool(re.search(r"[T ]00:00(?::00)?(?:\.0+)?$", cell.strip()))
    parts = ("hour", "minute", "second")
    return _is_stamp(cell) and not any(getattr(cell, part) for part in parts)


def _is_date(cell: Cell) -> bool:
    if isinstance(cell, str):
        return is_date(cell.strip())
    return hasattr(cell, "year") and not hasattr(cell, "hour")


def _is_time(cell: Cell) -> bool:
    if isinstance(cell, str):
        return look_of(cell) is Look.TIME
    return hasattr(cell, "hour") and not hasattr(cell, "year")


def _is_bare_number(cell: Cell) -> bool:
    return isinstance(cell, str) and cell.strip().isdigit()


def _counted(cell: Cell) -> TimeFormat | None:
    if isinstance(cell, str):
        return counted(cell)
    return counted_form(cell) if isinstance(cell, int | float) else None


def _counts_time(column: Column, cells: Sequence[Cell]) -> bool:
    forms = Counter(_counted(cell) for cell in cells[:500])
    wrong = forms.pop(None, 0)
    if len(forms) != 1 or wrong * 2 > len(cells[:500]):
        return False
    if is_time_word(column.name):
        return True
    # Without a name it must behave like a clock: first in the row, and always in one direction.
    values = [float(str(cell).replace(",", ".")) for cell in cells[:500] if _counted(cell)]
    steps = [later - earlier for earlier, later in itertools.pairwise(values) if later != earlier]
    one_way = bool(steps) and (min(steps) > 0 or max(steps) < 0)
    return column.index <= 1 and one_way and wrong == 0


def _two_times(found: Sequence[Column], sample: Sample) -> FileRefused:
    ways = tuple(
        Way(
            f"time={column.name}",
            f"column {column.index + 1}",
            tuple(str(cell) for cell in _cells_in(sample, column.index)[:3]),
        )
        for column in found
    )
    names = " and ".join(f'"{column.name}"' for column in found)
    return FileRefused(f"columns {names} both hold times", "Choose one with --map", ways)


def _form_of(columns: Sequence[Column], sample: Sample) -> TimeFormat:
    column = columns[0]
    if column.instants is not None:
        return column.instants
    cells = _cells_in(sample, column.index)
    if len(columns) == 1 and cells and not any(_is_stamp(cell) for cell in cells[:50]):
        forms = {_counted(cell) for cell in cells[:500]} - {None}
        if len(forms) == 1:
            form = forms.pop()
            if form is not None:
                return form
        problem = f'the times in column "{column.name}" (as "{cells[0]}") are not understood'
        raise FileRefused(problem, "Name another with --map time=, or write time_format=")
    return TimeFormat.TEXT


def _zone_of(
    columns: Sequence[Column], table: Table, mapping: FileMapping, site_zone: str
) -> tuple[tzinfo, str, str]:
    if mapping.zone is not None:
        return zone_named(mapping.zone), mapping.zone, "you"
    for column in columns:
        name = _offset_in(f"{column.name} {column.unit}")
        if name:
            return zone_named(name), name, "its heading"
    for line in table.preamble[:-1] if table.preamble else ():
        named = _ZONE_SAID.search(line)
        if named and "Etc/" not in line:
            try:
                return zone_named(named[1]), named[1], "the lines above the table"
            except ValueError:
                pass
        name = _offset_in(line) if "zone" in line.casefold() or "offset" in line.casefold() else ""
        if name:
            return zone_named(name), name, "the lines above the table"
    return zone_named(site_zone), site_zone, "the site file"


def _offset_in(text: str) -> str:
    """Return the offset that a text names, as "+02:00"; empty when it names none."""
    found = _OFFSET_SAID.search(text)
    if found is None:
        return ""
    hours, minutes = int(found[2] or 0), int(found[3] or 0)
    if hours > 14 or minutes > 59:
        return ""
    return f"{'-' if found[1] in {'-', '−'} else '+'}{hours:02}:{minutes:02}"


def _order_of(
    table: Table, columns: Sequence[Column], sample: Sample, now_ms: int
) -> tuple[DateOrder, str]:
    """Return the order of day, month and year, and what settled it."""
    rows = [row.cells for stretch in sample for row in stretch if row.cells]
    readings = {order: _read_all(order, columns, rows) for order in DateOrder}
    most = max(len(read) for read, _ in readings.values())
    fitting = {
        order: read
        for order, (read, wrong) in readings.items()
        if read and wrong == min(w for r, w in readings.values() if r) and len(read) == most
    }
    if len({tuple(read) for read in fitting.values()}) <= 1:
        return next(iter(fitting), DateOrder.YMD), "its dates"
    for settle in (_by_steps, _by_today):
        settled = settle(fitting, now_ms)
        if settled is not None:
            return settled
    left = _by_whole_file(table, columns, tuple(fitting))
    if len(left) == 1:
        return left[0], "a date further down"
    raise _two_orders(left, {order: fitting[order] for order in left}, columns, rows)


def _read_all(
    order: DateOrder, columns: Sequence[Column], rows: Sequence[Sequence[Cell]]
) -> tuple[list[int], int]:
    """Return the wall clock's ms of every row that can be read so, and how many cannot."""
    reader = TimeReader(TimeFormat.TEXT, order)
    read: list[int] = []
    wrong = 0
    for cells in rows:
        if any(column.index >= len(cells) for column in columns):
            continue
        try:
            read.append(reader.read([cells[column.index] for column in columns])[0])
        except NoTime:
            wrong += 1
    return read, wrong


def _by_steps(fitting: dict[DateOrder, list[int]], _now_ms: int) -> tuple[DateOrder, str] | None:
    """In the right order time goes on steadily; in a wrong one it leaps by months."""
    travelled = {
        order: sum(abs(later - earlier) for earlier, later in itertools.pairwise(read))
        for order, read in fitting.items()
    }
    least = min(travelled, key=lambda order: travelled[order])
    others = [far for order, far in travelled.items() if order is not least]
    if others and min(others) > max(8 * travelled[least], 15 * DAY_MS):
        return least, "the steps from row to row"
    return None


def _by_today(fitting: dict[DateOrder, list[int]], now_ms: int) -> tuple[DateOrder, str] | None:
    past = [order for order, read in fitting.items() if max(read) <= now_ms + _MOST_AHEAD_MS]
    return (past[0], "the others lie in the future") if len(past) == 1 else None


def _by_whole_file(
    table: Table, columns: Sequence[Column], orders: Sequence[DateOrder]
) -> list[DateOrder]:
    """Return the orders in which every date of the whole file can be read; stops when one is left.

    A date that none of them can read is passed over.
    """
    left = list(orders)
    readers = {order: TimeReader(TimeFormat.TEXT, order) for order in orders}
    for row in table.rows():
        if any(column.index >= len(row.cells) for column in columns):
            continue
        cells = [row.cells[column.index] for column in columns]
        able = [order for order in left if _reads(readers[order], cells)]
        if able:
            left = able
        if len(left) == 1:
            break
    return left


def _reads(reader: TimeReader, cells: Sequence[Cell]) -> bool:
    try:
        reader.read(cells)
    except NoTime:
        return False
    return True


def _two_orders(
    left: Sequence[DateOrder],
    fitting: dict[DateOrder, list[int]],
    columns: Sequence[Column],
    rows: Sequence[Sequence[Cell]],
) -> FileRefused:
    written = [
        " ".join(str(cells[column.index]) for column in columns)
        for cells in rows
        if all(column.index < len(cells) for column in columns)
    ]
    ways = tuple(
        Way(
            f"date_order={order}",
            SAID_ORDER[order],
            tuple(
                f"{text} is {wall_time(fitting[order][place]):%d %B %Y %H:%M}"
                for place, text in ((0, written[0]), (-1, written[-1]))
            ),
        )
        for order in left
    )
    problem = "its dates can be read in more than one order, and nothing in the file settles it"
    return FileRefused(problem, "Choose one with --map", ways)
