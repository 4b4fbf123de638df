"""What became of a file: rows kept, rows refused with line and reason, what was noticed."""

from __future__ import annotations

import json
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import IO

FIRST_KEPT = 1_000
MOST_NOTICES = 20


class Why(StrEnum):
    """Why a row, or a value in it, is refused."""

    UNREADABLE = "row unreadable"
    CUT_SHORT = "row cut short"
    BAD_TIME = "bad time"
    SHOWN_TWICE = "time shown twice"
    NEVER_WAS = "time that never was"
    CLOCK_AHEAD = "clock ahead"
    CLOCK_UNSET = "clock never set"
    OTHER_HEADING = "under another heading"
    NOT_NUMBER = "not a number"
    WRONG_UNIT = "wrong unit"
    NOT_FINITE = "not finite"
    OUT_OF_RANGE = "out of range"
    CONTRADICTS = "contradicts what is kept"


class Refused(NamedTuple):
    """One row or value that was not kept. `column` is empty when it is the whole row."""

    line: int
    column: str
    why: Why
    problem: str
    fix: str

    def __str__(self) -> str:
        where = f'line {self.line}, "{self.column}"' if self.column else f"line {self.line}"
        return f"{where}: {self.why}: {self.problem}. {self.fix}"


class RefusedRows:
    """Everything refused in one file: counted, the first in memory, all in a file that goes away.

    Memory and disk are bounded by that: nothing but the temporary file grows.
    """

    def __init__(self) -> None:
        self.counts: Counter[Why] = Counter()
        self.first: list[Refused] = []
        self._more: IO[str] | None = None

    def add(self, refused: Refused) -> None:
        """Keep one."""
        self.counts[refused.why] += 1
        if len(self.first) < FIRST_KEPT:
            self.first.append(refused)
            return
        if self._more is None:
            self._more = tempfile.TemporaryFile(  # noqa: SIM115 - closed by `close`
                "w+", encoding="utf-8", errors="backslashreplace"
            )
        self._more.write(json.dumps(refused) + "\n")

    def every(self) -> Iterator[Refused]:
        """Yield all, in the order of refusing."""
        yield from self.first
        if self._more is None:
            return
        self._more.seek(0)
        for line in self._more:
            number, column, why, problem, fix = json.loads(line)
            yield Refused(number, column, Why(why), problem, fix)
        self._more.seek(0, 2)

    def total(self) -> int:
        """Return how many were refused."""
        return self.counts.total()

    def close(self) -> None:
        """Let go of the temporary file."""
        if self._more is not None:
            self._more.close()
            self._more = None


@dataclass(slots=True)
class Report:
    """What became of a file.

    `kept` counts readings that are new, `known` those that were kept before with the same value.
    `no_value` counts cells that say that nothing was measured, by what they say. `event_rows` have
    a time and no value at all; `heading_rows` repeat the heading.
    """

    rows: int = 0
    kept: int = 0
    known: int = 0
    event_rows: int = 0
    heading_rows: int = 0
    no_value: Counter[str] = field(default_factory=Counter)
    notices: list[str] = field(default_factory=list)
    refused: RefusedRows = field(default_factory=RefusedRows)
    first_ms: int | None = None
    last_ms: int | None = None

    def notice(self, text: str) -> None:
        """Add something that was noticed, up to a bound."""
        if len(self.notices) < MOST_NOTICES:
            self.notices.append(text)

    def spanned(self, at_ms: int) -> None:
        """Take note of the instant of a reading."""
        if self.first_ms is None or at_ms < self.first_ms:
            self.first_ms = at_ms
        if self.last_ms is None or at_ms > self.last_ms:
            self.last_ms = at_ms
