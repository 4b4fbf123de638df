"""The light sum belongs to the day on the wall, and counts only what was seen."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.light_day import light_days, light_sum_umol_m2, minutes_of_day
from rules.model.place import Place

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def place(zone):
    return Place(title="P", latitude_deg=0.0, longitude_deg=0.0, elevation_m=0.0, time_zone=zone)


def never(ppfd):
    return np.zeros(ppfd.shape, dtype=np.bool_)


# The days on which clocks change are those of the time-zone list.
@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/London", date(2026, 3, 29), 23),
        ("Europe/London", date(2026, 3, 30), 24),
        ("Europe/London", date(2026, 10, 25), 25),
        ("Australia/Sydney", date(2026, 4, 5), 25),
        ("Australia/Sydney", date(2026, 10, 4), 23),
        ("Australia/Lord_Howe", date(2026, 4, 5), 24.5),
        ("Etc/GMT-11", date(2026, 11, 15), 24),
    ],
)
def test_a_day_has_as_many_hours_as_the_wall_shows(zone, day, hours):
    minutes = minutes_of_day(place(zone), day)
    assert minutes.size == hours * 60
    steady = np.full(minutes.size, 100.0)
    (told,) = light_days(place(zone), int(minutes[0]), steady, direct_sun=never(steady))
    assert (told.day, told.minutes, told.seen_minutes) == (day, minutes.size, minutes.size)
    assert told.light_sum_umol_m2 == minutes.size * 6000


def test_days_around_a_change_of_clock_are_cut_at_local_midnight():
    london = place("Europe/London")
    first = (datetime(2026, 10, 24, 20, 0, tzinfo=UTC) - EPOCH) // timedelta(minutes=1)
    steady = np.full(3 * 1440, 1.0)
    days = light_days(london, first, steady, direct_sun=never(steady))
    # The 24th ends at 23:00 UTC, the 25th, with 25 hours, at midnight UTC.
    assert [one.day.day for one in days] == [24, 25, 26, 27]
    assert [one.seen_minutes for one in days] == [180, 1500, 1440, 1200]
    assert [one.minutes for one in days] == [1440, 1500, 1440, 1440]


@given(
    values=st.lists(
        st.one_of(st.just(float("nan")), st.floats(0.0, 3500.0)), min_size=1, max_size=400
    ),
    start=st.integers(29_000_000, 31_000_000),
    zone=st.sampled_from(("Europe/London", "Australia/Sydney", "Etc/GMT-11", "Asia/Kathmandu")),
)
def test_no_light_is_lost_or_made_between_days(values, start, zone):
    ppfd = np.array(values)
    lit = ppfd > 1000.0
    days = light_days(place(zone), start, ppfd, direct_sun=lit)
    whole = int(light_sum_umol_m2(0, ppfd)[-1])
    assert sum(one.light_sum_umol_m2 for one in days) == whole
    assert sum(one.seen_minutes for one in days) == int(np.count_nonzero(~np.isnan(ppfd)))
    assert sum(one.direct_sun_minutes for one in days) == int(np.count_nonzero(lit))


@given(values=st.lists(st.floats(0.0, 3500.0), min_size=2, max_size=200), cut=st.integers(0, 200))
def test_the_sum_is_the_same_however_the_cells_come(values, cut):
    ppfd = np.array(values)
    cut = min(cut, len(values) - 1)
    whole = light_sum_umol_m2(0, ppfd).tolist()
    carried = 0
    one_by_one = []
    for value in values:
        carried = int(light_sum_umol_m2(carried, np.array([value]))[0])
        one_by_one.append(carried)
    assert one_by_one == whole
    before = whole[cut]
    assert light_sum_umol_m2(before, ppfd[cut + 1 :]).tolist() == whole[cut + 1 :]


def test_what_nobody_saw_adds_nothing_and_is_told():
    ppfd = np.full(1440, 500.0)
    ppfd[600:720] = np.nan
    here = place("Etc/UTC")
    day = date(2026, 5, 4)
    (told,) = light_days(here, int(minutes_of_day(here, day)[0]), ppfd, direct_sun=ppfd > 0)
    assert told.seen_minutes == told.direct_sun_minutes == 1320
    assert told.light_sum_mol_m2 == pytest.approx(1320 * 60 * 500.0 / 1e6)


def test_light_and_direct_sun_of_different_lengths_are_refused():
    with pytest.raises(ValueError, match="3 cells of light and 2 of direct sun"):
        light_days(place("Etc/UTC"), 0, np.zeros(3), direct_sun=np.zeros(2, dtype=np.bool_))
    assert light_days(place("Etc/UTC"), 0, np.zeros(0), direct_sun=never(np.zeros(0))) == ()


def test_light_below_zero_is_refused():
    with pytest.raises(ValueError, match="must be 0"):
        light_sum_umol_m2(0, np.array([1.0, -0.5]))
