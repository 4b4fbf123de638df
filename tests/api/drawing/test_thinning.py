"""A long record is drawn with few points, and what a grower looks for is among them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.drawing.thinning import MOST_POINTS, gaps_in, nearest_joined, thinned

MINUTE_MS = 60_000


@st.composite
def records(draw):
    """A record of minutes with gaps, spells of noise, and limits that hold here and there."""
    count = draw(st.integers(1, 3000))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    steps = np.ones(count, dtype=np.int64)
    steps[rng.random(count) < draw(st.sampled_from([0.0, 0.002, 0.05, 0.5]))] += 7
    at_ms = np.cumsum(steps) * MINUTE_MS
    begins = np.concatenate(([True], np.diff(at_ms) > MINUTE_MS))
    value = np.round(20 + np.cumsum(rng.normal(0, 0.3, count)), draw(st.integers(0, 3)))
    spikes = rng.random(count) < draw(st.sampled_from([0.0, 0.001, 0.02]))
    value[spikes] += 30
    beyond = []
    for _ in range(draw(st.integers(0, 3))):
        how_far = (value - np.quantile(value, draw(st.floats(0.3, 1.0)))) * rng.choice([-1, 1])
        how_far[: int(count * draw(st.floats(0, 1)))] = -1.0  # not yet in force
        beyond.append(how_far)
    return at_ms, value, begins, beyond


def runs_beyond(how_far, begins):
    """Yield the places of each unbroken excursion, one by one, without any array sums."""
    run: list[int] = []
    for place, far in enumerate(how_far.tolist()):
        if run and (begins[place] or far <= 0):
            yield run
            run = []
        if far > 0:
            run.append(place)
    if run:
        yield run


@given(records(), st.sampled_from([100, 200, 500]))
def test_extremes_stay_and_points_are_few_true_and_in_order(record, most):
    at_ms, value, begins, beyond = record
    kept = thinned(at_ms, value, value, begins=begins, beyond=beyond, most=most)
    assert kept.index.size <= most
    assert (np.diff(kept.index) > 0).all()
    assert value[kept.index].min() == value.min()
    assert value[kept.index].max() == value.max()
    assert kept.index[0] >= 0
    assert kept.index[-1] < value.size


@given(records(), st.sampled_from([100, 500]))
def test_every_excursion_stays(record, most):
    at_ms, value, begins, beyond = record
    kept = thinned(at_ms, value, value, begins=begins, beyond=beyond, most=most)
    chosen = set(kept.index.tolist())
    for how_far in beyond:
        runs = list(runs_beyond(how_far, begins))
        if not kept.joined:
            for run in runs:
                worst = max(how_far[place] for place in run)
                assert any(place in chosen and how_far[place] == worst for place in run)
        if runs:  # even where they had to be joined, the worst of all is there
            assert how_far[kept.index].max() == how_far.max()


@given(records(), st.sampled_from([100, 500]))
def test_no_line_is_drawn_across_a_gap_and_no_other_break_is_made(record, most):
    at_ms, value, begins, beyond = record
    kept = thinned(at_ms, value, value, begins=begins, beyond=beyond, most=most)
    pairs = zip(kept.index[:-1], kept.index[1:], kept.begins[1:], strict=True)
    for before, after, broken in pairs:
        assert broken == begins[before + 1 : after + 1].any()
    if not kept.joined:
        ends = np.flatnonzero(begins)
        assert set(ends.tolist()) <= set(kept.index.tolist())
        assert int(kept.begins.sum()) == int(begins.sum())


def test_a_quiet_season_keeps_one_hot_minute_and_one_lost_hour():
    at_ms = np.arange(180 * 1440, dtype=np.int64) * MINUTE_MS
    value = 24 + 5 * np.sin(np.arange(at_ms.size) / 1440 * 2 * np.pi)
    value[100_000] = 33.0
    keep = np.ones(at_ms.size, dtype=bool)
    keep[150_000:150_060] = False
    at_ms, value = at_ms[keep], value[keep]
    begins = np.concatenate(([True], np.diff(at_ms) > MINUTE_MS))
    kept = thinned(at_ms, value, value, begins=begins, beyond=[value - 32.0])
    assert kept.index.size <= MOST_POINTS
    assert 33.0 in value[kept.index]
    assert int(kept.begins.sum()) == 2
    gaps = gaps_in(at_ms, begins, step_ms=MINUTE_MS, start_ms=0, end_ms=180 * 1440 * MINUTE_MS)
    assert (gaps // MINUTE_MS).tolist() == [[150_000, 150_060]]


def test_short_excursion_is_not_swallowed_by_a_larger_one_beside_it():
    value = np.full(50_000, 20.0)
    value[1000:1010] = 40.0
    value[1012] = 33.0  # in the same length of time as the larger one
    at_ms = np.arange(value.size, dtype=np.int64) * MINUTE_MS
    begins = np.zeros(value.size, dtype=bool)
    begins[0] = True
    kept = thinned(at_ms, value, value, begins=begins, beyond=[value - 32.0], most=200)
    assert 1012 in kept.index.tolist()
    assert not kept.joined


def test_more_excursions_than_points_are_joined_and_it_is_said():
    value = np.tile([20.0, 40.0], 5000)
    value[7777] = 44.0
    at_ms = np.arange(value.size, dtype=np.int64) * MINUTE_MS
    begins = np.zeros(value.size, dtype=bool)
    begins[0] = True
    kept = thinned(at_ms, value, value, begins=begins, beyond=[value - 32.0], most=200)
    assert kept.joined
    assert kept.index.size <= 200
    assert 7777 in kept.index.tolist()


def test_too_few_points_to_choose_from_is_a_broken_promise():
    one = np.zeros(1)
    with pytest.raises(ValueError, match="too few"):
        thinned(one.astype(np.int64), one, one, begins=one == 0, beyond=[one], most=30)


@given(st.lists(st.integers(1, 50), min_size=2, max_size=80), st.integers(1, 20))
def test_gaps_joined_hold_every_gap(steps, most):
    edges = np.cumsum(np.array(steps[: len(steps) // 2 * 2], dtype=np.int64)).reshape(-1, 2)
    joined = nearest_joined(edges, most)
    assert len(joined) <= max(most, 1)
    for start, end in edges.tolist():
        assert any(a <= start and end <= b for a, b in joined.tolist())
    assert (joined[1:, 0] > joined[:-1, 1]).all()


@given(records(), st.sampled_from([100, 200]))
def test_extremes_of_cells_are_those_of_their_readings_not_of_their_means(record, most):
    at_ms, value, begins, beyond = record
    spread = np.random.default_rng(1).exponential(5.0, value.size)
    low, high = value - spread[::-1], value + spread
    kept = thinned(at_ms, low, high, begins=begins, beyond=beyond, most=most)
    assert low[kept.index].min() == low.min()
    assert high[kept.index].max() == high.max()


def test_an_excursion_cut_by_a_gap_is_two():
    value = np.full(50_000, 20.0)
    value[1000:1100] = 40.0
    value[1020], value[1080] = 41.0, 45.0
    at_ms = np.arange(value.size, dtype=np.int64) * MINUTE_MS
    at_ms[1050:] += 600 * MINUTE_MS
    begins = np.concatenate(([True], np.diff(at_ms) > MINUTE_MS))
    kept = thinned(at_ms, value, value, begins=begins, beyond=[value - 32.0], most=200)
    assert {1020, 1080} <= set(kept.index.tolist())
