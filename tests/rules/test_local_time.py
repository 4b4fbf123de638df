"""Days on the packing-shed wall have 23, 24 or 25 hours."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.local_time import (
    day_span_ms,
    earliest_instant,
    latest_instant,
    local_day,
    noon_to_noon_ms,
    to_local,
)
from rules.model.place import Place

HOUR_MS = 3_600_000


def place(zone: str) -> Place:
    return Place(title="P", latitude_deg=0.0, longitude_deg=0.0, elevation_m=0.0, time_zone=zone)


BERLIN = place("Europe/Berlin")
CAIRO = place("Africa/Cairo")
LORD_HOWE = place("Australia/Lord_Howe")


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 5, 4), 24)]
)
def test_a_local_day_has_the_hours_the_clock_gives_it(day, hours):
    start, end = day_span_ms(day, BERLIN)
    assert end - start == hours * HOUR_MS


def test_a_clock_that_leaps_by_half_an_hour():
    start, end = day_span_ms(date(2026, 10, 4), LORD_HOWE)
    assert end - start == 23.5 * HOUR_MS


def test_a_day_whose_midnight_is_leapt_over_begins_at_the_leap():
    # Cairo goes from 24 April 00:00 straight to 01:00.
    start, end = day_span_ms(date(2026, 4, 24), CAIRO)
    assert start == int(datetime(2026, 4, 23, 22, tzinfo=UTC).timestamp()) * 1000
    assert end - start == 23 * HOUR_MS


@pytest.mark.parametrize(
    ("at", "hours"),
    [
        (datetime(2026, 3, 28, 20, tzinfo=UTC), 23),
        (datetime(2026, 10, 24, 20, tzinfo=UTC), 25),
        (datetime(2026, 5, 4, 20, tzinfo=UTC), 24),
    ],
)
def test_a_noon_to_noon_night_has_the_hours_the_clock_gives_it(at, hours):
    start, end = noon_to_noon_ms(at, BERLIN)
    assert end - start == hours * HOUR_MS
    assert start <= at.timestamp() * 1000 < end
    assert to_local(datetime.fromtimestamp(start / 1000, UTC), BERLIN).time() == time(12)
    assert to_local(datetime.fromtimestamp(end / 1000, UTC), BERLIN).time() == time(12)


@given(
    at=st.integers(0, 4 * 365 * 24 * 3600).map(
        lambda second: datetime(2024, 1, 1, tzinfo=UTC) + timedelta(seconds=second)
    ),
    where=st.sampled_from((BERLIN, CAIRO, LORD_HOWE)),
)
def test_every_instant_lies_in_its_day_and_its_night(at, where):
    at_ms = (at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)
    start, end = day_span_ms(local_day(at, where), where)
    assert start <= at_ms < end
    start, end = noon_to_noon_ms(at, where)
    assert start <= at_ms < end


def test_noon_itself_begins_a_night():
    noon = datetime(2026, 5, 4, 10, tzinfo=UTC)
    assert noon_to_noon_ms(noon, BERLIN)[0] == int(noon.timestamp()) * 1000
    before = noon - timedelta(milliseconds=1)
    assert noon_to_noon_ms(before, BERLIN)[1] == int(noon.timestamp()) * 1000


def test_a_time_shown_twice_has_a_first_and_a_last_instant():
    twice = (date(2026, 10, 25), time(2, 30), BERLIN)
    assert earliest_instant(*twice) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert latest_instant(*twice) == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    once = (date(2026, 5, 4), time(2, 30), BERLIN)
    assert earliest_instant(*once) == latest_instant(*once)
