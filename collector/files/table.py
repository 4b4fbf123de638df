"""What every kind of file is read as: named columns, and rows with the line they stand on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

from collector.files.times import Cell

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from collector.files.times import TimeFormat

__all__ = ["HEAD_ROWS", "LOOK_ROWS", "Cell", "Column", "Row", "Table", "looked_at"]

HEAD_ROWS = 1_000
"""So many rows from the beginning of a table are looked at, and"""
LOOK_ROWS = 200
"""so many from its end."""


class Row(NamedTuple):
    """The cells of one row. `problem` says why they cannot be told apart; then there are none."""

    line: int
    cells: Sequence[Cell]
    problem: str = ""


def looked_at(head: Iterable[Row], looks: Iterable[list[Row]]) -> list[list[Row]]:
    """Return stretches of neighbouring rows: the first ones, the looks, the last ones.

    Without looks the head is the whole table, and its last rows are a stretch of their own.
    """
    rows, further = list(head), [look for look in looks if look]
    if not further and len(rows) > HEAD_ROWS:
        further = [rows[max(HEAD_ROWS, len(rows) - LOOK_ROWS) :]]
    return [rows[:HEAD_ROWS], *further]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its place from 0, its name (never empty), its cell in a row of units.

    `instants` is set where the file itself says that the column holds instants, and how.
    """

    index: int
    name: str
    unit: str = ""
    instants: TimeFormat | None = None


class Table(Protocol):
    """A file as a table. Reading it again gives the same rows."""

    @property
    def columns(self) -> Sequence[Column]:
        """The columns, in order."""
        ...

    @property
    def preamble(self) -> Sequence[str]:
        """The lines above the table, which may name the logger and its zone."""
        ...

    @property
    def decimal(self) -> str:
        """The mark before fractions in texts: a point or a comma."""
        ...

    @property
    def said(self) -> Sequence[tuple[str, str]]:
        """How the file is read, to be shown: (what, how)."""
        ...

    @property
    def settings(self) -> Sequence[tuple[str, str | int]]:
        """The same as fields of a file's mapping, to be written out."""
        ...

    def rows(self) -> Iterator[Row]:
        """Yield every row of data, in the order of the file."""
        ...

    def sample(self) -> list[list[Row]]:
        """Return stretches of neighbouring rows: the head, others spread, the end."""
        ...

    def progress(self) -> tuple[int, int]:
        """Return how much `rows` has read, and of how much, in bytes or rows."""
        ...
