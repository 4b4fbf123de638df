"""A trend seen cell by cell is the trend seen all at once."""

from __future__ import annotations

import numpy as np
from hypothesis import event, given, settings
from hypothesis import strategies as st

from rules.limits import Bound, Delays, bound_table
from rules.model.plan import When
from rules.trend import (
    RING,
    head_out,
    heads_out,
    minutes_until,
    onto_ring,
    onto_rings,
    trend_of,
    trends_of,
)

MANY = settings(max_examples=4 * settings.default.max_examples, deadline=None)


@st.composite
def slopes(draw):
    """Values that wander slowly near a bound, with gaps, after a ring of any length."""
    length = draw(st.integers(1, 90))
    pace = draw(st.sampled_from((0, 999, 1000, 25_000, -25_000, 50_000, -50_000)))
    begin = 30_000_000 - pace * draw(st.integers(0, 120)) + draw(st.integers(-1000, 1000))
    wobble = draw(st.lists(st.sampled_from((0, 0, 1, -30_000, 30_000)), min_size=1, max_size=7))
    values = [begin + pace * i + wobble[i % len(wobble)] for i in range(length)]
    gaps = draw(st.sets(st.integers(0, length), max_size=12))
    cells = [None if i in gaps else value for i, value in enumerate(values)]
    bound = Bound(
        sign=draw(st.sampled_from((1, -1))),
        at=30_000_000,
        deadband=draw(st.sampled_from((0, 1, 500_000))),
        full_margin=1_000_000,
        when=When.ALWAYS,
        film=None,
        delays=Delays(1, 1),
    )
    return bound, cells, draw(st.integers(0, length)), draw(st.integers(-40, length))


@given(case=slopes())
@MANY
def test_a_batch_drifts_in_a_replay_exactly_when_it_drifted_live(case):
    bound, cells, cut, since = case
    ring: tuple[int | None, ...] = ()
    live = []
    for i, value in enumerate(cells):
        ring = onto_ring(ring, value)
        out = heads_out(bound, trend_of(ring, i - since + 1))
        live.append(out)
        assert not out or i > since, "cells from before the speaker tell nothing"
        if out:
            assert minutes_until(bound, trend_of(ring, i - since + 1)) >= 0
            event("drifts")
    values = np.array([value or 0 for value in cells], dtype=np.int64)
    present = np.array([value is not None for value in cells], dtype=np.bool_)
    (carried,) = onto_rings([()], values[None, :cut], present[None, :cut])
    assert onto_rings([carried], values[None, cut:], present[None, cut:]) == [ring]
    assert len(ring) <= RING
    # Beside a quantity that never spoke, and one for which another sensor speaks from midway on.
    nobody = np.full(len(cells) - cut, len(cells))
    midway = np.where(np.arange(len(cells) - cut) < 7, since - cut, 7)
    trends = trends_of(
        [carried, (), carried],
        np.stack([np.full_like(nobody, since - cut), nobody, midway]),
        np.stack([values[cut:]] * 3),
        np.stack([present[cut:]] * 3),
    )
    out = head_out(bound_table([bound] * 3), trends)
    assert out[0].tolist() == live[cut:]
    assert not out[1].any()
    assert out[2, :7].tolist() == live[cut:][:7]
    for place in range(cut + 7, len(cells)):
        later = tuple(None if v is None else v // 1000 for v in cells[: place + 1])[-RING:]
        expected = heads_out(bound, trend_of(later, place - cut - 7 + 1))
        assert out[2, place - cut] == expected
