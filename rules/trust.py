"""Which words of the channels are trusted: all quality tests over a block of cells, in order.

`judged` is both the live form and the array form: a block of one minute after another gives the
very flags and memory of one long block. Words that fail are taken out; suspect ones stay and are
told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.cells import Cell, CellBlock, cell_in
from rules.doubt import Flag, QualityTest
from rules.flagging import Words, tested
from rules.runs import NEVER, NO_BOUND

if TYPE_CHECKING:
    from rules.trust_kit import QualityKit

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]
Codes = NDArray[np.int8]
Heights = NDArray[np.int8]

AT_ONCE = 131_072
"""Words looked at together: what fits into a processor's cache."""

UNSAID = -1


class ChannelMemory(NamedTuple):
    """What the quality tests carry of one channel from cell to cell; written to JSON as a list.

    A minute of -1 is none; a low above its high is an empty span. `said_*`: the last minute in
    which it spoke, with its flag and test. `word_*`: its last word; `good_*`: the last that was no
    spike. `run_*`: since when words are equal, the minutes with sun since then, and how far the
    sensor's air has ranged. `dark_high`: minutes of high sun in the dark. `wet_*`: the same of
    saturation, by day. `held_*`: the last word held against those of its neighbours; `apart_since`
    since when they differ; `glow_since` since when it has seen light in the depth of night.
    """

    said_minute: int = UNSAID
    said_flag: int = int(Flag.MISSING)
    said_test: int = int(QualityTest.NONE)
    word_minute: int = UNSAID
    word_value: int = 0
    good_minute: int = UNSAID
    good_value: int = 0
    run_since: int = UNSAID
    run_sun: int = 0
    run_low: int = 0
    run_high: int = -1
    dark_high: int = 0
    wet_since: int = UNSAID
    wet_low: int = 0
    wet_high: int = -1
    held_minute: int = UNSAID
    held_value: int = 0
    apart_since: int = UNSAID
    glow_since: int = UNSAID


BLANK = ChannelMemory()
_FIELDS = ChannelMemory._fields
_MINUTES = tuple(name for name in _FIELDS if name.endswith(("_minute", "_since")))

Memory = Mapping[str, ChannelMemory]


@dataclass(frozen=True, slots=True)
class Judgement:
    """A block after the tests: `block` without the words that failed, its channels the kit's.

    `flags` (Flag) and `tests` (QualityTest) are minutes by channels.
    """

    block: CellBlock
    flags: Codes
    tests: Codes


def judged(
    kit: QualityKit, memory: Memory, block: CellBlock, sun: Heights
) -> tuple[dict[str, ChannelMemory], Judgement]:
    """Hold every word of a block against the tests; return the memory after it and the judgement.

    `sun` holds the SunHeight of each minute. The block follows the last one judged with `memory`.
    A channel that the site does not name is left out; one that is not in the block was silent.
    """
    minutes = len(block.means)
    means, present, refused = _in_kit_order(kit, block)
    flags = np.full(means.shape, int(Flag.MISSING), dtype=np.int8)
    tests = np.zeros(means.shape, dtype=np.int8)
    table = _table(kit, memory)
    at_once = max(1, AT_ONCE // max(1, len(kit.channels)))
    for start in range(0, minutes if kit.channels else 0, at_once):
        rows = slice(start, min(start + at_once, minutes))
        spoken = Words(
            kit,
            np.ascontiguousarray(present[rows].T),
            np.ascontiguousarray(means[rows].T),
            np.ascontiguousarray(refused[rows].T),
            block.first_minute + np.arange(rows.start, rows.stop, dtype=np.int64),
        )
        table, flagged, by = tested(spoken, table, sun[rows])
        flags[rows] = flagged.T
        tests[rows] = by.T
    kept = present & (flags != int(Flag.FAIL))
    clean = CellBlock(
        first_minute=block.first_minute,
        channels=kit.channels,
        means=np.where(kept, means, 0),
        present=kept,
        refused=refused,
    )
    return _memory(kit, table), Judgement(clean, flags, tests)


def judged_cell(
    kit: QualityKit, memory: Memory, cell: Cell, sun: Heights
) -> tuple[dict[str, ChannelMemory], Cell]:
    """Return the memory after one cell, and the cell without the words that failed."""
    spoken = [cell.means.get(key) for key in kit.channels]
    block = CellBlock(
        first_minute=cell.minute,
        channels=kit.channels,
        means=np.array([[0 if one is None else one for one in spoken]], dtype=np.int64),
        present=np.array([[one is not None for one in spoken]], dtype=np.bool_),
        refused=np.array([[key in cell.refused for key in kit.channels]], dtype=np.bool_),
    )
    after, judgement = judged(kit, memory, block, sun)
    return after, cell_in(judgement.block, cell.minute)


def _in_kit_order(kit: QualityKit, block: CellBlock) -> tuple[Wholes, Flags, Flags]:
    refused = block.refused
    if refused is None:
        refused = np.zeros(block.present.shape, dtype=np.bool_)
    if block.channels == kit.channels:
        return np.where(block.present, block.means, 0), block.present, refused
    shape = (len(block.means), len(kit.channels))
    means = np.zeros(shape, dtype=np.int64)
    present = np.zeros(shape, dtype=np.bool_)
    unbelieved = np.zeros(shape, dtype=np.bool_)
    column = {key: i for i, key in enumerate(block.channels)}
    for i, key in enumerate(kit.channels):
        if key in column:
            present[:, i] = block.present[:, column[key]]
            means[:, i] = np.where(present[:, i], block.means[:, column[key]], 0)
            unbelieved[:, i] = refused[:, column[key]]
    return means, present, unbelieved


def _table(kit: QualityKit, memory: Memory) -> dict[str, Wholes]:
    """Return the memories as one array a field, an entry a channel; no minute is NEVER."""
    rows = [memory.get(key, BLANK) for key in kit.channels]
    whole = np.array(rows, dtype=np.int64).reshape(len(rows), len(_FIELDS))
    table = {name: whole[:, i].copy() for i, name in enumerate(_FIELDS)}
    for name in _MINUTES:
        table[name][table[name] == UNSAID] = NEVER
    for kind in ("run", "wet"):
        low, high = table[f"{kind}_low"], table[f"{kind}_high"]
        empty = low > high
        low[empty], high[empty] = NO_BOUND, -NO_BOUND
    return table


def _memory(kit: QualityKit, table: Mapping[str, Wholes]) -> dict[str, ChannelMemory]:
    """Return what to carry of every channel that ever spoke."""
    whole = np.stack([table[name] for name in _FIELDS], axis=1)
    place = {name: i for i, name in enumerate(_FIELDS)}
    for name in _MINUTES:
        column = whole[:, place[name]]
        column[column == NEVER] = UNSAID
    for kind in ("run", "wet"):
        low, high = whole[:, place[f"{kind}_low"]], whole[:, place[f"{kind}_high"]]
        empty = low > high
        low[empty], high[empty] = 0, -1
    spoke: list[bool] = (whole[:, place["said_minute"]] != UNSAID).tolist()
    rows: list[list[int]] = whole.tolist()
    return {
        key: ChannelMemory(*row)
        for key, row, there in zip(kit.channels, rows, spoke, strict=True)
        if there
    }
