"""Each local date has its evening and its morning sheet once, whatever the clock does."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.local_time import to_local
from rules.model.place import Place
from rules.sheet_times import (
    SheetKind,
    SunEdge,
    instant_due,
    latest_due,
    next_due,
    sheet_time,
)

EVENING, MORNING = SheetKind.EVENING, SheetKind.MORNING
MADRID, ANGELES, LORD_HOWE = "Europe/Madrid", "America/Los_Angeles", "Australia/Lord_Howe"
LATITUDE = {MADRID: 40.0, ANGELES: 34.0, LORD_HOWE: -31.5}
LONGITUDE = {MADRID: -3.7, ANGELES: -118.2, LORD_HOWE: 159.1}
CHANGES = {
    MADRID: (date(2026, 3, 29), date(2026, 10, 25)),
    ANGELES: (date(2026, 3, 8), date(2026, 11, 1)),
    LORD_HOWE: (date(2026, 10, 4), date(2026, 4, 5)),
}
"""When the clock leaps on, and when it goes back: tz database, from memory."""


def place_in(zone: str) -> Place:
    return Place(
        title="Somewhere",
        latitude_deg=LATITUDE[zone],
        longitude_deg=LONGITUDE[zone],
        elevation_m=10.0,
        time_zone=zone,
    )


def wall(zone: str, text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


@pytest.mark.parametrize(
    ("zone", "asked", "shown"),
    [
        # The clock leaps from 02:00 to 03:00, at Lord Howe by half an hour from 02:00 to 02:30.
        (MADRID, "02:30", "03:00"),
        (ANGELES, "02:59", "03:00"),
        (LORD_HOWE, "02:15", "02:30"),
        (MADRID, "02:00", "03:00"),
        (MADRID, "01:59", "01:59"),
        (LORD_HOWE, "02:30", "02:30"),
    ],
)
@pytest.mark.published("tz database, europe, northamerica and australasia; from memory")
def test_a_time_in_the_hole_of_spring_is_due_in_the_first_instant_after_it(zone, asked, shown):
    place, day = place_in(zone), CHANGES[zone][0]
    due = instant_due(day, sheet_time(asked), place)
    assert f"{to_local(due, place):%H:%M:%S}" == f"{shown}:00"
    before = to_local(due - timedelta(seconds=1), place)
    if asked != shown:
        assert before.utcoffset() != to_local(due, place).utcoffset()


@pytest.mark.parametrize("zone", sorted(CHANGES))
@pytest.mark.published("tz database, europe, northamerica and australasia; from memory")
def test_a_time_that_autumn_shows_twice_is_due_once_and_first(zone):
    place, day = place_in(zone), CHANGES[zone][1]
    twice = {MADRID: time(2, 30), ANGELES: time(1, 30), LORD_HOWE: time(1, 45)}[zone]
    due = instant_due(day, twice, place)
    again = due + timedelta(minutes=30 if zone == LORD_HOWE else 60)
    assert to_local(due, place).time() == to_local(again, place).time() == twice
    times = {EVENING: time(18), MORNING: twice}
    first, second = latest_due(due, times, place), latest_due(again, times, place)
    assert first is not None
    assert second is not None
    assert first.key == second.key


@given(
    zone=st.sampled_from(sorted(CHANGES)),
    which=st.integers(0, 1),
    evening=st.times(),
    morning=st.one_of(st.times(), st.just(SunEdge.DAWN)),
    step=st.sampled_from([7, 13, 20, 60]),
)
def test_minute_by_minute_every_date_has_each_sheet_once(zone, which, evening, morning, step):
    place, change = place_in(zone), CHANGES[zone][which]
    times = {
        EVENING: evening.replace(second=0, microsecond=0),
        MORNING: morning
        if isinstance(morning, SunEdge)
        else morning.replace(second=0, microsecond=0),
    }
    at = wall(zone, f"{change - timedelta(days=2)}T00:00:00")
    end = wall(zone, f"{change + timedelta(days=3)}T00:00:00")
    seen: dict[str, int] = {}
    owed: list[str] = []
    while at < end:
        due = latest_due(at, times, place)
        if due is not None and due.key not in seen:
            seen[due.key] = 1
            owed.append(due.key)
            assert at - due.at < timedelta(minutes=step + 1) or not owed[1:]
        at += timedelta(minutes=step)
    within = [change + timedelta(days=back) for back in (-1, 0, 1)]
    apart = abs(
        instant_due(change, times[EVENING], place) - instant_due(change, times[MORNING], place)
    )
    if apart > timedelta(hours=2):
        for day in within:
            for kind in SheetKind:
                assert owed.count(f"sheet:{kind.value}:{day}") == 1
    assert len(owed) == len(set(owed))


def test_what_was_missed_is_sent_while_it_is_of_use_and_never_two():
    place = place_in(MADRID)
    times = {EVENING: time(18), MORNING: time(6)}
    evening = "sheet:evening:2026-11-28"

    def key(text: str) -> str | None:
        due = latest_due(wall(MADRID, text), times, place)
        return None if due is None else due.key

    assert key("2026-11-28T17:59:59") is None
    assert key("2026-11-28T18:00:00") == evening
    assert key("2026-11-29T01:59:59") == evening
    assert key("2026-11-29T02:00:00") is None
    assert key("2026-11-29T06:00:00") == "sheet:morning:2026-11-29"
    assert key("2026-11-29T11:59:59") == "sheet:morning:2026-11-29"
    assert key("2026-11-29T12:00:00") is None


def test_a_late_evening_sheet_gives_way_to_the_morning():
    times = {EVENING: time(23), MORNING: time(4)}
    evening = latest_due(wall(MADRID, "2026-11-29T03:59:00"), times, place_in(MADRID))
    assert evening is not None
    assert evening.until == wall(MADRID, "2026-11-29T04:00:00")
    due = latest_due(wall(MADRID, "2026-11-29T04:00:00"), times, place_in(MADRID))
    assert due is not None
    assert due.key == "sheet:morning:2026-11-29"


def test_dawn_is_sunrise_and_where_the_sun_stays_away_six_o_clock():
    madrid = place_in(MADRID)
    due = instant_due(date(2026, 6, 21), SunEdge.DAWN, madrid)
    # Sunrise at Madrid on 21 June is about 06:45 by its clock; almanac, from memory.
    assert abs(due - wall(MADRID, "2026-06-21T06:45:00")) < timedelta(minutes=6)
    north = Place(
        title="Far north",
        latitude_deg=78.0,
        longitude_deg=15.6,
        elevation_m=10.0,
        time_zone="Arctic/Longyearbyen",
    )
    dark = instant_due(date(2026, 12, 21), SunEdge.DAWN, north)
    assert to_local(dark, north).time() == time(6)


def test_nothing_wanted_nothing_due_and_what_comes_next_is_known():
    place = place_in(ANGELES)
    assert latest_due(wall(ANGELES, "2026-11-29T19:00:00"), {}, place) is None
    assert next_due(wall(ANGELES, "2026-11-29T19:00:00"), {}, place) is None
    times = {EVENING: time(18)}
    coming = next_due(wall(ANGELES, "2026-11-29T19:00:00"), times, place)
    assert coming == (wall(ANGELES, "2026-11-30T18:00:00"), EVENING, date(2026, 11, 30))


@pytest.mark.parametrize("text", ["", "6:00", "24:00", "18:60", "noon", "18:00 "])
def test_what_is_no_time_is_refused_with_a_remedy(text):
    with pytest.raises(ValueError, match="write it as"):
        sheet_time(text)
