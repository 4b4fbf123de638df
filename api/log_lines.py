"""How log lines are written: `event key=value` for people, or one JSON object a line for machines.

Both in UTC, both from the same calls. What comes from outside can't forge a line: whatever would
break one, or move a terminal's cursor, is written as an escape.
"""

from __future__ import annotations

import json
import logging
import re
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal, TextIO

if TYPE_CHECKING:
    from collections.abc import Mapping

LogForm = Literal["lines", "json"]
"""`lines`: one line of words an event. `json`: one JSON object an event."""

_PLAIN = (bool, int, float, type(None))
_EVENT = re.compile(r"[A-Za-z][\w.-]*", re.ASCII)
_FIELD = re.compile(r"([A-Za-z_]\w*)=%(?:\.\d+)?[sdrgf]", re.ASCII)
_WRITTEN = re.compile(r"([A-Za-z_]\w*)=([^%]*)", re.ASCII)
_OUR_OWN = frozenset({"at", "level", "logger", "event", "said", "fault"})


def write_logs(form: LogForm, *, to: TextIO | None = None) -> None:
    """Send every log line of the process to `to` in this form; None: the standard error.

    What was set up before is taken away, so that no event is written twice.
    """
    handler = logging.StreamHandler(sys.stderr if to is None else to)
    handler.setFormatter(JsonLines() if form == "json" else PlainLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)


class PlainLines(logging.Formatter):
    """`2026-11-14T15:00:00.123Z WARNING api.guard.service guard_found what=broker said=…`."""

    def format(self, record: logging.LogRecord) -> str:
        """Return one line; what went wrong, if something did, on indented lines below it."""
        said = escaped(record.getMessage())
        line = f"{_instant(record)} {record.levelname} {record.name} {said}"
        fault = _fault(self, record)
        return (
            line
            if not fault
            else f"{line}\n" + "\n".join(f"  {escaped(one)}" for one in fault.splitlines())
        )


class JsonLines(logging.Formatter):
    """One object an event: `at`, `level`, `logger`, `event`, and each field under its own name.

    An event that is not written as `event key=value`, as those of libraries, has `said` instead. A
    field whose name is one of these gets an underscore. `fault` holds a traceback.
    """

    def format(self, record: logging.LogRecord) -> str:
        """Return one line of JSON."""
        told: dict[str, object] = {
            "at": _instant(record),
            "level": record.levelname.lower(),
            "logger": record.name,
        }
        fields = fields_of(record)
        if fields is None:
            told["said"] = record.getMessage()
        else:
            told["event"] = str(record.msg).partition(" ")[0]
            told |= {f"{name}_" if name in _OUR_OWN else name: at for name, at in fields.items()}
        if fault := _fault(self, record):
            told["fault"] = fault
        return json.dumps(told, ensure_ascii=False)


def fields_of(record: logging.LogRecord) -> Mapping[str, object] | None:
    """Return what an event says, by name; None if it is not written as `event key=value`.

    Taken from the call itself, not from the finished line: a value may hold blanks and signs.
    """
    event, _, rest = str(record.msg).partition(" ")
    if not _EVENT.fullmatch(event):
        return None
    given = list(record.args) if isinstance(record.args, tuple) else []
    found: dict[str, object] = {}
    for piece in rest.split():
        if (said := _FIELD.fullmatch(piece)) and given:
            value = given.pop(0)
            found[said[1]] = value if isinstance(value, _PLAIN) else str(value)
        elif said := _WRITTEN.fullmatch(piece):
            found[said[1]] = said[2]
        else:
            return None
    return None if given else found


def escaped(text: str) -> str:
    r"""Return a text in which everything that is not visible is written as an escape.

    >>> escaped("watch_event what=a\nguard_over what=broker")
    'watch_event what=a\\nguard_over what=broker'
    """
    if text.isprintable():
        return text
    return "".join(
        mark if mark.isprintable() else mark.encode("unicode_escape").decode("ascii")
        for mark in text
    )


def _instant(record: logging.LogRecord) -> str:
    at = datetime.fromtimestamp(record.created, UTC)
    return f"{at:%Y-%m-%dT%H:%M:%S}.{int(record.msecs):03d}Z"


def _fault(by: logging.Formatter, record: logging.LogRecord) -> str:
    return by.formatException(record.exc_info) if record.exc_info else ""
