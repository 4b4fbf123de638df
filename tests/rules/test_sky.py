"""Clear sky, direct sun, and when the sun can reach a bench."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.light_day import minutes_of_day
from rules.model.place import Bench, Obstruction, Place
from rules.sky import (
    clear_sky_ppfd_umol_m2_s,
    clear_sky_share,
    direct_sun_from_umol_m2_s,
    is_direct_sun,
    skyline_deg,
    spans_of_reach,
    sun_reaches,
    under_shade_umol_m2_s,
)
from rules.sun import sun_is_up, sun_position, sunrise_and_sunset

HOLLOW = Place(
    title="Tern Hollow",
    latitude_deg=-24.0,
    longitude_deg=160.0,
    elevation_m=40.0,
    time_zone="Etc/GMT-11",
)
DAY = date(2026, 11, 15)
MINUTES = minutes_of_day(HOLLOW, DAY)
FIRST = int(MINUTES[0])

azimuths = st.integers(0, 719).map(lambda half: half / 2.0)  # as a person writes them down
skylines = st.lists(
    st.tuples(azimuths, st.floats(0.0, 90.0)), max_size=8, unique_by=lambda point: point[0]
).map(lambda points: [Obstruction(azimuth_deg=a, elevation_deg=e) for a, e in points])


def wall(elevation):
    return [Obstruction(azimuth_deg=0.0, elevation_deg=elevation)]


def hedge(*points):
    return [Obstruction(azimuth_deg=a, elevation_deg=e) for a, e in points]


@given(obstruction=skylines)
def test_the_skyline_goes_through_every_point(obstruction):
    for point in obstruction:
        height = skyline_deg(obstruction, point.azimuth_deg)
        assert height == pytest.approx(point.elevation_deg, abs=1e-9)


@given(obstruction=skylines, towards=azimuths)
def test_the_skyline_is_the_same_once_round_the_compass(obstruction, towards):
    here = skyline_deg(obstruction, towards)
    assert skyline_deg(obstruction, towards - 360.0) == pytest.approx(here, abs=1e-6)
    assert skyline_deg(obstruction, towards + 360.0) == pytest.approx(here, abs=1e-6)
    heights = [point.elevation_deg for point in obstruction] or [0.0]
    assert min(heights) - 1e-9 <= here <= max(heights) + 1e-9


@given(obstruction=skylines, towards=st.lists(azimuths, min_size=1, max_size=20))
def test_one_by_one_is_all_at_once_to_the_last_bit(obstruction, towards):
    many = skyline_deg(obstruction, np.array(towards))
    assert many.tolist() == [skyline_deg(obstruction, one) for one in towards]


def test_the_skyline_runs_straight_through_north():
    ridge = hedge((350.0, 4.0), (20.0, 10.0), (180.0, 0.0))
    assert skyline_deg(ridge, 5.0) == pytest.approx(7.0)
    assert skyline_deg(ridge, 0.0) == pytest.approx(6.0)
    assert skyline_deg(ridge, 359.999999) == pytest.approx(6.0, abs=1e-5)


def test_no_point_is_a_flat_horizon_and_one_is_a_wall_all_round():
    assert skyline_deg([], np.array([0.0, 90.0, 359.0])).tolist() == [0.0, 0.0, 0.0]
    assert skyline_deg(wall(12.0), np.array([0.0, 90.0, 359.0])).tolist() == [12.0, 12.0, 12.0]
    assert np.isnan(skyline_deg([], np.nan))
    assert np.isnan(skyline_deg(wall(12.0), np.nan))


def test_a_bench_in_the_open_sees_the_sun_from_its_rise_to_its_set():
    rise, down = sunrise_and_sunset(HOLLOW, DAY)
    assert spans_of_reach(HOLLOW, FIRST, 1440, obstruction=()) == ((rise, down + 1),)
    assert (sun_reaches(HOLLOW, MINUTES, obstruction=()) == sun_is_up(HOLLOW, MINUTES)).all()


def test_a_hedge_in_the_east_takes_the_morning_and_leaves_the_evening():
    east = hedge((60.0, 0.0), (75.0, 11.0), (115.0, 14.0), (130.0, 0.0))
    ((start, end),) = spans_of_reach(HOLLOW, FIRST, 1440, obstruction=east)
    rise, down = sunrise_and_sunset(HOLLOW, DAY)
    assert end == down + 1
    assert 45 < start - rise < 80
    position = sun_position(HOLLOW, np.array([start - 1, start]))
    over = position.apparent_elevation_deg + 0.2667 - skyline_deg(east, position.azimuth_deg)
    assert over[0] <= 0.0 < over[1]


def test_a_wall_in_the_north_can_cut_the_day_in_two():
    # In July the sun of the south stands low in the north at noon.
    winter = date(2026, 7, 1)
    first = int(minutes_of_day(HOLLOW, winter)[0])
    north = hedge((330.0, 0.0), (331.0, 60.0), (29.0, 60.0), (30.0, 0.0))
    morning, evening = spans_of_reach(HOLLOW, first, 1440, obstruction=north)
    assert morning[1] < evening[0]
    rise, down = sunrise_and_sunset(HOLLOW, winter)
    assert (morning[0], evening[1]) == (rise, down + 1)


def test_a_bench_in_a_pit_never_sees_the_sun():
    assert spans_of_reach(HOLLOW, FIRST, 1440, obstruction=wall(90.0)) == ()
    assert spans_of_reach(HOLLOW, FIRST, 0, obstruction=()) == ()


@given(pair=st.tuples(st.floats(0.0, 90.0), st.floats(0.0, 90.0)).map(sorted))
def test_a_higher_wall_never_lets_in_more_sun(pair):
    low, high = pair
    some = MINUTES[::20]
    under_low = sun_reaches(HOLLOW, some, obstruction=wall(low))
    assert not (sun_reaches(HOLLOW, some, obstruction=wall(high)) & ~under_low).any()


def test_clear_sky_is_dark_at_night_and_bright_at_noon():
    clear = clear_sky_ppfd_umol_m2_s(HOLLOW, MINUTES)
    up = sun_is_up(HOLLOW, MINUTES)
    # A few minutes of the sun's rim before its centre rises give no light in the model.
    assert (clear[~up] == 0.0).all()
    assert clear[up].min() >= 0.0
    assert 2000.0 < clear.max() < 2300.0


def test_a_hazier_sky_gives_less():
    usual = clear_sky_ppfd_umol_m2_s(HOLLOW, MINUTES)
    hazy = clear_sky_ppfd_umol_m2_s(HOLLOW, MINUTES, linke_turbidity=5.0)
    lit = usual > 0.0
    assert (hazy[lit] < usual[lit]).all()
    with pytest.raises(ValueError, match="Linke turbidity: 0 does not lie between 1 and 10"):
        clear_sky_ppfd_umol_m2_s(HOLLOW, MINUTES, linke_turbidity=0.0)


def test_one_minute_alone_has_the_clear_sky_of_the_whole_day():
    whole = clear_sky_ppfd_umol_m2_s(HOLLOW, MINUTES)
    for i in range(0, 1440, 97):
        assert clear_sky_ppfd_umol_m2_s(HOLLOW, MINUTES[i : i + 1])[0] == whole[i]


@given(
    clear=st.floats(0.0, 2500.0),
    shade_fraction=st.floats(0.0, 1.0),
    haze=st.floats(0.9, 1.1),
)
def test_what_the_cloth_lets_through_is_never_called_direct_sun(clear, shade_fraction, haze):
    """However wrong the clear sky is by its ten percent, unless the cloth is thin."""
    through = under_shade_umol_m2_s(clear * haze, shade_fraction=shade_fraction)
    bound = direct_sun_from_umol_m2_s(clear, shade_fraction=shade_fraction)
    if shade_fraction >= 0.4:
        assert not is_direct_sun(np.array([through]), np.array([bound]))[0]


@given(clear=st.floats(150.0, 2500.0), shade_fraction=st.floats(0.0, 1.0))
def test_a_clear_sun_through_a_gap_is_always_called_direct(clear, shade_fraction):
    bound = direct_sun_from_umol_m2_s(clear, shade_fraction=shade_fraction)
    assert is_direct_sun(np.array([clear]), np.array([bound]))[0]


def test_the_threshold_is_the_callers_to_set():
    bound = direct_sun_from_umol_m2_s(
        2000.0, shade_fraction=0.9, above_shade=3.0, near_clear_sky=0.5, least_umol_m2_s=700.0
    )
    assert bound == 700.0
    for wrong in ({"above_shade": 0.5}, {"near_clear_sky": 1.5}, {"least_umol_m2_s": -1.0}):
        with pytest.raises(ValueError, match=r"0\.5|1\.5|-1"):
            direct_sun_from_umol_m2_s(2000.0, shade_fraction=0.9, **wrong)
    with pytest.raises(ValueError, match="shade fraction: 88 does not lie between 0 and 1"):
        direct_sun_from_umol_m2_s(2000.0, shade_fraction=88.0)


def test_a_dim_morning_is_no_direct_sun():
    assert direct_sun_from_umol_m2_s(30.0, shade_fraction=0.88) == 100.0


def test_a_share_of_next_to_nothing_is_not_told():
    shares = clear_sky_share(np.array([10.0, 10.0, np.nan, 60.0]), np.array([49.0, 50.0, 90.0, 50]))
    assert np.isnan(shares).tolist() == [True, False, True, False]
    assert shares[3] == 1.2


def test_two_points_in_one_direction_are_no_skyline():
    with pytest.raises(ValueError, match="two points at azimuth 90"):
        Bench.model_validate(
            {
                "id": "b",
                "house": "h",
                "title": "B",
                "x_m": 0,
                "y_m": 0,
                "length_m": 1,
                "width_m": 1,
                "obstruction": [{"azimuth_deg": 90, "elevation_deg": e} for e in (1, 2)],
            }
        )
