"""Day and night at the site."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.model.place import Place
from rules.sun import (
    HORIZON_DEG,
    SunTimes,
    clear_sky_irradiance_w_m2,
    clear_sky_of_zenith_w_m2,
    dark_spans,
    sun_elevation_deg,
    sun_is_up,
    sun_times,
    sunrise_and_sunset,
)

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def place(latitude, longitude, zone):
    return Place(
        title="P",
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=10.0,
        time_zone=zone,
    )


TROPICS = place(14.0, 100.5, "Asia/Bangkok")
ARCTIC = place(69.6, 18.9, "Europe/Oslo")


def minute(at: datetime) -> int:
    return (at - EPOCH) // timedelta(minutes=1)


@given(
    minutes=st.lists(st.integers(28_000_000, 32_000_000), min_size=1, max_size=8),
    where=st.sampled_from((TROPICS, ARCTIC)),
)
@settings(max_examples=25, deadline=None)
def test_one_minute_alone_and_many_together_see_the_same_sun(minutes, where):
    together = np.array(minutes, dtype=np.int64)
    elevation = sun_elevation_deg(where, together)
    up = sun_is_up(where, together)
    for i, one in enumerate(minutes):
        alone = np.array([one], dtype=np.int64)
        assert sun_elevation_deg(where, alone)[0] == elevation[i]
        assert sun_is_up(where, alone)[0] == up[i]
        assert up[i] == (elevation[i] > HORIZON_DEG)


def test_the_dark_of_a_night_lies_between_sunset_and_sunrise():
    _, down = sunrise_and_sunset(TROPICS, date(2026, 5, 4))
    rise, _ = sunrise_and_sunset(TROPICS, date(2026, 5, 5))
    noon = minute(datetime(2026, 5, 4, 5, tzinfo=UTC))
    assert dark_spans(TROPICS, noon, 1440) == ((down + 1, rise),)
    assert dark_spans(TROPICS, noon, 0) == ()
    assert dark_spans(TROPICS, noon, 60) == ()


def test_a_night_without_end_and_a_day_without_night():
    assert sunrise_and_sunset(ARCTIC, date(2026, 12, 21)) == (None, None)
    rise, down = sunrise_and_sunset(ARCTIC, date(2026, 6, 21))
    assert down - rise == 1439


def test_a_day_on_which_the_clock_leaps_still_has_its_own_sunrise():
    oslo = place(59.9, 10.7, "Europe/Oslo")
    rise, down = sunrise_and_sunset(oslo, date(2026, 3, 29))
    # 29 March, sun from about 06:52 to 19:55 summer time: 04:52 and 17:55 UTC.
    assert abs(rise - minute(datetime(2026, 3, 29, 4, 52, tzinfo=UTC))) < 6
    assert abs(down - minute(datetime(2026, 3, 29, 17, 55, tzinfo=UTC))) < 6


def test_sunrise_to_the_second_lies_in_the_minute_before_the_first_with_sun():
    for where in (TROPICS, ARCTIC, place(-24.0, 160.0, "Etc/GMT-11")):
        for day in (date(2026, 3, 20), date(2026, 4, 21), date(2026, 11, 15)):
            rise, down = sunrise_and_sunset(where, day)
            told = sun_times(where, day)
            assert 0 <= (rise * 60_000 + 30_000) - told.sunrise_ms < 60_000
            assert 0 <= told.sunset_ms - (down * 60_000 + 30_000) < 60_000


def test_a_day_without_sunrise_or_without_sunset_has_none():
    for day in (date(2026, 12, 21), date(2026, 6, 21)):
        assert sun_times(ARCTIC, day) == SunTimes(sunrise_ms=None, sunset_ms=None)
    # Somewhere between, the sun sets after midnight, and one day has no sunset of its own.
    years_days = [date(2026, 5, 1) + timedelta(days=i) for i in range(30)]
    told = [sun_times(ARCTIC, day) for day in years_days]
    assert any((one.sunrise_ms is None) != (one.sunset_ms is None) for one in told)


def test_the_day_of_the_year_starts_with_one_and_counts_leap_days():
    def near(at: datetime) -> float:
        noon = np.array([minute(at)])
        return clear_sky_irradiance_w_m2(place(0.0, 0.0, "Etc/UTC"), noon)[0]

    # The sun is nearest in January: more light than in July at the same height of the sun.
    january = near(datetime(2024, 1, 3, 12, 4, tzinfo=UTC))
    december = near(datetime(2024, 12, 31, 12, 3, tzinfo=UTC))
    july = near(datetime(2024, 7, 4, 12, 4, tzinfo=UTC))
    assert january > july * 1.02
    assert january == pytest.approx(december, rel=0.01)


def test_whole_numbers_give_the_same_clear_sky_as_floats():
    whole = np.array([0, 30, 60, 80])
    asked = {"elevation_m": 0, "linke_turbidity": 3, "extraterrestrial_w_m2": np.full(4, 1364)}
    told = clear_sky_of_zenith_w_m2(whole, **asked)
    assert told.tolist() == clear_sky_of_zenith_w_m2(whole.astype(float), **asked).tolist()
    assert told[1] != int(told[1])


def test_a_sun_below_the_horizon_gives_nothing_and_a_missing_one_is_missing():
    zenith = np.array([90.0, 120.0, 180.0, np.nan])
    told = clear_sky_of_zenith_w_m2(
        zenith, elevation_m=0.0, linke_turbidity=3.0, extraterrestrial_w_m2=np.full(4, 1364.0)
    )
    assert told[:3].tolist() == [0.0, 0.0, 0.0]
    assert np.isnan(told[3])
