"""Steady, drifting, strained, blind, in danger: one word for a batch, the worst that is true."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.model.event import Standing

Flags = NDArray[np.bool_]

BY_SEVERITY: tuple[Standing, ...] = (
    Standing.STEADY,
    Standing.DRIFTING,
    Standing.STRAINED,
    Standing.BLIND,
    Standing.IN_DANGER,
)
"""The mildest first. Blind stands above strained: what cannot be seen may be worse."""

UNWATCHED = -1
"""Stands in an array of standings for a batch that no limit watches."""


def standing_of(*, in_danger: bool, blind: bool, strained: bool, drifting: bool) -> Standing:
    """Return the worst standing that is true."""
    if in_danger:
        return Standing.IN_DANGER
    if blind:
        return Standing.BLIND
    if strained:
        return Standing.STRAINED
    return Standing.DRIFTING if drifting else Standing.STEADY


def standings_of(
    *, in_danger: Flags, blind: Flags, strained: Flags, drifting: Flags
) -> NDArray[np.int8]:
    """Return the worst standing that is true in each cell, as its place in BY_SEVERITY."""
    place = np.where(drifting, 1, 0)
    for flags, severity in ((strained, 2), (blind, 3), (in_danger, 4)):
        place = np.where(flags, severity, place)
    return place.astype(np.int8)


def standing_at(place: int) -> Standing | None:
    """Return the standing for a place in BY_SEVERITY; None for UNWATCHED."""
    return None if place == UNWATCHED else BY_SEVERITY[place]
