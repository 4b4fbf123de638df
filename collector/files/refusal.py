"""Why a file is not read: what is wrong, the ways it could be read, and what to write."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Way:
    """One way in which an ambiguous file can be read.

    `option` chooses it; `means` says it in a word; `shown` are lines of the file so read.
    """

    option: str
    means: str
    shown: tuple[str, ...]


class FileRefused(Exception):
    """A file that is not read at all. Nothing of it was kept.

    `ways` are the readings of an ambiguous file, side by side; empty when it cannot be used.
    """

    def __init__(self, problem: str, fix: str, ways: tuple[Way, ...] = ()) -> None:
        self.problem = problem
        self.fix = fix
        self.ways = ways
        super().__init__(f"{problem}. {fix}")
