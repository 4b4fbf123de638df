"""Rows out of their turn: a clock that was set back, rows that come late in the file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.files.times import instant_time

if TYPE_CHECKING:
    from collections.abc import Callable

_FEW_ROWS = 2


class OrderWatch:
    """Follows the instants of rows in the order of the file, and tells where they run back."""

    def __init__(self, notice: Callable[[str], None], *, newest_first: bool) -> None:
        self._notice = notice
        self._sign = -1 if newest_first else 1
        self._furthest: int | None = None
        self._behind = 0
        self._from_line = 0
        self._by_ms = 0
        self.out_of_turn = 0

    def follow(self, line: int, at_ms: int) -> None:
        """Take the next row."""
        furthest = self._furthest
        if furthest is None or (at_ms - furthest) * self._sign >= 0:
            self._furthest = at_ms
            if self._behind:
                self._tell()
            return
        if not self._behind:
            self._from_line, self._by_ms = line, abs(at_ms - furthest)
        self._behind += 1

    def end(self) -> None:
        """Tell what is still to be told."""
        if self._behind:
            self._tell()
        if self.out_of_turn:
            self._notice(
                f"{self.out_of_turn} rows stand out of their turn; each is kept at its own time"
            )

    def _tell(self) -> None:
        if self._behind <= _FEW_ROWS:
            self.out_of_turn += self._behind
        else:
            furthest = instant_time(self._furthest or 0).isoformat(timespec="seconds")
            self._notice(
                f"line {self._from_line}: time runs back by {duration(self._by_ms)}, and "
                f"{self._behind} rows lie before what came earlier (up to {furthest}): the clock "
                "was set back, or stretches stand in another order. See which clock was right"
            )
        self._behind = 0


def duration(ms: int) -> str:
    """Return a span of time in its largest fitting unit.

    >>> duration(7_200_000), duration(90_000)
    ('2 h', '90 s')
    """
    for size, name in ((86_400_000, "days"), (3_600_000, "h"), (60_000, "min")):
        if ms >= 2 * size:
            return f"{ms / size:.3g} {name}"
    return f"{ms / 1000:g} s"
