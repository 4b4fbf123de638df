"""From the sensors that speak for a batch to what is reckoned of it, for one cell and for many."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.felt import fresh_value, fresh_values
from rules.model.quantities import Felt
from rules.reckoning import Around, Reckoning, reckon

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.cover_watch import Told
    from rules.felt import Held
    from rules.moments import Moment, Moments
    from rules.reckoning import Kit, Reckoned
    from rules.speaking import Span

Flags = NDArray[np.bool_]

INPUTS = (
    Felt.AIR_TEMPERATURE,
    Felt.RELATIVE_HUMIDITY,
    Felt.PPFD,
    Felt.LEAF_TEMPERATURE,
    Felt.AIR_SPEED,
)
"""What is reckoned from, as far as a sensor tells it."""


def reckon_cell(
    kit: Kit,
    before: Reckoned,
    span: Span,
    felt: Mapping[Felt, int | None],
    moment: Moment,
    latest: Mapping[str, tuple[int, int]],
    *,
    leaf_too: bool,
) -> tuple[Reckoned, dict[Felt, int | None]]:
    """Carry what is reckoned over one cell; return with it what the batch feels by it."""
    after, told = reckon(
        kit,
        before,
        around_in_cell(span, felt, latest, moment.minute),
        first_minute=moment.minute,
        sun_up=np.array([moment.sun_up]),
        dusk=np.array([moment.dusk]),
        leaf_too=leaf_too,
    )
    return after, felt_in_cell(span, told)


def around_in_cell(
    span: Span,
    felt: Mapping[Felt, int | None],
    latest: Mapping[str, tuple[int, int]],
    minute: int,
) -> Around:
    """Return what is told around a batch in one cell; `felt` holds the INPUTS."""
    inputs = {quantity: _one(felt[quantity]) for quantity in INPUTS if quantity in span.speakers}
    outside = None
    if span.house_air is not None:
        outside = _one(fresh_value(span.house_air, latest, minute))
    return _around(span, inputs, outside)


def felt_in_cell(span: Span, told: Reckoning) -> dict[Felt, int | None]:
    """Return what a batch feels by what was reckoned of one cell, in millionths."""
    return {
        quantity: int(values[0]) if bool(there[0]) else None
        for quantity, (values, there) in felt_by(span, told).items()
    }


def reckon_rows(
    kit: Kit,
    before: Reckoned,
    span: Span,
    felt: Mapping[Felt, Told],
    moments: Moments,
    held: Held,
    rows: slice,
    *,
    leaf_too: bool,
) -> tuple[Reckoned, Reckoning]:
    """Carry what is reckoned over rows of a block in which one span holds.

    `felt` holds the INPUTS over these rows.
    """
    inputs = {quantity: felt[quantity] for quantity in INPUTS if quantity in span.speakers}
    outside = fresh_values(span.house_air, held, rows) if span.house_air is not None else None
    return reckon(
        kit,
        before,
        _around(span, inputs, outside),
        first_minute=moments.first_minute + rows.start,
        sun_up=moments.sun_up[rows],
        dusk=moments.dusk[rows],
        leaf_too=leaf_too,
    )


def felt_by(span: Span, told: Reckoning) -> dict[Felt, Told]:
    """Return what a batch feels by what was reckoned; a leaf only where no sensor is to tell it."""
    felt = {
        Felt.RESERVE: told.reserve,
        Felt.HOURS_TO_CRITICAL: told.hours,
        Felt.EXPECTED_PEAK: told.peak,
    }
    if told.leaf_deficit is not None:
        felt[Felt.LEAF_DEFICIT] = told.leaf_deficit
    if told.leaf is not None and Felt.LEAF_TEMPERATURE not in span.speakers:
        felt[Felt.LEAF_TEMPERATURE] = told.leaf
    return felt


def _around(span: Span, inputs: Mapping[Felt, Told], outside: Told | None) -> Around:
    probe = span.speakers.get(Felt.AIR_TEMPERATURE)
    return Around(
        air=inputs.get(Felt.AIR_TEMPERATURE),
        humidity=inputs.get(Felt.RELATIVE_HUMIDITY),
        light=inputs.get(Felt.PPFD),
        leaf=inputs.get(Felt.LEAF_TEMPERATURE),
        # Wind in the house says nothing of the still air under a cover.
        air_speed=None if span.covered else inputs.get(Felt.AIR_SPEED),
        house_air=outside,
        probe_since=probe.since_minute if probe is not None else 0,
    )


def _one(value: int | None) -> Told:
    seen = np.array([value is not None])
    return np.array([0 if value is None else value], dtype=np.int64), seen
