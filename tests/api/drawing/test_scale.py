"""Thinning a record for a chart never loses what matters in it."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as st_numpy

from api.drawing.scale import MOST_POINTS, Domain, domain_of, extremes, runs_of, worst_by_column

VALUES = st.one_of(st.floats(-50, 150), st.just(float("nan")))
RECORDS = st_numpy.arrays(np.float64, st.integers(1, 400), elements=VALUES)


@given(RECORDS, st.integers(1, 200))
def test_lowest_and_highest_of_every_record_are_drawn(values, columns):
    drawn = [value for run in extremes(values, columns) for _, value in run]
    seen = values[~np.isnan(values)]
    if seen.size == 0:
        assert drawn == []
    else:
        assert min(drawn) == seen.min()
        assert max(drawn) == seen.max()


@given(RECORDS, st.integers(1, 200))
def test_no_line_is_drawn_across_a_gap(values, columns):
    count = values.size
    for run in extremes(values, columns):
        first, last = (round(run[i][0] * count - 0.5) for i in (0, -1))
        assert not np.isnan(values[first : last + 1]).any()


@given(RECORDS, st.integers(1, 200))
def test_points_go_forward_in_time_and_stay_few(values, columns):
    places = [place for run in extremes(values, columns) for place, _ in run]
    assert places == sorted(places)
    assert len(places) <= 2 * columns


def test_a_season_is_drawn_with_two_thousand_points_at_most():
    season = np.sin(np.arange(130_000) / 50.0)
    season[::7] = np.nan
    assert sum(len(run) for run in extremes(season, 100_000)) <= MOST_POINTS


@given(RECORDS, st.integers(1, 100))
def test_ribbon_column_is_never_finer_than_its_worst_minute(margin, columns):
    worst, index = worst_by_column(margin, columns)
    edges = (np.arange(columns + 1) * margin.size) // columns
    for column in range(columns):
        piece = margin[edges[column] : edges[column + 1]]
        seen = piece[~np.isnan(piece)]
        if seen.size == 0:
            assert np.isnan(worst[column])
            assert index[column] == -1
        elif seen.min() < 0:
            assert worst[column] == seen.min()
        elif seen.size < piece.size:
            assert np.isnan(worst[column])
        else:
            assert worst[column] == seen.min()


@given(RECORDS, st.lists(st.floats(-50, 150), max_size=4), st.floats(0.1, 20))
def test_domain_holds_every_value_and_every_limit(values, bounds, least_span):
    domain = domain_of(values, bounds, least_span)
    for value in [*values[~np.isnan(values)], *bounds]:
        assert domain.lowest <= value <= domain.highest
    assert domain.highest - domain.lowest >= least_span
    assert 2 <= len(domain.ruled) <= 9
    assert all(domain.lowest <= value <= domain.highest for value in domain.ruled)


def test_height_runs_from_the_top():
    domain = Domain(0.0, 10.0, ())
    assert [domain.height_of(v) for v in (10.0, 5.0, 0.0, 99.0, -99.0)] == [0, 0.5, 1, 0, 1]


@given(st_numpy.arrays(np.bool_, st.integers(0, 60)))
def test_runs_cover_exactly_what_holds(mask):
    again = np.zeros_like(mask)
    for start, end in runs_of(mask):
        assert start < end
        again[start:end] = True
    assert (again == mask).all()
