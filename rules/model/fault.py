"""One thing wrong in a file that a person wrote."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """Where, what, and the way out. Printed as one line."""

    file: str
    line: int
    field: str
    problem: str
    fix: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.field}: {self.problem}. {self.fix}"
