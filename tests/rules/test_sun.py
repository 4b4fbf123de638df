"""Day and night at the site."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.model.place import Place
from rules.sun import HORIZON_DEG, dark_spans, sun_elevation_deg, sun_is_up, sunrise_and_sunset

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
