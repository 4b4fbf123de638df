"""What a batch felt over a span of any length: minute by minute as judged, or from coarse cells.

Up to a week every minute is worked out as the watch judges it. Longer spans are read from the
store's cells, which tell of every reading kept and outlive the readings; they are put right by the
calibrations and brought to our units here, and nothing else is done to them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from api.drawing.day import day_from, day_of, instant_of
from rules.cells import MICRO, calibrated, in_millionths, in_our_unit
from rules.felt import worked_out
from rules.model.quantities import RECKONED, Felt
from rules.model.reading import MINUTE_MS
from rules.quality import brought_within, can_be_believed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.parts import Parts
    from api.v1.sight import Sight
    from collector.stores.base import CoarseCell
    from rules.model.site import Site
    from rules.speaking import Source
    from rules.watchlist import BatchWatch

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

DAY_MIN = 1440
MOST_BY_MINUTE = 7 * DAY_MIN + 60
"""A week, and the hour more that it has where the clock is set back in it."""
MOST_MIN = 5 * 366 * DAY_MIN
FINE_CELL_MIN, COARSE_CELL_MIN = 10, 60
MOST_IN_FINE_CELLS = 200 * DAY_MIN


class Told(StrEnum):
    """What a line is made of."""

    MINUTES = "minutes"
    CELLS = "cells"


@dataclass(frozen=True, slots=True)
class Line:
    """What was felt, in the quantity's own unit: one entry for each stretch of `step_min`.

    `low` and `high` are the extremes in a cell, or the ends of an estimate's band; the same as
    `value` where there are none. `begins` is True where something is missing before an entry.
    `of_means` says that `value` was worked out from the means of what it is made of.
    """

    told: Told
    step_min: int
    at_ms: Wholes
    value: Floats
    low: Floats
    high: Floats
    begins: Flags
    of_means: bool

    @property
    def has_band(self) -> bool:
        """Whether the extremes are anything but the value."""
        return bool((self.low != self.value).any() or (self.high != self.value).any())


def told_by(first_minute: int, end_minute: int) -> Told:
    """Return what a span of minutes is told by."""
    return Told.MINUTES if end_minute - first_minute <= MOST_BY_MINUTE else Told.CELLS


def can_be_told(felt: Felt, told: Told) -> bool:
    """Return whether a quantity can be told so: what is reckoned, only minute by minute."""
    return told is Told.MINUTES or felt not in RECKONED


def line_of(
    parts: Parts, sight: Sight, batch: BatchWatch, felt: Felt, *, first_minute: int, end_minute: int
) -> Line:
    """Return what a batch felt in a span of minutes; without entries where nothing is known.

    ValueError for what `can_be_told` denies, and where the span is empty or over MOST_MIN.
    """
    told = told_by(first_minute, end_minute)
    if not 0 < end_minute - first_minute <= MOST_MIN or not can_be_told(felt, told):
        msg = f"{felt} cannot be told of {end_minute - first_minute} minutes"
        raise ValueError(msg)
    if told is Told.MINUTES:
        return _by_minute(parts, sight, batch.code, felt, first_minute, end_minute)
    return line_of_cells(parts, batch, felt, first_minute=first_minute, end_minute=end_minute)


def _by_minute(
    parts: Parts, sight: Sight, code: str, felt: Felt, first_minute: int, end_minute: int
) -> Line:
    rows: list[Floats] = []
    minutes: list[Wholes] = []
    # Whole days from noon to noon, which the page of the batch has looked at already.
    for first, count in _days(parts, first_minute, end_minute):
        held = sight.of_batch(code, first, count)
        if held is None:
            continue
        band = held.reserve_pct if felt is Felt.RESERVE else None
        band = held.hours_to_critical if felt is Felt.HOURS_TO_CRITICAL else band
        value = held.felt[felt]
        low, high = (value, value) if band is None else (band.low, band.high)
        rows.append(np.stack((value if band is None else band.central, low, high)))
        minutes.append(np.arange(first, first + count, dtype=np.int64))
    if not rows:
        return _line(Told.MINUTES, 1, np.zeros(0, dtype=np.int64), np.zeros((3, 0)))
    at, every = np.concatenate(minutes), np.concatenate(rows, axis=1)
    seen = (at >= first_minute) & (at < end_minute) & np.isfinite(every[0])
    return _line(Told.MINUTES, 1, at[seen] * MINUTE_MS, every[:, seen])


def _days(parts: Parts, first_minute: int, end_minute: int) -> Iterator[tuple[int, int]]:
    place = parts.site.site
    day = day_of(instant_of(first_minute), place)
    while day.first_minute < end_minute:
        yield day.first_minute, day.minutes
        day = day_from(day.starts_on + timedelta(days=1), place)


def _line(
    told: Told,
    step_min: int,
    at_ms: Wholes,
    rows: Floats,
    *,
    wait_min: Wholes | None = None,
    of_means: bool = False,
) -> Line:
    """Return a line; `wait_min` is how long each entry may be waited for, else one step."""
    begins = np.ones(at_ms.size, dtype=np.bool_)
    allowed = step_min if wait_min is None else wait_min[1:]
    if at_ms.size:
        begins[1:] = np.diff(at_ms) > allowed * MINUTE_MS
    value, low, high = rows
    return Line(told, step_min, at_ms, value, low, high, begins, of_means)


def line_of_cells(
    parts: Parts, batch: BatchWatch, felt: Felt, *, first_minute: int, end_minute: int
) -> Line:
    """Return what the store's cells tell of a quantity that sensors tell, however short the span.

    Without entries where nothing was kept, and for what is reckoned.
    """
    short = end_minute - first_minute <= MOST_IN_FINE_CELLS
    cell_min = FINE_CELL_MIN if short else COARSE_CELL_MIN
    at: list[Wholes] = []
    rows: list[Floats] = []
    waits: list[Wholes] = []
    for sources, first, end in _spoken(batch, felt, first_minute, end_minute):
        # A cell that reaches over the edge tells of two places at once: it is left out.
        inner = -(-first // cell_min) * cell_min
        told = _worked_out(parts, sources, inner, end // cell_min * cell_min, cell_min)
        at.append(told[0])
        rows.append(told[1])
        wait = max(cell_min, *(cell_min + source.stale_after_min for source in sources))
        waits.append(np.full(told[0].size, wait, dtype=np.int64))
    if not at:
        return _line(Told.CELLS, cell_min, np.zeros(0, dtype=np.int64), np.zeros((3, 0)))
    return _line(
        Told.CELLS,
        cell_min,
        np.concatenate(at),
        np.concatenate(rows, axis=1),
        wait_min=np.concatenate(waits),
        of_means=felt is Felt.VAPOUR_PRESSURE_DEFICIT,
    )


def _spoken(
    batch: BatchWatch, felt: Felt, first_minute: int, end_minute: int
) -> Iterator[tuple[tuple[Source, ...], int, int]]:
    """Yield who spoke for a quantity, from when to when, as long as it was the same."""
    held: tuple[tuple[Source, ...], int, int] | None = None
    edges = [*(span.first_minute for span in batch.spans), end_minute]
    for place, span in enumerate(batch.spans):
        first, end = max(edges[place], first_minute), min(edges[place + 1], end_minute)
        speaker = span.speakers.get(felt)
        if end <= first or speaker is None:
            continue
        if held is not None and held[0] == speaker.sources and held[2] == first:
            held = (held[0], held[1], end)
            continue
        if held is not None:
            yield held
        held = (speaker.sources, first, end)
    if held is not None:
        yield held


def _worked_out(
    parts: Parts, sources: tuple[Source, ...], first: int, end: int, cell_min: int
) -> tuple[Wholes, Floats]:
    if end <= first:
        return np.zeros(0, dtype=np.int64), np.zeros((3, 0))
    names = [source.channel for source in sources]
    by_channel: dict[str, list[CoarseCell]] = {name: [] for name in names}
    for cell in parts.store.coarse(
        sorted(set(names)), first * MINUTE_MS, end * MINUTE_MS, cell_min=cell_min
    ):
        by_channel[cell.channel].append(cell)
    told = [_put_right(parts.site, source, by_channel[source.channel]) for source in sources]
    if len(told) == 1:
        at, every = told[0]
        return at, np.stack([_felt(sources, [row])[0] for row in every])
    (warm_at, warm), (damp_at, damp) = told
    at, of_warm, of_damp = np.intersect1d(warm_at, damp_at, return_indices=True)
    deficit, known = _felt(sources, [warm[0][of_warm], damp[0][of_damp]])
    return at[known], np.stack((deficit, deficit, deficit))[:, known]


def _felt(sources: tuple[Source, ...], values: list[Floats]) -> tuple[Floats, Flags]:
    """Return what the batch feels by its sources' values, as the watch works it out."""
    there = np.ones(values[0].size, dtype=np.bool_)
    whole, known = worked_out(sources, [in_millionths(one) for one in values], there)
    return whole / np.float64(MICRO), known


def _put_right(site: Site, source: Source, cells: list[CoarseCell]) -> tuple[Wholes, Floats]:
    """Return instants, and mean, lowest and highest of cells in the unit of their own quantity.

    A cell counts by its mean. An extreme that no working sensor can tell is left out, and the mean
    stands in its place.
    """
    channel = site.channels[source.channel]
    at = np.array([cell.start_ms for cell in cells], dtype=np.int64)
    raw = np.array([(cell.mean, cell.lowest, cell.highest) for cell in cells]).reshape(-1, 3).T
    every = np.stack([in_our_unit(channel, calibrated(channel, at, row)) for row in raw])
    believed = can_be_believed(source.quantity, every)
    every = brought_within(source.quantity, np.where(believed, every, every[0]))
    return at[believed[0]], every[:, believed[0]]
