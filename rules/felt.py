"""What a batch feels in a cell: a sensor's last word while it is fresh, or a sum worked out of it.

Live cells are worked out as arrays of one, so that they take the very arithmetic of many.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.air import HIGHEST_C, LOWEST_C, vapour_pressure_deficit_kpa
from rules.cells import MICRO, in_millionths
from rules.light import ppfd_of_reading
from rules.model.quantities import KIND_OF_LIGHT, Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rules.cells import CellBlock
    from rules.speaking import Source, Speaker

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

_NEVER = -(1 << 50)


@dataclass(frozen=True, slots=True)
class Held:
    """For each cell of a block and each channel, the last mean so far and its minute."""

    first_minute: int
    column: Mapping[str, int]
    minute: Wholes
    value: Wholes


def held_in(block: CellBlock, latest: Mapping[str, tuple[int, int]]) -> Held:
    """Carry the last mean of every channel on through a block; `latest` is from before it."""
    minutes, count = block.means.shape
    row = np.arange(minutes, dtype=np.int64)[:, None]
    last_row = np.maximum.accumulate(np.where(block.present, row, -1), axis=0)
    before_minute = np.full(count, _NEVER, dtype=np.int64)
    before_value = np.zeros(count, dtype=np.int64)
    for i, key in enumerate(block.channels):
        if key in latest:
            before_minute[i], before_value[i] = latest[key]
    inside = last_row >= 0
    picked = np.take_along_axis(block.means, np.maximum(last_row, 0), axis=0)
    column = {key: i for i, key in enumerate(block.channels)}
    minute = np.where(inside, block.first_minute + last_row, before_minute)
    value = np.where(inside, picked, before_value)
    absent = [key for key in latest if key not in column]
    for key in absent:
        column[key] = len(column)
    gone = np.array([latest[key] for key in absent], dtype=np.int64).reshape(-1, 2)
    return Held(
        first_minute=block.first_minute,
        column=column,
        minute=np.concatenate((minute, np.broadcast_to(gone[:, 0], (minutes, len(gone)))), axis=1),
        value=np.concatenate((value, np.broadcast_to(gone[:, 1], (minutes, len(gone)))), axis=1),
    )


def fresh_value(source: Source, latest: Mapping[str, tuple[int, int]], minute: int) -> int | None:
    """Return the source's last mean, in millionths, unless stale or spoken from elsewhere."""
    seen = latest.get(source.channel)
    if seen is None:
        return None
    at, value = seen
    fresh = minute - at <= source.stale_after_min and at >= source.from_minute
    return value if fresh else None


def fresh_values(source: Source, held: Held, rows: slice) -> tuple[Wholes, Flags]:
    """Return the source's means over rows of a block and where they count."""
    column = held.column.get(source.channel)
    if column is None:
        length: int = rows.stop - rows.start
        return np.zeros(length, dtype=np.int64), np.zeros(length, dtype=np.bool_)
    at: Wholes = held.minute[rows, column]
    minute = held.first_minute + np.arange(rows.start, rows.stop, dtype=np.int64)
    fresh: Flags = (minute - at <= source.stale_after_min) & (at >= source.from_minute)
    value: Wholes = np.where(fresh, held.value[rows, column], 0)
    return value, fresh


def felt_value(
    speaker: Speaker | None, latest: Mapping[str, tuple[int, int]], minute: int
) -> int | None:
    """Return what a batch feels in one cell, in millionths; None if missing."""
    if speaker is None:
        return None
    values: list[int] = []
    for source in speaker.sources:
        value = fresh_value(source, latest, minute)
        if value is None:
            return None
        values.append(value)
    if _is_direct(speaker.sources):
        return values[0]
    columns = [np.array([value], dtype=np.int64) for value in values]
    result, there = worked_out(speaker.sources, columns, np.ones(1, dtype=np.bool_))
    return int(result[0]) if bool(there[0]) else None


def felt_values(speaker: Speaker | None, held: Held, rows: slice) -> tuple[Wholes, Flags]:
    """Return what a batch feels over rows of a block, in millionths, and where it is known."""
    length: int = rows.stop - rows.start
    if speaker is None:
        return np.zeros(length, dtype=np.int64), np.zeros(length, dtype=np.bool_)
    if _is_direct(speaker.sources):
        return fresh_values(speaker.sources[0], held, rows)
    values: list[Wholes] = []
    present: Flags = np.ones(length, dtype=np.bool_)
    for source in speaker.sources:
        value, fresh = fresh_values(source, held, rows)
        values.append(value)
        present &= fresh
    result, there = worked_out(speaker.sources, values, present)
    known: Wholes = np.where(there, result, 0)
    return known, there


def _is_direct(sources: tuple[Source, ...]) -> bool:
    quantity = sources[0].quantity
    return len(sources) == 1 and quantity not in {Quantity.ILLUMINANCE, Quantity.IRRADIANCE}


def worked_out(
    sources: tuple[Source, ...], values: Sequence[Wholes], present: Flags
) -> tuple[Wholes, Flags]:
    """Return what the batch feels from its sources' means, and where it is known.

    Where `present` is False a value must be 0 or any other value in range. Air warmer or colder
    than the saturation equation covers leaves the deficit unknown.
    """
    first = values[0]
    if _is_direct(sources):
        return first, present
    if len(sources) == 1:
        light = sources[0].light
        if light is None:
            msg = f"{sources[0].channel}: a light sensor without a light source"
            raise ValueError(msg)
        measured = first / np.float64(MICRO)
        kind = KIND_OF_LIGHT[sources[0].quantity]
        return in_millionths(ppfd_of_reading(measured, kind, light)), present
    temperature_c = first / np.float64(MICRO)
    humidity_pct = values[1] / np.float64(MICRO)
    covered = (temperature_c >= LOWEST_C) & (temperature_c <= HIGHEST_C)
    safe_c = np.ascontiguousarray(np.where(covered, temperature_c, 0.0))
    deficit = in_millionths(vapour_pressure_deficit_kpa(safe_c, humidity_pct))
    return deficit, present & covered


def age_min(speaker: Speaker, latest: Mapping[str, tuple[int, int]], minute: int) -> int | None:
    """Return how old the oldest word of the sources is, in minutes; None if one never spoke.

    A word from before the sensor stood where it stands is none.
    """
    ages: list[int] = []
    for source in speaker.sources:
        seen = latest.get(source.channel)
        if seen is None or seen[0] < source.from_minute:
            return None
        ages.append(minute - seen[0])
    return max(ages)
