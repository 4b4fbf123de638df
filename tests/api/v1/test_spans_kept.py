"""However many batches there are, the spans kept for pages take the same memory."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from api.records.session import reading, writing
from api.records.watch import LateMark, load_position, note_late
from api.v1 import sight
from api.v1.sight import MOST_SPANS, Sight
from rules.model.quantities import Felt
from rules.model.reading import Reading


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


def test_a_span_is_worked_out_anew_only_where_readings_came_late(hot_bags, monkeypatch):
    sight, begun = Sight(hot_bags.parts), []
    begin = sight._begin
    monkeypatch.setattr(sight, "_begin", lambda tape: (begun.append(tape), begin(tape)))
    last = int(hot_bags.clock.now().timestamp()) // 60
    with reading(hot_bags.parts.records) as db:
        began = load_position(db).began_minute
    assert began <= last - 240
    before = sight.span(last - 240, 240)
    hot_bags.clock.turn_by(timedelta(hours=3))
    assert sight.span(last - 240, 240) is before

    at_ms = (last - 100) * 60_000
    (batch,) = [one for one in hot_bags.parts.watchlist.batches if one.code == "MG-07"]
    speaker = batch.span_at(last - 100).speakers[Felt.AIR_TEMPERATURE]
    channel = speaker.sources[0].channel
    hot_bags.parts.store.keep([Reading(channel, at_ms + 17_000, 20.6)])
    mark = LateMark(channel, at_ms + 17_000, last - 100, hot_bags.clock.now())
    with writing(hot_bags.parts.records) as db:
        note_late(db, [mark])
    anew = sight.span(last - 240, 240)
    assert len(begun) == 2
    felt = [one.batches["MG-07"].felt[Felt.AIR_TEMPERATURE][140] for one in (before, anew)]
    assert felt[1] < felt[0]
    with writing(hot_bags.parts.records) as db:
        note_late(db, [replace(mark, at_ms=at_ms + 18_000)])
    assert sight.span(last - 240, 240) is anew, "not for each one that comes in half an hour"

    sight.span(began - 60, 120)
    hot_bags.clock.turn_by(timedelta(minutes=31))
    sight.span(began - 60, 120)
    assert len(begun) == 4, "of minutes that nobody watched no lateness is known"
