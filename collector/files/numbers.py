"""Numbers as loggers write them: decimal point or comma, groups, a unit behind, none at all."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

# Words that say: nothing was measured here.
NO_VALUE = frozenset(
    {
        "", "-", "--", "---", "----", "-.-", "--.-", "nan", "na", "n/a", "#n/a", "null", "none",
        "nil", "no data", "nodata", "no value", "missing", "error", "err", "fail", "failed", "ofl",
        "ol", "over", "lost", "///", "////", "*", "**", "***", "****", "?", "x", "sin datos", "s/d",
        "keine daten", "not connected", "invalid", "\"nan\"", "overrange", "open", "short",
    }
)  # fmt: skip

# Figures that loggers and probes put where nothing was measured. 85 is what a common one-wire
# probe holds before its first conversion, -127 what its driver returns when it does not answer.
# Common practice of makers, no source.
NO_VALUE_FIGURES = frozenset(
    {
        -9999.0, -9999.9, -999.0, -999.9, -99.9, -99.0, -6999.0, -7999.0, -8888.0, -32768.0,
        -3276.8, -327.68, 9999.0, 9999.9, 999.0, 999.9, 7999.0, 6999.0, 99999.0, 32767.0, 3276.7,
        327.67, 65535.0, 6553.5, 655.35, -127.0, -196.6, -888.8, 888.8,
    }
)  # fmt: skip
PROBE_NOT_READY_C = 85.0

_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_COMMA_GROUPS = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?")
_POINT_GROUPS = re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+(?:,\d+)?")
_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")
_WITH_UNIT = re.compile(r"([+-−]?[\d.,' \u00a0\u202f]*\d)\s*([^\d\s.,'+-].{0,12})")
_BLANKS = str.maketrans("", "", " \u00a0\u202f'’")


def is_no_value(text: str) -> bool:
    """Return whether a text says that nothing was measured.

    >>> is_no_value("---"), is_no_value("NaN"), is_no_value("0")
    (True, True, False)
    """
    return text.strip().casefold() in NO_VALUE


def number_in(text: str, decimal: str) -> float | None:
    """Return the number a text holds with `decimal` ("." or ",") before its fraction, else None.

    >>> number_in("1.234,5", ","), number_in("1,234.5", "."), number_in("21,5", ".")
    (1234.5, 1234.5, None)
    """
    text = text.strip().replace("−", "-")
    if _PLAIN.fullmatch(text):
        if decimal == "." or "." not in text:
            return float(text)
        # Where the comma stands before fractions a point can only stand between thousands.
        return float(text.replace(".", "")) if _POINT_GROUPS.fullmatch(text) else None
    if decimal == "." and _COMMA_GROUPS.fullmatch(text):
        return float(text.replace(",", ""))
    if decimal == "," and (_COMMA.fullmatch(text) or _POINT_GROUPS.fullmatch(text)):
        return float(text.replace(".", "").replace(",", "."))
    bare = text.translate(_BLANKS)
    if bare != text and re.fullmatch(r"[+-]?\d{1,3}(?:[ \u00a0\u202f'’]\d{3})+(?:[.,]\d+)?", text):
        return number_in(bare, decimal)
    return None


def as_float(figure: float) -> float:
    """Return a figure as a float; infinity for a whole number too large for any.

    >>> as_float(10**400)
    inf
    """
    try:
        return float(figure)
    except OverflowError:
        return float("inf")


def with_unit(text: str) -> tuple[str, str] | None:
    """Return number and unit of a cell such as "21.5 °C"; None if it has not both."""
    found = _WITH_UNIT.fullmatch(text.strip())
    return (found[1], found[2].strip()) if found else None


def decimal_marks(texts: Iterable[str]) -> tuple[bool, bool, bool, str]:
    """Return what texts tell of their decimal mark: surely a point, surely a comma, doubtful.

    Doubtful is a comma before exactly three digits, as in "1,234": one thousand, or one and a bit.
    The last of the four is such a text.
    """
    point = comma = False
    doubtful = ""
    for written in texts:
        text = written.strip().replace("−", "-")
        if "," not in text and "." not in text:
            continue
        split = with_unit(text)
        if split:
            text = split[0].strip()
        if _PLAIN.fullmatch(text):
            point = point or ("." in text and not re.fullmatch(r"[+-]?[1-9]\d{0,2}\.\d{3}", text))
        elif re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text):
            doubtful = doubtful or text
        elif _COMMA_GROUPS.fullmatch(text):
            point = True
        elif _COMMA.fullmatch(text) or _POINT_GROUPS.fullmatch(text):
            comma = True
    return point, comma, bool(doubtful), doubtful
