"""One limit judged cell by cell and all at once, with values on its very edges."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import limits
from rules.limits import QUIET, Bound, Delays, Verdict, verdict, verdicts
from rules.model.plan import When
from rules.state import EvaluatorState

FIRST = 29_000_000
MANY = settings(max_examples=6 * settings.default.max_examples, deadline=None)


@st.composite
def limit_and_cells(draw):
    deadband = draw(st.sampled_from((0, 1, 500_000)))
    bound = Bound(
        sign=draw(st.sampled_from((1, -1))),
        at=30_000_000,
        deadband=deadband,
        full_margin=5_000_000,
        when=draw(st.sampled_from(tuple(When))),
        film=None,
        delays=Delays(draw(st.integers(1, 5)), draw(st.integers(1, 4))),
    )
    edges = [
        bound.at + sign * (deadband + nudge)
        for sign in (-1, 1)
        for nudge in (-1, 0, 1, 100_000, -deadband, 1 - deadband)
    ]
    cells = draw(
        st.lists(
            st.tuples(
                st.one_of(st.none(), st.sampled_from(edges), st.sampled_from(edges)),
                st.sampled_from((True, True, False)),
                st.integers(1, 4),
            ),
            max_size=25,
        )
    )
    long = [(value, sun_up) for value, sun_up, length in cells for _ in range(length)]
    return bound, long, draw(st.integers(0, len(long)))


def fold(bound, state, first, cells):
    path = []
    for i, (value, sun_up) in enumerate(cells):
        said = verdict(bound, value, sun_up=sun_up, film_open=False)
        state = limits.step(bound.delays, state, first + i, said, value=value, sign=bound.sign)
        path.append(state)
    return state, path


def swept_over(bound, state, first, cells):
    return limits.sweep(
        bound.delays, state, first, judged(bound, cells), values=values_of(cells), sign=bound.sign
    )


def values_of(cells):
    return np.array([value or 0 for value, _ in cells], dtype=np.int64)


def judged(bound, cells):
    values = values_of(cells)
    present = np.array([value is not None for value, _ in cells], dtype=np.bool_)
    sun_up = np.array([up for _, up in cells], dtype=np.bool_)
    return verdicts(bound, values, present, sun_up=sun_up, film_open=np.zeros_like(sun_up))


@given(case=limit_and_cells())
@MANY
def test_a_limit_judged_all_at_once_is_the_limit_judged_cell_by_cell(case):
    bound, cells, _ = case
    live, path = fold(bound, QUIET, FIRST, cells)
    swept = swept_over(bound, QUIET, FIRST, cells)
    assert swept.state == live
    assert swept.raised.tolist() == [state.raised for state in path]
    assert swept.rising.tolist() == [not state.raised and state.cells_beyond > 0 for state in path]
    before = [QUIET, *path][:-1]
    assert list(swept.opened) == [
        (FIRST + i, now.since_minute)
        for i, (was, now) in enumerate(zip(before, path, strict=True))
        if now.raised and not was.raised
    ]
    assert list(swept.closed) == [
        FIRST + i
        for i, (was, now) in enumerate(zip(before, path, strict=True))
        if was.raised and not now.raised
    ]
    assert list(swept.worst) == [
        worst_by_hand(bound, cells[was.since_minute - FIRST : i])
        for i, (was, now) in enumerate(zip(before, path, strict=True))
        if was.raised and not now.raised
    ]


def worst_by_hand(bound, cells):
    """The value furthest beyond the bound, among cells in which the limit speaks."""
    beyond = [
        value
        for value, sun_up in cells
        if verdict(bound, value, sun_up=sun_up, film_open=False) is Verdict.BEYOND
    ]
    return max(beyond) if bound.sign > 0 else min(beyond)


@given(case=limit_and_cells())
@MANY
def test_a_limit_carries_its_rows_over_any_cut(case):
    bound, cells, cut = case
    live, path = fold(bound, QUIET, FIRST, cells)
    early = swept_over(bound, QUIET, FIRST, cells[:cut])
    late = swept_over(bound, early.state, FIRST + cut, cells[cut:])
    assert late.state == live
    assert [*early.raised.tolist(), *late.raised.tolist()] == [state.raised for state in path]


@given(case=limit_and_cells())
@MANY
def test_every_cell_gets_the_same_verdict_alone_and_in_company(case):
    bound, cells, _ = case
    alone = [verdict(bound, value, sun_up=sun_up, film_open=False) for value, sun_up in cells]
    assert [Verdict(int(one)) for one in judged(bound, cells)] == alone


def test_a_state_written_before_worst_values_were_kept_is_read():
    state = EvaluatorState.from_json(
        '{"minute": 7, "latest": {}, "quality": {}, "batches": {"MG-07": {"key": "healing/x/1/0",'
        '"standing": "in_danger", "rings": {}, "doses": {}, "reckoned": {}, "conditions": {"heat":'
        '{"raised": true, "cells_beyond": 0, "cells_back": 1, "since_minute": 3}}}}}'
    )
    assert state.batches["MG-07"].conditions["heat"].worst is None


def test_a_value_in_hours_in_which_a_limit_is_silent_is_never_the_worst():
    by_day = Bound(1, 30_000_000, 0, 5_000_000, When.DAY, None, Delays(1, 3))
    cells = [(31_000_000, True), (39_000_000, False), (32_000_000, True), (20_000_000, True)]
    live, _ = fold(by_day, QUIET, FIRST, cells)
    assert live.worst == 32_000_000
    assert swept_over(by_day, QUIET, FIRST, cells).state == live
