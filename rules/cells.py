"""Raw readings to judged one-minute cells on the UTC grid.

Every reading is put right by the calibration in force at its instant, converted to our unit,
judged, and carried as whole millionths, so that the sum of a minute is exact and the same in
whatever order the readings came. What is kept stays raw.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from rules.model.quantities import MEANINGS
from rules.model.reading import MINUTE_MS, Reading, StoredReading
from rules.quality import brought_within, can_be_believed

if TYPE_CHECKING:
    from collections.abc import Collection, Hashable, Iterator, Mapping, Sequence

    from rules.model.place import Channel
    from rules.model.site import Site

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

MICRO = 1_000_000
"""Values are carried as whole millionths of the unit their quantity is kept in."""

AT_ONCE = 16_384
"""Words looked at together: what fits into a processor's cache."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)


@dataclass(frozen=True, slots=True)
class Cell:
    """One minute: the mean of each channel that sent a believable value in it.

    `means` maps the channel's key to millionths of our unit; a channel without is missing.
    `refused` are those of them that did speak, but nothing that could be believed.
    """

    minute: int
    means: Mapping[str, int]
    refused: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class CellBlock:
    """Many minutes in a row: `means` and `present` are minutes by channels.

    `means` holds millionths of our unit, and 0 where `present` is False. `refused` is True where a
    channel spoke, but nothing that could be believed; None: nowhere.
    """

    first_minute: int
    channels: tuple[str, ...]
    means: Wholes
    present: NDArray[np.bool_]
    refused: NDArray[np.bool_] | None = None


def cell_in(block: CellBlock, minute: int) -> Cell:
    """Return one minute of a block as a cell; IndexError if the block does not hold it."""
    row = minute - block.first_minute
    if not 0 <= row < len(block.means):
        msg = f"minute {minute} is not in this block"
        raise IndexError(msg)
    values = cast("list[int]", block.means[row].tolist())
    seen = cast("list[bool]", block.present[row].tolist())
    means = {
        key: value for key, value, there in zip(block.channels, values, seen, strict=True) if there
    }
    if block.refused is None:
        return Cell(minute=minute, means=means)
    told = cast("list[bool]", block.refused[row].tolist())
    refused = frozenset(key for key, one in zip(block.channels, told, strict=True) if one)
    return Cell(minute=minute, means=means, refused=refused)


def block_of(
    site: Site, first_minute: int, minutes: int, readings: Sequence[Reading | StoredReading]
) -> CellBlock:
    """Return `minutes` cells in a row from `first_minute`, minutes since the epoch, UTC.

    Readings outside the span, and of channels the site does not name, are left out; so are
    readings that cannot be believed. A minute in which a channel sent only such is `refused`. The
    order of `readings` does not matter.
    """
    by_channel: dict[str, tuple[list[int], list[float]]] = {}
    for reading in readings:
        at, raw = by_channel.setdefault(reading.channel, ([], []))
        at.append(reading.at_ms)
        raw.append(reading.value)
    series = {
        key: (np.array(at, dtype=np.int64), np.array(raw, dtype=np.float64))
        for key, (at, raw) in by_channel.items()
    }
    return block_of_series(site, first_minute, minutes, series)


def block_of_series(
    site: Site, first_minute: int, minutes: int, series: Mapping[str, tuple[Wholes, Floats]]
) -> CellBlock:
    """Return the same of each channel's instants, in ms since the epoch, and raw values."""
    block = _empty_block(site, first_minute, minutes)
    for columns in _together(site, series):
        said = [series[block.channels[column]] for column in columns]
        words = _Words(
            np.repeat(np.arange(len(columns)), [len(at) for at, _ in said]),
            np.concatenate([at for at, _ in said]),
            np.concatenate([raw for _, raw in said]),
        )
        _fill_in(block, site.channels[block.channels[columns[0]]], columns, words)
    return block


@dataclass(frozen=True, slots=True)
class _Words:
    """Readings of like channels in a row: `which` of them spoke, when, and what."""

    which: Wholes
    at_ms: Wholes
    raw: Floats


def _together(site: Site, series: Mapping[str, tuple[Wholes, Floats]]) -> Iterator[list[int]]:
    """Yield the columns of channels to be worked out together: alike, and few words in all.

    A minute of 200 channels is 200 words, and each array that is touched for one costs as much as
    for a thousand.
    """
    alike: dict[Hashable, list[int]] = {}
    for column, (key, channel) in enumerate(site.channels.items()):
        if key in series:
            of_its_own = column if channel.calibration else None
            alike.setdefault((channel.quantity, channel.unit, of_its_own), []).append(column)
    keys = tuple(site.channels)
    for columns in alike.values():
        group: list[int] = []
        words = 0
        for column in columns:
            more = len(series[keys[column]][0])
            if group and words + more > AT_ONCE:
                yield group
                group, words = [], 0
            group.append(column)
            words += more
        yield group


def _empty_block(site: Site, first_minute: int, minutes: int) -> CellBlock:
    keys = tuple(site.channels)
    shape = (minutes, len(keys))
    return CellBlock(
        first_minute=first_minute,
        channels=keys,
        means=np.zeros(shape, dtype=np.int64),
        present=np.zeros(shape, dtype=np.bool_),
        refused=np.zeros(shape, dtype=np.bool_),
    )


def _fill_in(block: CellBlock, like: Channel, columns: list[int], words: _Words) -> None:
    """Write the cells of some columns of a new block.

    All their channels are as `like` is in quantity, unit and calibration.
    """
    minutes = len(block.means)
    row = words.at_ms // MINUTE_MS - block.first_minute
    inside = (row >= 0) & (row < minutes)
    values = in_our_unit(like, calibrated(like, words.at_ms[inside], words.raw[inside]))
    believed = can_be_believed(like.quantity, values)
    place = words.which[inside] * minutes + row[inside]
    whole = in_millionths(brought_within(like.quantity, values[believed]))
    total = np.zeros(len(columns) * minutes, dtype=np.int64)
    np.add.at(total, place[believed], whole)
    count: Wholes = np.bincount(place[believed], minlength=total.size).astype(np.int64)
    there = count > 0
    mean = np.zeros_like(total)
    mean[there] = rounded_mean(total[there], count[there])
    spoke = np.zeros(total.size, dtype=np.bool_)
    spoke[place] = True
    by_column = (len(columns), minutes)
    block.means[:, columns] = mean.reshape(by_column).T
    block.present[:, columns] = there.reshape(by_column).T
    if block.refused is not None:
        block.refused[:, columns] = (spoke & ~there).reshape(by_column).T


def narrowed(block: CellBlock, channels: Collection[str]) -> CellBlock:
    """Return the same minutes of some channels alone, in the block's own order.

    Channels that the block does not hold are left out.
    """
    columns = [i for i, key in enumerate(block.channels) if key in channels]
    return CellBlock(
        first_minute=block.first_minute,
        channels=tuple(block.channels[i] for i in columns),
        means=block.means[:, columns],
        present=block.present[:, columns],
        refused=None if block.refused is None else block.refused[:, columns],
    )


def minutes_of(block: CellBlock, start: int, stop: int) -> CellBlock:
    """Return rows `start` to `stop` of a block, `stop` not among them, as a block of their own."""
    rows = slice(start, stop)
    return CellBlock(
        first_minute=block.first_minute + rows.indices(len(block.means))[0],
        channels=block.channels,
        means=block.means[rows],
        present=block.present[rows],
        refused=None if block.refused is None else block.refused[rows],
    )


def calibrated(channel: Channel, at_ms: Wholes, raw: Floats) -> Floats:
    """Return raw values put right by the calibration in force at each one's own instant.

    Both in the unit the sensor declares; values from before the first calibration stay raw.
    """
    if not channel.calibration:
        return raw
    in_order = sorted(channel.calibration, key=lambda one: one.since)
    begins = np.array([-((_EPOCH - one.since) // _MS) for one in in_order], dtype=np.int64)
    lines = np.array([(1.0, 0.0), *(one.line() for one in in_order)], dtype=np.float64)
    which = np.searchsorted(begins, at_ms, side="right")
    put_right: Floats = raw * lines[which, 0] + lines[which, 1]
    return put_right


def in_our_unit(channel: Channel, raw: Floats) -> Floats:
    """Convert raw values of a channel to the unit its quantity is kept in, as the scalar form."""
    declared = MEANINGS[channel.quantity].units[channel.unit]
    return raw * declared.scale + declared.offset


def in_millionths(values: Floats) -> Wholes:
    """Round finite values to whole millionths; a NaN or infinity is a broken promise: ValueError.

    >>> in_millionths(np.array([21.5, -0.0000004])).tolist()
    [21500000, 0]
    """
    if not bool(np.all(np.isfinite(values))):
        msg = "only finite values can be carried in millionths"
        raise ValueError(msg)
    return np.rint(values * MICRO).astype(np.int64)


def rounded_mean(total: Wholes, count: Wholes) -> Wholes:
    """Return the mean in whole units, a half rounded up. Integers throughout, so exact."""
    mean: Wholes = (2 * total + count) // (2 * count)
    return mean
