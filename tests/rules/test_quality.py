"""No sensor is believed beyond what it can say, and no quantity is left without a rule."""

from __future__ import annotations

import numpy as np
import pytest

from rules.model.quantities import MEANINGS, Quantity
from rules.quality import PLAUSIBLE, brought_within, can_be_believed


@pytest.mark.parametrize("quantity", tuple(Quantity))
def test_what_can_be_believed_lies_within_what_can_be_sent(quantity):
    ours, sent = PLAUSIBLE[quantity], MEANINGS[quantity]
    assert sent.lowest <= ours.lowest <= ours.floor < ours.ceiling <= ours.highest <= sent.highest


@pytest.mark.parametrize("quantity", tuple(Quantity))
def test_what_is_no_number_is_never_believed(quantity):
    values = np.array([np.nan, np.inf, -np.inf])
    assert can_be_believed(quantity, values).tolist() == [False, False, False]


@pytest.mark.parametrize("quantity", tuple(Quantity))
def test_a_believed_value_is_only_moved_by_its_overshoot(quantity):
    ours = PLAUSIBLE[quantity]
    inside = np.linspace(ours.floor, ours.ceiling, 7)
    assert np.array_equal(brought_within(quantity, inside), inside)
    ends = brought_within(quantity, np.array([ours.lowest, ours.highest]))
    assert ends.tolist() == [ours.floor, ours.ceiling]
