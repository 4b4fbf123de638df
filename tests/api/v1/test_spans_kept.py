"""However many batches there are, the spans kept for pages take the same memory."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from api.v1 import sight
from api.v1.sight import MOST_SPANS, Sight


def test_spans_are_let_go_by_how_much_they_hold_together(tern_hollow, monkeypatch):
    looked = Sight(tern_hollow.parts)
    batches = len(tern_hollow.parts.watchlist.batches)
    first = int(tern_hollow.parts.clock.now().timestamp()) // 60 - 20_000

    def kept(most: int, minutes: int = 60) -> int:
        monkeypatch.setattr(sight, "MOST_BATCH_MINUTES", most)
        for number in range(MOST_SPANS + 3):
            looked.span(first + number * minutes, minutes)
        return len(looked._tapes)

    assert batches > 5
    assert kept(60 * batches * 100) == MOST_SPANS
    assert kept(60 * batches * 5) == 5
    assert kept(1) == 2, "today and last night are looked at side by side"


def test_a_day_that_is_over_is_worked_out_once_for_all_lines_of_a_batch(hot_bags, monkeypatch):
    # As in a nursery so large that no more than two spans of all batches fit.
    monkeypatch.setattr("api.v1.sight.MOST_BATCH_MINUTES", 0)
    sight, begun = Sight(hot_bags.parts), []
    begin = sight._begin
    monkeypatch.setattr(sight, "_begin", lambda tape: (begun.append(tape), begin(tape)))
    last = int(hot_bags.clock.now().timestamp()) // 60
    days = [(last - 1440 * back, 1440) for back in (4, 3, 2)]
    first = [sight.of_batch("MG-07", *day) for day in days]
    again = [sight.of_batch("MG-07", *day) for day in days]
    assert len(begun) == 3
    assert all(one is other for one, other in zip(first, again, strict=True))
    whole = Sight(hot_bags.parts).span(*days[1]).batches["MG-07"]
    assert np.array_equal(first[1].margin, whole.margin, equal_nan=True)
    today = (last - 60, 1440)
    before = sight.of_batch("MG-07", *today)
    assert before is not None
    assert all(key[1] != today[0] for key in sight._of_batches), "it goes on"
    hot_bags.clock.turn_by(timedelta(hours=1))
    sight.of_batch("MG-07", *days[0])
    assert len(begun) == 5, "readings may have been loaded since"
