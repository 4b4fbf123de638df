"""The heat under one cover as it is carried from cell to cell, and what each dusk foretells."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.cover import EMPTY, CoverRecord, gather
from rules.cover_ahead import (
    UNKNOWN_HOURS,
    CoverAhead,
    HouseHours,
    expected_under_cover,
    gather_hours,
)

if TYPE_CHECKING:
    from rules.model.place import Place

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]
Told = tuple[Wholes, Flags]
"""Values in millionths and where they are known."""

NOTHING_YET = -(1 << 40)
_HUNDREDTH = 10_000


@dataclass(frozen=True, slots=True)
class ExpectedPeak:
    """The hottest moment expected under the cover, as told at the last dusk; hundredths of °C."""

    made_minute: int
    at_minute: int
    low: int
    central: int
    high: int
    beyond_record: bool


@dataclass(frozen=True, slots=True)
class CoverWatch:
    """What is carried of a cover; record and peak belong to the probe that speaks since `since`."""

    record: CoverRecord = EMPTY
    since: int = NOTHING_YET
    house: HouseHours = UNKNOWN_HOURS
    peak: ExpectedPeak | None = None


NO_COVER = CoverWatch()


@dataclass(frozen=True, slots=True)
class CoverSight:
    """What sensors tell of a cover: its air, the air outside, light; None where nothing speaks."""

    air: Told | None
    house_air: Told | None
    light: Told | None
    probe_since: int


@dataclass(frozen=True, slots=True)
class Under:
    """Where the cover stands, and the share of light that the house's cloth stops."""

    place: Place
    shade_fraction: float


def watch_cover(
    before: CoverWatch, sight: CoverSight, under: Under, *, first_minute: int, dusk: Flags
) -> tuple[CoverWatch, Told]:
    """Carry the record over minutes in a row; return with it the peak expected in each of them.

    At each dusk, the first minute without sun, it is foretold anew, and holds until the next.
    Without a cover, or without its air and the house's, there is none.
    """
    minutes = len(dusk)
    peak, there = np.zeros(minutes, dtype=np.int64), np.zeros(minutes, dtype=np.bool_)
    if sight.house_air is None or sight.air is None:
        return NO_COVER, (peak, there)
    if before.since != sight.probe_since:
        before = CoverWatch(since=sight.probe_since, house=before.house)
    house, seen = sight.house_air
    light, lit = sight.light if sight.light is not None else (peak, there)
    rise = sight.air[0] - house
    all_seen = seen & sight.air[1] & lit
    edges = [0, *(int(row) + 1 for row in np.flatnonzero(dusk)), minutes]
    for start, stop in pairwise(edges):
        if start == stop:
            continue
        rows = slice(start, stop)
        first = first_minute + start
        kept = gather(
            before.record, first, light=light[rows], rise=rise[rows], present=all_seen[rows]
        )
        hours = gather_hours(before.house, first, house[rows], seen[rows])
        _write(before.peak, rows, peak, there)
        before = replace(before, record=kept, house=hours)
        if bool(dusk[stop - 1]):
            before = replace(before, peak=_foretold(before, under, first_minute + stop - 1))
            _write(before.peak, slice(stop - 1, stop), peak, there)
    return before, (peak, there)


def told_peak(watch: CoverWatch) -> Told:
    """Return the peak that was foretold, as told of one minute."""
    peak, there = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.bool_)
    _write(watch.peak, slice(0, 1), peak, there)
    return peak, there


def _write(expected: ExpectedPeak | None, rows: slice, peak: Wholes, there: Flags) -> None:
    peak[rows] = 0 if expected is None else expected.central * _HUNDREDTH
    there[rows] = expected is not None


def _foretold(watch: CoverWatch, under: Under, minute: int) -> ExpectedPeak | None:
    ahead = expected_under_cover(
        under.place, under.shade_fraction, minute, record=watch.record, hours=watch.house
    )
    if not isinstance(ahead, CoverAhead):
        return None
    low, central, high = (
        int(np.rint(value * 100.0))
        for value in (ahead.peak.low_c, ahead.peak.central_c, ahead.peak.high_c)
    )
    return ExpectedPeak(
        made_minute=minute,
        at_minute=ahead.peak.at_minute,
        low=low,
        central=central,
        high=high,
        beyond_record=ahead.peak.beyond_record,
    )
