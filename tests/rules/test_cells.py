"""What a minute holds, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from rules.cells import MICRO, block_of, cell_in, in_millionths, rounded_mean
from rules.model.reading import MINUTE_MS, Reading, StoredReading

MINUTE = 29_000_000
AIR = "bag-07/air_temperature"
DAMP = "bag-07/relative_humidity"


def at(second: float, minute: int = MINUTE) -> int:
    return minute * MINUTE_MS + int(second * 1000)


def test_a_minute_is_the_mean_of_what_was_sent_in_it(make):
    readings = [
        Reading(AIR, at(0), 25.0),
        Reading(AIR, at(59.999), 26.0),
        Reading(AIR, at(60), 90.0),
        Reading(AIR, at(-0.001), 90.0),
        StoredReading(7, DAMP, at(30), 95.5),
    ]
    cell = make.cell(make.site(), MINUTE, readings)
    assert cell.means == {AIR: 25_500_000, DAMP: 95_500_000}


def test_what_cannot_be_believed_is_missing_and_spoils_no_mean(make):
    readings = [
        Reading(AIR, at(1), 84.0),
        Reading(AIR, at(2), 25.0),
        Reading(DAMP, at(1), 107.0),
        Reading(DAMP, at(2), float("nan")),
    ]
    assert make.cell(make.site(), MINUTE, readings).means == {AIR: 25_000_000}


def test_humidity_over_100_is_read_as_100(make):
    readings = [Reading(DAMP, at(1), 103.0), Reading(DAMP, at(2), 99.0)]
    assert make.cell(make.site(), MINUTE, readings).means == {DAMP: 99_500_000}


def test_a_channel_the_site_does_not_name_is_left_out(make):
    assert make.cell(make.site(), MINUTE, [Reading("gone/air", at(1), 25.0)]).means == {}


def test_a_block_marks_what_is_missing_with_zero_and_absent(make):
    block = block_of(make.site(), MINUTE, 3, [Reading(AIR, at(0, MINUTE + 1), 25.0)])
    assert block.channels == (AIR, DAMP)
    assert block.present.tolist() == [[False, False], [True, False], [False, False]]
    assert block.means.tolist() == [[0, 0], [25 * MICRO, 0], [0, 0]]
    with pytest.raises(IndexError, match="not in this block"):
        cell_in(block, MINUTE + 3)


def test_a_mean_rounds_a_half_up_below_zero_too():
    means = rounded_mean(np.array([3, -3, 5, -1]), np.array([2, 2, 3, 3]))
    assert means.tolist() == [2, -1, 2, 0]


def test_no_number_is_never_rounded_into_one():
    with pytest.raises(ValueError, match="finite"):
        in_millionths(np.array([1.0, np.nan]))
