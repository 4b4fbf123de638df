"""How a text file is laid out: separator, decimal mark, header block, names, units."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.files.cells import Look, counted, look_of
from collector.files.headings import heading_of, unit_spelt
from collector.files.numbers import decimal_marks, with_unit
from collector.files.refusal import FileRefused, Way
from collector.files.times import DateOrder, NoTime, days_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

BLANKS = " "
SEPARATORS = (";", "\t", "|", ",", BLANKS)
SAID_SEPARATOR = {";": "semicolon", "\t": "tab", "|": "bar", ",": "comma", BLANKS: "blanks"}
_MOST_LINES = 400
_MOST_HEADER_LINES = 5

_TIME_WORDS = frozenset(
    {
        "time", "date", "datetime", "timestamp", "day", "hour", "fecha", "hora", "dia", "día",
        "datum", "zeit", "uhrzeit", "tmstamp", "ts", "local", "utc", "gmt", "when", "at", "instant",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Dialect:
    """How to take a text file apart.

    `header_line` counts from 1; 0: there are no names. `first_line` is the first line of data.
    `joined`: separator and decimal mark are both a comma, and numbers were not put in quotes.
    """

    separator: str
    decimal: str
    header_line: int
    first_line: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    preamble: tuple[str, ...]
    width: int
    joined: bool = False


def split(line: str, separator: str) -> list[str]:
    """Return the cells of one line.

    >>> split('a;"b;c"; d', ";")
    ['a', 'b;c', 'd']
    """
    if separator == BLANKS:
        return line.split()
    try:
        rows = list(csv.reader([line.rstrip("\r\n")], delimiter=separator, skipinitialspace=True))
    except csv.Error:
        return line.rstrip("\r\n").split(separator)
    return [cell.strip() for cell in rows[0]] if rows else []


def is_time_word(name: str) -> bool:
    """Return whether a column's name speaks of time."""
    words = "".join(mark if mark.isalpha() else " " for mark in name.casefold()).split()
    return bool(_TIME_WORDS & set(words))


def dialect_of(
    lines: Sequence[str],
    looks: Sequence[Sequence[str]],
    *,
    separator: str | None,
    decimal: str | None,
    header_line: int | None,
) -> Dialect:
    """Return the layout of a file from its head and from looks into the rest.

    What is given is not found out. Raises FileRefused: no table, or two ways to read one.
    """
    head = lines[:_MOST_LINES]
    chosen, rows = _separator_in(head, separator)
    header = header_in(rows, header_line)
    if header is None:
        raise _no_table(head)
    names = _names_in_line(head, header) if chosen == BLANKS else header.names
    every = [row for row in rows[header.first :] if _is_data(row)] + [
        cells for look in looks for line in look if _is_data(cells := split(line, chosen))
    ]
    names = _whole_names(names, every, header.width)
    mark, joined = _decimal_in(every, names, chosen, decimal)
    if names and not joined:
        _refuse_shifted(rows[header.first], names, width=header.width)
    return Dialect(
        separator=chosen,
        decimal=mark,
        header_line=header.at + 1,
        first_line=header.first + 1,
        names=names,
        units=header.units,
        preamble=tuple(line.strip()[:500] for line in head[: header.first] if line.strip()),
        width=len(names) if joined else max(header.width, len(names)),
        joined=joined,
    )


@dataclass(frozen=True, slots=True)
class Header:
    """Where names (line `at`, from 0; -1: none) and data (`first`) of a table begin."""

    at: int
    first: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    width: int


def header_in(rows: Sequence[Sequence[str]], header_line: int | None) -> Header | None:
    """Return where a table begins in its first rows; None when no row of data is among them.

    `header_line`: the line of names as given, from 1; 0: there is none; None: to be found.
    """
    data = [number for number, row in enumerate(rows) if _is_data(row)]
    if header_line:
        data = [number for number in data if number >= header_line]
    if not data:
        return None
    width = Counter(len(rows[number]) for number in data).most_common(1)[0][0]
    first = next((one for one in data if abs(len(rows[one]) - width) <= 1), data[0])
    at = header_line - 1 if header_line is not None else _names_above(rows, first, width)
    names = list(rows[at]) if at >= 0 else []
    if names and names[0] == "#" and len(names) == width + 1:
        del names[0]  # it marks the line, and is no name of a column
    elif names and names[0].startswith("#") and names[0] != "#":
        names[0] = names[0].lstrip("# ")
    units = _units_between(rows, at, first) if at >= 0 else ()
    return Header(at, first, tuple(_without_empty_end(names)), tuple(units), width)


def _names_in_line(head: Sequence[str], header: Header) -> tuple[str, ...]:
    """Return names set apart by blanks; none when there are not as many as cells in a row.

    A name may hold single blanks itself.
    """
    if len(header.names) == header.width or header.at < 0:
        return header.names
    wide = tuple(re.split(r"\s{2,}", head[header.at].strip().lstrip("# ")))
    return wide if len(wide) == header.width else ()


def _whole_names(
    names: tuple[str, ...], rows: Sequence[Sequence[str]], width: int
) -> tuple[str, ...]:
    """Return the names, put together with units that an unquoted comma tore off: Temp, °C.

    Raises FileRefused when there are more names than any row has cells.
    """
    if len(names) <= max(len(row) for row in rows):
        return names
    whole: list[str] = []
    for name in names:
        if whole and unit_spelt(name):
            whole[-1] = f"{whole[-1]}, {name}"
        else:
            whole.append(name)
    if len(whole) == width:
        return tuple(whole)
    _refuse_shifted(rows[0], names, width=width, sure=True)
    return names


def _refuse_shifted(
    row: Sequence[str], names: Sequence[str], *, width: int, sure: bool = False
) -> None:
    """Raise FileRefused when names and cells do not line up: then all may be called wrongly."""
    places = [
        place
        for place, cell in enumerate(row)
        if look_of(cell) in {Look.STAMP, Look.DATE, Look.TIME}
    ]
    named = [place for place, name in enumerate(names) if is_time_word(name)]
    lines_up = bool(set(places) & set(named)) if named and places else len(names) == width
    if not sure and (lines_up or not places):
        return
    shown = ", ".join(f"{name} = {cell}" for name, cell in zip(names, row, strict=False))
    problem = f"names and cells do not line up ({shown[:200]})"
    fix = (
        "Correct the heading, or read the file without it: --map header_line=0, then name columns "
        "by number, as --map #2=SENSOR/CHANNEL"
    )
    raise FileRefused(problem, fix)


def _separator_in(head: Sequence[str], given: str | None) -> tuple[str, list[list[str]]]:
    best: tuple[int, int, str, list[list[str]]] | None = None
    for separator in SEPARATORS if given is None else (given,):
        rows = [split(line, separator) for line in head]
        data = [row for row in rows if _is_data(row)]
        # A column more is a column that another separator left glued to its neighbour.
        score = (len(data), sum(_known(row) for row in data[:50]))
        if best is None or score > best[:2]:
            best = (*score, separator, rows)
    if best is None or best[0] == 0:
        raise _no_table(head)
    return best[2], best[3]


def _no_table(head: Sequence[str]) -> FileRefused:
    shown = "; ".join(line.strip()[:60] for line in head[:2] if line.strip())
    problem = f"no row with a time and a value was found (it begins: {shown})"
    fix = "Export the readings as CSV, a row for each time, and see that the times are in it"
    return FileRefused(problem, fix)


def _is_data(row: Sequence[str]) -> bool:
    """Return whether a row holds an instant and at least one cell beside it."""
    looks = [look_of(cell) for cell in row[:12]]
    if Look.STAMP in looks:
        return len(row) > 1
    if Look.DATE in looks and Look.TIME in looks:
        return len(row) > 2
    for place, look in enumerate(looks[:2]):
        if look is Look.NUMBER and counted(row[place]):
            others = [other for other in range(len(looks)) if other != place]
            return any(looks[other] in {Look.NUMBER, Look.NO_VALUE} for other in others)
        if look is Look.NUMBER and _compact_date(row[place]) and len(row) > 2:
            return Look.TIME in looks or row[place + 1 : place + 2] != []
    return False


def _compact_date(cell: str) -> bool:
    if len(cell) != 8 or not cell.isdigit():
        return False
    try:
        days_of(cell, DateOrder.YMD)
    except NoTime:
        return False
    return True


def _known(row: Sequence[str]) -> int:
    # A date with its time in one cell is worth as much as in two.
    worth = {Look.WORD: 0, Look.NO_VALUE: 0, Look.STAMP: 2}
    return sum(worth.get(look_of(cell), 1) for cell in row)


def _names_above(rows: Sequence[Sequence[str]], first: int, width: int) -> int:
    """Return the line of names above the data, -1 when there is none."""
    best, found = 0, -1
    for at in range(first - 1, max(-1, first - 1 - _MOST_HEADER_LINES), -1):
        row = _without_empty_end(list(rows[at]))
        if not max(2, width - max(1, width // 2)) <= len(row) <= 2 * width:
            continue
        if any(look_of(cell) in {Look.STAMP, Look.DATE} for cell in row):
            continue
        numbers = sum(look_of(cell) is Look.NUMBER for cell in row)
        if numbers * 2 > len(row):
            continue
        named = sum(_is_name(cell) for cell in row) * 2 + (len(row) == width)
        if named > best:
            best, found = named, at
    return found


def _is_name(cell: str) -> bool:
    if unit_spelt(cell) and cell.casefold() not in {"lux", "lx", "par"}:
        return False
    heading = heading_of(cell)
    return bool(heading.quantities or heading.worked_out or is_time_word(cell))


def _units_between(rows: Sequence[Sequence[str]], names_at: int, first: int) -> Sequence[str]:
    for row in rows[names_at + 1 : first]:
        if any(unit_spelt(cell) for cell in row):
            return list(row)
    return ()


def _without_empty_end(row: list[str]) -> list[str]:
    while row and not row[-1]:
        row = row[:-1]
    return row


def _decimal_in(
    rows: Sequence[Sequence[str]], names: Sequence[str], separator: str, given: str | None
) -> tuple[str, bool]:
    """Return the decimal mark, and whether numbers are torn in two by their own comma."""
    looks_of_rows = [
        (row, [look_of(cell) in {Look.NUMBER, Look.WORD} for cell in row]) for row in rows
    ]
    numbers = [
        cell
        for row, numeric in looks_of_rows
        for place, cell in enumerate(row)
        if numeric[place] and (place > 1 or not counted(cell)) and _number_like(cell)
    ]
    if separator == ",":
        torn = _torn_rows(rows, names)
        if torn and given is None:
            raise _torn(torn, names)
        if torn and given == ",":
            return ",", True
    if given is not None:
        return given, False
    point, comma, doubtful, example = decimal_marks(numbers)
    if point and comma:
        problem = "some numbers have a decimal point, others a decimal comma"
        fix = "Write decimal=. or decimal=, ; the rows of the other kind are then refused"
        raise FileRefused(problem, fix, _ways(numbers))
    if doubtful and not comma and not point:
        problem = f'"{example}" can be a thousand or a decimal fraction, and no number settles it'
        fix = "Choose one with --map"
        raise FileRefused(problem, fix, _ways(numbers))
    return ("," if comma else "."), False


def _number_like(cell: str) -> bool:
    bare = with_unit(cell)
    return all(mark in "0123456789.,+-−eE '" for mark in (bare[0] if bare else cell))


def _ways(numbers: Sequence[str]) -> tuple[Way, ...]:
    marked = [cell for cell in numbers if "," in cell or "." in cell][:3]
    as_comma = tuple(f"{cell} is {_read(cell, '.', ',')}" for cell in marked)
    as_point = tuple(f"{cell} is {_read(cell, ',', '.')}" for cell in marked)
    return (
        Way("decimal=,", "the comma stands before fractions", as_comma),
        Way("decimal=.", "the point stands before fractions", as_point),
    )


def _read(cell: str, grouping: str, decimal: str) -> str:
    if cell.count(decimal) == 1 or grouping in cell or decimal in cell:
        return cell.replace(grouping, "").replace(decimal, ".")
    return cell


def _torn_rows(rows: Sequence[Sequence[str]], names: Sequence[str]) -> list[Sequence[str]]:
    """Return rows that have a digit group more for each of the named columns of values."""
    if len(names) < 2:
        return []
    return [row for row in rows if len(row) > len(names) and rejoined(row, len(names)) is not None]


def rejoined(row: Sequence[str], width: int) -> list[str] | None:
    """Return a row whose numbers were torn at their decimal comma, put together; None if unsure.

    Every number must be torn, or none: with some whole ones nobody can tell which.

    >>> rejoined(["2026-03-04 10:00", "21", "5", "60", "2"], 3)
    ['2026-03-04 10:00', '21,5', '60,2']
    """
    if len(row) == width:
        return list(row)
    times = _leading_times(row)
    values = row[times:]
    if len(values) != 2 * (width - times) or times == 0:
        return None
    pairs = list(zip(values[::2], values[1::2], strict=True))
    if not all(fraction.isdigit() and _whole(number) for number, fraction in pairs):
        return None
    return [*row[:times], *(f"{number},{fraction}" for number, fraction in pairs)]


def _leading_times(row: Sequence[str]) -> int:
    times = 0
    test: Callable[[str], bool] = lambda cell: look_of(cell) in {Look.STAMP, Look.DATE, Look.TIME}  # noqa: E731
    while times < min(2, len(row)) and (test(row[times]) or (times == 0 and counted(row[0]))):
        times += 1
    return times


def _whole(number: str) -> bool:
    return number.lstrip("+-").isdigit()


def _torn(rows: Sequence[Sequence[str]], names: Sequence[str]) -> FileRefused:
    shown = rows[:3]
    together = tuple(" | ".join(rejoined(row, len(names)) or row) for row in shown)
    apart = tuple(" | ".join(row) for row in shown)
    problem = (
        f"the table has {len(names)} names and rows of {len(rows[0])} cells: the comma may stand "
        "between cells and before fractions"
    )
    return FileRefused(
        problem,
        "Choose one with --map, or export it with another separator",
        (
            Way("decimal=,", "numbers with a decimal comma", together),
            Way("decimal=.", "every comma is a separator; cells beyond the names are left", apart),
        ),
    )
