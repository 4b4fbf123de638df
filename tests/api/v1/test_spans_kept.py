"""However many batches there are, the spans kept for pages take the same memory."""

from __future__ import annotations

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
