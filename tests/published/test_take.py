"""Intervals of shares, rank tests and their correction, held against printed examples."""

from __future__ import annotations

import pytest

from rules.take_figures import cliffs_delta, holm, mann_whitney_p, wilson

NEWCOMBE = (
    "Newcombe 1998, Statistics in Medicine 17:857-872, Table I, method 3 (score, no continuity "
    "correction); figures from memory"
)


@pytest.mark.published(NEWCOMBE)
@pytest.mark.parametrize(
    ("taken", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_interval_of_a_share_is_that_of_wilson(taken, of, low, high):
    assert wilson(taken, of) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.published(
    "worked example of the Mann-Whitney test in SciPy's reference: U 17, 14 of 126"
)
def test_the_rank_test_finds_what_the_worked_example_does():
    men, women = [19, 22, 16, 29, 24], [20, 11, 17, 12]
    assert mann_whitney_p(men, women) == pytest.approx(14 / 126)
    # U 17 of 5 x 4 pairs: Cliff's delta is 2 U / (5 x 4) - 1.
    assert cliffs_delta(men, women) == pytest.approx(2 * 17 / 20 - 1)


@pytest.mark.published("Holm 1979, Scand. J. Stat. 6:65-70; p values of a common worked example")
def test_the_correction_of_holm_steps_down():
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
