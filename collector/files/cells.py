"""What a cell of text looks like: a date with a time, either alone, a number, no value, a word."""

from __future__ import annotations

from enum import Enum

from collector.files.numbers import is_no_value, number_in, with_unit
from collector.files.times import (
    DateOrder,
    NoTime,
    TimeFormat,
    counted_form,
    days_of,
    halves,
    time_of_day,
)


class Look(Enum):
    """What a cell looks like."""

    STAMP = "date and time"
    DATE = "date"
    TIME = "time of day"
    NUMBER = "number"
    NO_VALUE = "no value"
    WORD = "word"


def is_date(text: str) -> bool:
    """Return whether a text is a date in any order."""
    for order in DateOrder:
        try:
            days_of(text, order)
        except NoTime:
            continue
        return True
    return False


def is_time(text: str) -> bool:
    """Return whether a text is a time of day; bare digits are not."""
    if text.isdigit():
        return False
    try:
        time_of_day(text)
    except NoTime:
        return False
    return True


def look_of(text: str) -> Look:
    """Return what a cell looks like.

    >>> look_of("4.3.2026 10:00").value, look_of("21,5").value, look_of("---").value
    ('date and time', 'number', 'no value')
    """
    text = text.strip()
    if is_no_value(text):
        return Look.NO_VALUE
    if not any(mark.isdigit() for mark in text):
        return Look.WORD
    if number_in(text, ".") is not None or number_in(text, ",") is not None:
        parts = halves(text)
        joined = parts is not None and is_date(parts[0]) and _reads_as_time(parts[1])
        return Look.STAMP if joined else Look.NUMBER
    parts = halves(text)
    if parts is not None and is_date(parts[0]) and _reads_as_time(parts[1]):
        return Look.STAMP
    if is_date(text):
        return Look.DATE
    if is_time(text):
        return Look.TIME
    split = with_unit(text)
    if split and (number_in(split[0], ".") is not None or number_in(split[0], ",") is not None):
        return Look.NUMBER
    return Look.WORD


def _reads_as_time(text: str) -> bool:
    try:
        time_of_day(text)
    except NoTime:
        return False
    return True


def counted(text: str) -> TimeFormat | None:
    """Return what a number can be as an instant that was counted, if it can be one."""
    value = number_in(text.strip(), ".")
    if value is None:
        value = number_in(text.strip(), ",")
    return None if value is None else counted_form(value)
