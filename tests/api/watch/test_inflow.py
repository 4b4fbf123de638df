"""Readings reach their minute exactly once, and few of them are held, however many wait."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.watch.inflow import WINDOW_MIN, Inflow
from collector.stores.sqlite import SqliteStore
from rules.model.reading import MINUTE_MS, Reading

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

FIRST = 29_652_900
A_MINUTE = 6


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteStore]:
    kept = SqliteStore(tmp_path / "readings.db")
    yield kept
    kept.close()


def of_minute(minute: int, channel: str = "bag/air") -> list[Reading]:
    start_ms = (FIRST + minute) * MINUTE_MS
    return [Reading(channel, start_ms + n * 10_000, 20.0 + n) for n in range(A_MINUTE)]


def test_after_a_long_outage_little_is_held_and_every_reading_comes_once(store: SqliteStore):
    minutes = 400
    for minute in reversed(range(minutes)):
        store.keep(of_minute(minute))
    inflow = Inflow(store, ["bag/air"], sequence=0, next_minute=FIRST, chunk=50)
    while inflow.take() is not None:
        assert inflow.held <= WINDOW_MIN * A_MINUTE
    seen = []
    for minute in range(minutes):
        seen += [reading.at_ms for reading in inflow.readings_of(FIRST + minute)]
        assert inflow.held <= WINDOW_MIN * A_MINUTE
    assert seen == [reading.at_ms for m in range(minutes) for reading in of_minute(m)]


def test_readings_that_come_while_cells_are_closed_come_once_too(store: SqliteStore):
    inflow = Inflow(store, ["bag/air"], sequence=0, next_minute=FIRST, window_min=4)
    seen = []
    for minute in range(40):
        store.keep(of_minute(minute)[:3])
        store.keep(of_minute(minute + 7)[3:])
        while inflow.take() is not None:
            pass
        seen += [(r.sequence, r.at_ms) for r in inflow.readings_of(FIRST + minute)]
    assert len(seen) == len(set(seen)) == 40 * 3 + 33 * 3


def test_what_comes_after_its_minute_is_late_and_strangers_are_left_out(store: SqliteStore):
    inflow = Inflow(store, ["bag/air"], sequence=0, next_minute=FIRST)
    assert inflow.readings_of(FIRST) == []
    store.keep([*of_minute(0)[:1], *of_minute(0, "stranger/air"), *of_minute(1, "stranger/air")])
    taken = inflow.take()
    assert taken is not None
    assert [reading.channel for reading in taken.late] == ["bag/air"]
    assert inflow.readings_of(FIRST + 1) == []
    assert inflow.take() is None


def test_minutes_are_asked_for_one_after_another(store: SqliteStore):
    inflow = Inflow(store, ["bag/air"], sequence=0, next_minute=FIRST)
    with pytest.raises(ValueError, match="is next"):
        inflow.readings_of(FIRST + 1)


class Counting:
    """A store that counts how often it is asked for a span."""

    def __init__(self, store: SqliteStore) -> None:
        self._store = store
        self.spans = 0

    def __getattr__(self, name: str):
        return getattr(self._store, name)

    def span(self, channels, start_ms, end_ms):
        self.spans += 1
        return self._store.span(channels, start_ms, end_ms)


@given(
    before=st.lists(st.tuples(st.integers(-3, 60), st.integers(0, 59)), max_size=30),
    coming=st.lists(
        st.lists(st.tuples(st.integers(-4, 40), st.integers(0, 59)), max_size=4),
        min_size=1,
        max_size=30,
    ),
    seen_before=st.integers(0, 30),
    window_min=st.integers(1, 6),
)
def test_each_reading_comes_once_however_far_ahead_it_was(
    tmp_path_factory, before, coming, seen_before, window_min
):
    """Some were kept before the start, some of them seen; those of a minute come in any order."""
    store = SqliteStore(tmp_path_factory.mktemp("inflow") / "readings.db")
    for minute, second in before:
        store.keep([Reading("bag/air", (FIRST + minute) * MINUTE_MS + second * 1000, 20.0)])
    sequence = min(seen_before, store.last_sequence())
    known = [one for one in store.since(0, 100) if one.at_ms >= FIRST * MINUTE_MS]
    already_late = {r.at_ms for r in store.since(sequence, 100) if r.at_ms < FIRST * MINUTE_MS}
    inflow = Inflow(
        store, ["bag/air"], sequence=sequence, next_minute=FIRST, window_min=window_min, chunk=5
    )
    handed: list[int] = []
    late: list[int] = []
    for now, readings in enumerate(coming):
        for ahead, second in readings:
            at_ms = (FIRST + max(-5, now + ahead)) * MINUTE_MS + second * 1000
            store.keep([Reading("bag/air", at_ms, 21.0)])
        while (taken := inflow.take()) is not None:
            late += [one.at_ms for one in taken.late]
        handed += [one.at_ms for one in inflow.readings_of(FIRST + now)]
    for now in range(len(coming), len(coming) + 110):
        handed += [one.at_ms for one in inflow.readings_of(FIRST + now)]
    kept = {one.at_ms for one in store.since(0, 1000)}
    assert len(handed) == len(set(handed))
    assert len(late) == len(set(late))
    assert not set(handed) & set(late)
    assert {one.at_ms for one in known} <= set(handed) | set(late)
    unseen = {at_ms for at_ms in kept if at_ms < FIRST * MINUTE_MS} - already_late - set(late)
    assert set(handed) | set(late) == kept - unseen
    assert all(at_ms // MINUTE_MS >= FIRST for at_ms in handed)
    store.close()


def test_a_watch_that_keeps_up_fetches_nothing_twice(store: SqliteStore):
    counting = Counting(store)
    inflow = Inflow(counting, ["bag/air"], sequence=0, next_minute=FIRST)
    seen = []
    for minute in range(100):
        store.keep(of_minute(minute))
        assert inflow.take() is not None
        seen += [reading.at_ms for reading in inflow.readings_of(FIRST + minute)]
    assert seen == [reading.at_ms for m in range(100) for reading in of_minute(m)]
    assert counting.spans == 0
