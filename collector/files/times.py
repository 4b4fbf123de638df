"""How a file writes its instants: text with a date in some order, counted seconds, serial days.

Every way gives milliseconds since the epoch: of an instant where the file says the offset or counts
from one, else of the clock on the wall, as if that wall hung in Greenwich.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

from collector.files.numbers import as_float

Cell = str | int | float | datetime | date | time | None

DAY_MS = 86_400_000
_EPOCH_DAY = date(1970, 1, 1).toordinal()
_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - the epoch of wall clocks, which have no zone
_MOST_CACHED = 100_000

# Dates outside are what no logger of this century records. They also tell counted seconds,
# milliseconds and days apart, whose ranges do not touch.
_FIRST_YEAR, _LAST_YEAR = 1970, 2099
_UNIX_S = (946_684_800, 4_102_444_800)
_UNIX_MS = (_UNIX_S[0] * 1000, _UNIX_S[1] * 1000)
_SERIAL = (36_526, 73_051)
_SERIAL_EPOCH_DAYS = {"serial_1900": -25_569, "serial_1904": -24_107}


class TimeFormat(StrEnum):
    """How instants are written."""

    TEXT = "text"
    UNIX_S = "unix_s"
    UNIX_MS = "unix_ms"
    SERIAL_1900 = "serial_1900"
    SERIAL_1904 = "serial_1904"
    WALL_MS = "wall_ms"


class DateOrder(StrEnum):
    """In which order the three numbers of a date stand."""

    YMD = "ymd"
    DMY = "dmy"
    MDY = "mdy"


SAID_ORDER = {
    DateOrder.YMD: "year, month, day",
    DateOrder.DMY: "day, month, year",
    DateOrder.MDY: "month, day, year",
}

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january ene enero",
            "feb february febrero",
            "mar march marzo",
            "apr april abr abril",
            "may mayo",
            "jun june junio",
            "jul july julio",
            "aug august ago agosto",
            "sep sept september septiembre set",
            "oct october octubre",
            "nov november noviembre",
            "dec december dic diciembre",
        ),
        start=1,
    )
    for name in names.split()
}

_DATE = re.compile(r"(\d{1,4}|[^\W\d]{3,10})([-/. ]|, ?| de )(\d{1,2}|[^\W\d]{3,10})\.?[-/., ]+"
                   r"(?:de )?(\d{2,4})\.?")  # fmt: skip
_COMPACT = re.compile(r"(\d{4})(\d{2})(\d{2})")
_TIME = re.compile(
    r"(\d{1,2})[:h.](\d{2})(?:[:.](\d{2})(?:[.,](\d{1,9}))?)?"
    r"(?:\s*([AaPp])\.?\s?[Mm]\.?)?\s*(Z|z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})?"
)
_COMPACT_TIME = re.compile(r"(\d{2})(\d{2})(\d{2})?(?:[.,](\d{1,9}))?()(Z|[+-]\d{2}:?\d{2})?")
_JOINED = re.compile(r"(\d{8})(\d{4}|\d{6})")
_SPLIT = re.compile(r"(?<=\d)(?:[Tt]|,? +|_)(?=\d{1,2}[:h.]\d\d|\d{4,6}(?:[.,Z+-]|$))")


class NoTime(ValueError):
    """A cell does not hold the time that was expected; says what it holds."""


def days_of(text: str, order: DateOrder) -> int:
    """Return days since the epoch of a written date. Raises NoTime.

    Years of two digits are of this century. A year of four digits or a month in letters stands
    where it stands, whatever `order`.

    >>> days_of("1970-01-03", DateOrder.YMD), days_of("3 Jan 1970", DateOrder.MDY)
    (2, 2)
    """
    compact = _COMPACT.fullmatch(text)
    if compact:
        return _day(int(compact[1]), int(compact[2]), int(compact[3]), text)
    found = _DATE.fullmatch(text)
    if found is None:
        raise NoTime(_not_a("date", text))
    first, middle, last = found[1], found[3], found[4]
    if not middle.isdigit():  # 04-Mar-2026, 2026-Mar-04
        month = _MONTHS.get(middle.lower(), 0)
        if len(first) == 4 or (order is DateOrder.YMD and len(last) < 4):
            return _day(_year(first), month, int(last), text)
        return _day(_year(last), month, _number(first), text)
    if not first.isdigit():  # Mar 4, 2026
        return _day(_year(last), _MONTHS.get(first.lower(), 0), int(middle), text)
    if len(first) == 3 or len(last) == 3:
        raise NoTime(_not_a("date", text))
    if len(first) == 4:
        return _day(_number(first), _number(middle), _number(last), text)
    if len(last) == 4 and order is DateOrder.YMD:
        raise NoTime(_not_a("date that begins with its year", text))
    if order is DateOrder.YMD:
        return _day(_year(first), int(middle), int(last), text)
    in_order = (first, middle) if order is DateOrder.DMY else (middle, first)
    return _day(_year(last), _number(in_order[1]), _number(in_order[0]), text)


def _number(text: str) -> int:
    return int(text) if text.isdigit() else 0


def _year(text: str) -> int:
    if not text.isdigit():
        return 0
    return int(text) + 2000 if len(text) <= 2 else int(text)


def _day(year: int, month: int, day: int, text: str) -> int:
    try:
        read = date(year, month, day)
    except ValueError:
        raise NoTime(_not_a("date", text)) from None
    if not _FIRST_YEAR <= read.year <= _LAST_YEAR:
        msg = f'"{text}" lies in the year {read.year}'
        raise NoTime(msg)
    return read.toordinal() - _EPOCH_DAY


def time_of_day(text: str) -> tuple[int, int | None]:
    """Return milliseconds since midnight, and the offset from UTC in ms if it is written.

    Raises NoTime. 24:00 is the end of the day.

    >>> time_of_day("10:30 PM"), time_of_day("00:00:01.5+02:00")
    ((81000000, None), (1500, 7200000))
    """
    found = _TIME.fullmatch(text) or _COMPACT_TIME.fullmatch(text)
    if found is None:
        raise NoTime(_not_a("time of day", text))
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    if found[5]:
        if not 1 <= hour <= 12:
            raise NoTime(_not_a("time of day", text))
        hour = hour % 12 + (12 if found[5] in "Pp" else 0)
    fraction_ms = round(int(found[4]) * 10 ** (3 - len(found[4]))) if found[4] else 0
    inside = hour < 24 or (hour == 24 and minute == second == fraction_ms == 0)
    if not inside or minute > 59 or second > 59:
        raise NoTime(_not_a("time of day", text))
    return ((hour * 60 + minute) * 60 + second) * 1000 + fraction_ms, _offset_ms(found[6])


def _offset_ms(text: str | None) -> int | None:
    if text is None:
        return None
    digits = text[1:].replace(":", "")
    if text[0] not in "+-":
        return 0
    hours, minutes = int(digits[:2]), int(digits[2:] or 0)
    if hours > 14 or minutes > 59:
        raise NoTime(_not_a("offset from UTC", text))
    return (hours * 60 + minutes) * (-60_000 if text[0] == "-" else 60_000)


def _not_a(kind: str, text: str) -> str:
    shown = text if len(text) <= 40 else text[:39] + "…"
    return f'"{shown}" is not a {kind}'


def halves(text: str) -> tuple[str, str] | None:
    """Return date and time of day of a text that holds both, else None.

    >>> halves("4.3.2026 10:00:05"), halves("2026-03-04")
    (('4.3.2026', '10:00:05'), None)
    """
    joined = _JOINED.fullmatch(text)
    if joined:
        return joined[1], joined[2]
    parts = _SPLIT.split(text, maxsplit=1)
    return (parts[0], parts[1]) if len(parts) == 2 else None


class TimeReader:
    """Reads instants out of one column, or of a date's and a time's column, of one file."""

    def __init__(self, form: TimeFormat, order: DateOrder) -> None:
        self.form = form
        self.order = order
        self._days: dict[str, int] = {}
        self._times: dict[str, tuple[int, int | None]] = {}

    def read(self, cells: Sequence[Cell]) -> tuple[int, bool]:
        """Return ms, and whether they are an instant's (else the wall clock's). Raises NoTime."""
        first = cells[0]
        if isinstance(first, str):
            if self.form is not TimeFormat.TEXT:
                return self._counted(first)
            if len(cells) == 1:
                return self._text(first)
            second = cells[1]
            if isinstance(second, time):
                return self._day(first.strip()) * DAY_MS + _of_day(second), False
            return self._pair(first.strip(), str(second).strip() if second is not None else "")
        return self._typed(cells)

    def _text(self, text: str) -> tuple[int, bool]:
        day_text, _, time_text = text.partition(" ")
        day = self._days.get(day_text)
        known = self._times.get(time_text) if day is not None else None
        if day is not None and known is not None:
            ms, offset = known
            return (
                (day * DAY_MS + ms, False) if offset is None else (day * DAY_MS + ms - offset, True)
            )
        parts = halves(text.strip())
        if parts is None:
            raise NoTime(_not_a("date with a time of day", text) if text.strip() else "no time")
        return self._pair(*parts)

    def _pair(self, day_text: str, time_text: str) -> tuple[int, bool]:
        if not day_text or not time_text:
            msg = "no time"
            raise NoTime(msg)
        known = self._times.get(time_text)
        if known is None:
            known = time_of_day(time_text)
            if len(self._times) >= _MOST_CACHED:
                self._times.clear()
            self._times[time_text] = known
        ms, offset = known
        at = self._day(day_text) * DAY_MS + ms
        return (at, False) if offset is None else (at - offset, True)

    def _day(self, day_text: str) -> int:
        day = self._days.get(day_text)
        if day is None:
            # A spreadsheet writes a date beside a separate time as that day's midnight.
            parts = halves(day_text)
            alone = parts[0] if parts and time_of_day(parts[1]) == (0, None) else day_text
            day = days_of(alone, self.order)
            if len(self._days) >= _MOST_CACHED:
                self._days.clear()
            self._days[day_text] = day
        return day

    def _counted(self, text: str) -> tuple[int, bool]:
        try:
            count = float(text.replace(",", "."))
        except ValueError:
            raise NoTime(_not_a("number", text) if text.strip() else "no time") from None
        decimals = len(text.replace(",", ".").strip().partition(".")[2])
        return self._number(count, decimals)

    def _number(self, count: float, decimals: int) -> tuple[int, bool]:
        match self.form:
            case TimeFormat.UNIX_S if _UNIX_S[0] <= count < _UNIX_S[1]:
                return round(count * 1000), True
            case TimeFormat.UNIX_MS if _UNIX_MS[0] <= count < _UNIX_MS[1]:
                return round(count), True
            case TimeFormat.WALL_MS:
                return round(count), False
            case TimeFormat.SERIAL_1900 | TimeFormat.SERIAL_1904 if 1 <= count < _SERIAL[1]:
                return _serial_ms(count + _SERIAL_EPOCH_DAYS[self.form], decimals), False
        msg = f"{count:.15g} is no instant of this century counted as {self.form}"
        raise NoTime(msg)

    def _typed(self, cells: Sequence[Cell]) -> tuple[int, bool]:
        first = cells[0]
        match first:
            case datetime() if first.tzinfo is not None:
                return round(first.timestamp() * 1000), True
            case datetime() if len(cells) == 1:
                return wall_ms(first), False
            case date() if len(cells) == 2:
                day = first.date() if isinstance(first, datetime) else first
                second = cells[1]
                midnight = (day.toordinal() - _EPOCH_DAY) * DAY_MS
                match second:
                    case datetime():
                        return midnight + wall_ms(second) % DAY_MS, False
                    case time():
                        return midnight + _of_day(second), False
                    case str():
                        return midnight + time_of_day(second.strip())[0], False
                    case _:
                        msg = "no time of day"
                        raise NoTime(msg)
            case int() | float():
                return self._number(as_float(first), 9)
            case None:
                msg = "no time"
                raise NoTime(msg)
            case _:
                raise NoTime(_not_a("date with a time of day", str(first)))


def _of_day(at: time) -> int:
    return round(((at.hour * 60 + at.minute) * 60 + at.second) * 1000 + at.microsecond / 1000)


def wall_ms(at: datetime) -> int:
    """Return ms since the epoch of a wall clock's date and time, which has no zone."""
    return round((at - _EPOCH) / timedelta(milliseconds=1))


def wall_time(ms: int) -> datetime:
    """Return what the wall clock shows, without a zone."""
    return _EPOCH + timedelta(milliseconds=ms)


def instant_time(ms: int) -> datetime:
    """Return the instant in UTC."""
    return datetime.fromtimestamp(ms / 1000, UTC)


def _serial_ms(days: float, decimals: int) -> int:
    """Return the whole minute that serial days were rounded from, else the nearest second."""
    ms = days * DAY_MS
    rounding_ms = max(DAY_MS * 10.0**-decimals / 2, 20.0)
    minute = round(ms / 60_000) * 60_000
    return minute if abs(ms - minute) <= rounding_ms else round(ms / 1000) * 1000


def counted_form(count: float) -> TimeFormat | None:
    """Return what a number can be as an instant of this century; the ranges do not touch.

    >>> counted_form(1_772_000_000), counted_form(46_085.5), counted_form(21.5)
    (<TimeFormat.UNIX_S: 'unix_s'>, <TimeFormat.SERIAL_1900: 'serial_1900'>, None)
    """
    if _UNIX_S[0] <= count < _UNIX_S[1]:
        return TimeFormat.UNIX_S
    if _UNIX_MS[0] <= count < _UNIX_MS[1]:
        return TimeFormat.UNIX_MS
    if _SERIAL[0] <= count < _SERIAL[1]:
        return TimeFormat.SERIAL_1900
    return None
