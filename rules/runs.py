"""Recurrences over minutes in array form: the last word, runs of words, what moved since.

Rows are channels, columns minutes. Each is a plain recurrence with what it carries in, so that many
minutes at once and one after another give the same to the last bit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEVER = -(1 << 50)
"""A minute so long ago that nothing is near it."""

NO_BOUND = 1 << 60
"""In millionths; no value and no difference of two reaches it."""


@dataclass(frozen=True, slots=True)
class Before:
    """For each channel and minute, the minute and value of its last word before that minute."""

    minute: Wholes
    value: Wholes


@dataclass(frozen=True, slots=True)
class Run:
    """Runs of words that are alike: where each minute's run began, as a column, -1 before them."""

    began: Wholes
    since: Wholes


@dataclass(frozen=True, slots=True)
class Span:
    """The lowest and highest of something since a run began, at the end; lowest > highest: none."""

    low: Wholes
    high: Wholes


def last_column(mask: Flags) -> Wholes:
    """Return for each minute the column of the last True up to and with it, -1 for none."""
    columns = np.arange(mask.shape[1], dtype=np.int64)
    found: Wholes = np.maximum.accumulate(np.where(mask, columns, -1), axis=1)
    return found


def one_before(columns: Wholes) -> Wholes:
    """Return each minute's entry of the minute before it, -1 for the first."""
    before = np.empty_like(columns)
    before[:, 0] = -1
    before[:, 1:] = columns[:, :-1]
    return before


def picked(columns: Wholes, values: Wholes, old: Wholes) -> Wholes:
    """Return the values in those columns, `old` (one a channel) where the column is -1."""
    inside: Wholes = np.take_along_axis(values, np.maximum(columns, 0), axis=1)
    found: Wholes = np.where(columns >= 0, inside, old[:, None])
    return found


def minutes_at(columns: Wholes, first_minute: int, old: Wholes) -> Wholes:
    """Return the minutes of those columns, `old` (one a channel) where the column is -1."""
    found: Wholes = np.where(columns >= 0, first_minute + columns, old[:, None])
    return found


def before_each(
    words: Flags, values: Wholes, first_minute: int, old_minute: Wholes, old_value: Wholes
) -> tuple[Before, Wholes]:
    """Return the word before each minute, and the column of the last word up to each minute."""
    last = last_column(words)
    earlier = one_before(last)
    before = Before(
        minutes_at(earlier, first_minute, old_minute), picked(earlier, values, old_value)
    )
    return before, last


def run_of(begins: Flags, first_minute: int, old_since: Wholes) -> Run:
    """Return the runs that begin where `begins` is True and last until the next."""
    began = last_column(begins)
    return Run(began, minutes_at(began, first_minute, old_since))


def minutes_counted(counts: Flags, began: Wholes, old_count: Wholes) -> Wholes:
    """Return how many minutes count in each minute's run, after the column in which it began."""
    total: Wholes = np.cumsum(counts, dtype=np.int64)
    at_start = total[np.maximum(began, 0)]
    found: Wholes = np.where(began >= 0, total - at_start, old_count[:, None] + total)
    return found


def swings(long: Flags, run: Run, low: Wholes, high: Wholes, *, old: Span, least: int) -> Flags:
    """Return where `long` is True and what is measured beside it has moved by `least` in the run.

    `low` and `high` are what is measured, NO_BOUND and -NO_BOUND where nothing was.
    """
    moved = np.zeros_like(long)
    for channel in np.flatnonzero(long.any(axis=1)).tolist():
        columns = np.flatnonzero(long[channel])
        began = run.began[channel, columns]
        for start in np.unique(began).tolist():
            within = columns[began == start]
            first = max(start, 0)
            whole = slice(first, int(within[-1]) + 1)
            lowest = np.minimum.accumulate(low[channel, whole])
            highest = np.maximum.accumulate(high[channel, whole])
            if start < 0:
                lowest = np.minimum(lowest, old.low[channel])
                highest = np.maximum(highest, old.high[channel])
            moved[channel, within] = (highest - lowest)[within - first] >= least
    return moved


def span_at_end(run: Run, low: Wholes, high: Wholes, *, old: Span) -> Span:
    """Return the lowest and highest of what is measured since the last run of each channel."""
    columns = np.arange(low.shape[1], dtype=np.int64)
    began = run.began[:, -1]
    since = columns >= began[:, None]
    lowest: Wholes = np.where(since, low, NO_BOUND).min(axis=1)
    highest: Wholes = np.where(since, high, -NO_BOUND).max(axis=1)
    goes_on = began < 0
    return Span(
        np.where(goes_on, np.minimum(lowest, old.low), lowest),
        np.where(goes_on, np.maximum(highest, old.high), highest),
    )
