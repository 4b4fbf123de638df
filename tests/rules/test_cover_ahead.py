"""Tomorrow's heat under a cover, from covers whose line is known exactly."""

import numpy as np
import pytest

from rules.cover import EMPTY, CoverRecord, TooThin, gather
from rules.cover_ahead import (
    LEAST_UNSURE_C,
    UNKNOWN_HOURS,
    UNSURE_C,
    CoverAhead,
    HouseHours,
    expected_under_cover,
    gather_hours,
)
from rules.model.place import Place
from rules.sky import clear_sky_by_day_umol_m2_s, clear_sky_ppfd_umol_m2_s

SHED = Place(
    title="A shed", latitude_deg=-24.0, longitude_deg=160.0, elevation_m=40, time_zone="Etc/GMT-11"
)
SHADE = 0.85
MIDNIGHT = 20_780 * 1440 + 780  # local midnight, UTC+11
DUSK = MIDNIGHT + 1110
WARMER_C_PER_UMOL = 0.02


def days_of_light(days: int, share: float):
    minutes = DUSK - days * 1440 + np.arange(days * 1440)
    return minutes, clear_sky_by_day_umol_m2_s(SHED, minutes) * share


def recorded(days: int, share: float = 1.0 - SHADE) -> CoverRecord:
    minutes, light = days_of_light(days, share)
    whole = np.rint(light * 1e6).astype(np.int64)
    rise = np.rint((0.5 + WARMER_C_PER_UMOL * light) * 1e6).astype(np.int64)
    return gather(EMPTY, int(minutes[0]), light=whole, rise=rise, present=np.ones(len(light), bool))


def steady(c: float, before: float | None = None) -> HouseHours:
    day_before = (None,) * 24 if before is None else (round(before * 100),) * 24
    return HouseHours(last=(round(c * 100),) * 24, before=day_before)


def test_the_peak_is_that_of_the_line_at_the_brightest_light_of_a_clear_day():
    told = expected_under_cover(SHED, SHADE, DUSK, record=recorded(4), hours=steady(25.0))
    assert isinstance(told, CoverAhead)
    brightest = clear_sky_by_day_umol_m2_s(SHED, DUSK + np.arange(1440)).max() * (1.0 - SHADE)
    assert told.peak.central_c == pytest.approx(25.5 + WARMER_C_PER_UMOL * brightest, abs=0.1)
    # Solar noon at 160° E is twenty minutes after noon by UTC+11, less the equation of time.
    assert abs(told.peak.at_minute - (MIDNIGHT + 1440 + 720)) < 30


def test_a_week_of_cloud_does_not_promise_a_cool_day():
    cloudy = expected_under_cover(
        SHED, SHADE, DUSK, record=recorded(5, (1.0 - SHADE) * 0.3), hours=steady(25.0)
    )
    clear = expected_under_cover(SHED, SHADE, DUSK, record=recorded(5), hours=steady(25.0))
    assert cloudy.peak.central_c == pytest.approx(clear.peak.central_c, abs=0.3)
    assert cloudy.peak.beyond_record
    assert not clear.peak.beyond_record


def test_cloth_that_lets_more_through_than_declared_is_believed_by_what_was_seen():
    told = expected_under_cover(
        SHED, SHADE, DUSK, record=recorded(4, (1.0 - SHADE) * 1.5), hours=steady(25.0)
    )
    brightest = clear_sky_by_day_umol_m2_s(SHED, DUSK + np.arange(1440)).max() * (1.0 - SHADE)
    assert told.peak.central_c == pytest.approx(25.5 + WARMER_C_PER_UMOL * 1.5 * brightest, abs=0.3)


def test_a_record_of_half_a_day_says_what_is_lacking():
    told = expected_under_cover(SHED, SHADE, DUSK, record=recorded(1), hours=steady(25.0))
    assert isinstance(told, TooThin)
    assert told.more_days == 1


@pytest.mark.parametrize(("known", "told"), [(19, False), (20, True)])
def test_without_most_of_a_day_of_house_air_nothing_is_promised(known, told):
    hours = HouseHours(last=(2500,) * known + (None,) * (24 - known))
    ahead = expected_under_cover(SHED, SHADE, DUSK, record=recorded(4), hours=hours)
    assert (ahead is not None) is told


@pytest.mark.parametrize(
    ("before", "unsure_c"), [(None, UNSURE_C), (25.0, LEAST_UNSURE_C), (21.0, 4.0), (29.0, 4.0)]
)
def test_the_band_is_as_wide_as_the_house_differed_from_day_to_day(before, unsure_c):
    told = expected_under_cover(SHED, SHADE, DUSK, record=recorded(4), hours=steady(25.0, before))
    dark = int(np.argmin(told.course.light_umol))
    width = float(told.course.high_c[dark] - told.course.central_c[dark])
    assert width == pytest.approx(np.hypot(told.fit.high_c, unsure_c), abs=1e-6)


def test_an_hour_of_the_house_comes_back_at_the_same_hour():
    by_hour = tuple(2000 + 50 * hour for hour in range(24))
    told = expected_under_cover(
        SHED, SHADE, DUSK, record=recorded(4), hours=HouseHours(last=by_hour)
    )
    night = told.course.light_umol == 0.0
    middles = told.course.minute % 60 == 30
    hour = (told.course.minute // 60) % 24
    expected = np.array([by_hour[h] / 100.0 for h in hour]) + told.fit.offset_c
    assert np.allclose(told.course.central_c[night & middles], expected[night & middles])


def test_hours_are_kept_by_their_hour_and_the_day_before_stays_beside():
    two_days = np.repeat(np.arange(48) * 1_000_000, 60)
    hours = gather_hours(UNKNOWN_HOURS, 24_000 * 60, two_days, np.ones(2880, bool))
    assert hours.last == tuple((24 + hour) * 100 for hour in range(24))
    assert hours.before == tuple(hour * 100 for hour in range(24))
    assert hours.count == 0


@pytest.mark.parametrize(("seen", "kept"), [(29, None), (30, 2100)])
def test_an_hour_seen_for_less_than_half_is_left_out(seen, kept):
    present = np.arange(61) < seen
    hours = gather_hours(UNKNOWN_HOURS, 24_000 * 60, np.full(61, 21_000_000), present)
    assert hours.last[0] == kept


def test_hours_grow_alike_minute_by_minute_and_all_at_once():
    chance = np.random.default_rng(7)
    values = chance.integers(15_000_000, 30_000_000, 400)
    present = chance.random(400) > 0.3
    at_once = gather_hours(UNKNOWN_HOURS, 1_000_003, values, present)
    one_by_one = UNKNOWN_HOURS
    for row in range(400):
        rows = slice(row, row + 1)
        one_by_one = gather_hours(one_by_one, 1_000_003 + row, values[rows], present[rows])
    assert one_by_one == at_once


def test_clear_sky_read_from_whole_days_is_the_clear_sky():
    minutes = DUSK + np.arange(0, 3000, 7)
    assert np.array_equal(
        clear_sky_by_day_umol_m2_s(SHED, minutes), clear_sky_ppfd_umol_m2_s(SHED, minutes)
    )
