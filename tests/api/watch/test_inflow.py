"""Readings reach their minute exactly once, and few of them are held, however many wait."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

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
