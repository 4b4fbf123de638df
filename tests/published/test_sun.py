"""The sun's place against the printed run of the algorithm's authors."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from rules.model.place import Place
from rules.sun import sun_elevation_deg, sun_is_up, sunrise_and_sunset

SOURCE = "Reda & Andreas 2004, NREL/TP-560-34302, table A5.1"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SPOT = Place(
    title="The example's place",
    latitude_deg=39.742476,
    longitude_deg=-105.1786,
    elevation_m=1830.14,
    time_zone="Etc/GMT+7",
)


def minute(at: datetime) -> int:
    return (at - EPOCH) // timedelta(minutes=1)


@pytest.mark.published(SOURCE)
def test_elevation_at_half_past_noon_of_the_example():
    # 12:30:30 local is the very middle of a minute. Their clock difference is 67 s, ours 69 s.
    at = minute(datetime(2003, 10, 17, 19, 30, tzinfo=UTC))
    assert sun_elevation_deg(SPOT, np.array([at]))[0] == pytest.approx(39.872046, abs=1e-4)


@pytest.mark.published(SOURCE)
def test_sunrise_and_sunset_of_the_example_to_the_minute():
    # 06:12:43 and 17:20:19 local are of one UTC day: its sunset is that of the evening before.
    rise, _ = sunrise_and_sunset(SPOT, date(2003, 10, 17))
    _, down = sunrise_and_sunset(SPOT, date(2003, 10, 16))
    # The sun is up in the middle of 06:13 first, and of 17:19 last.
    assert rise == minute(datetime(2003, 10, 17, 13, 13, tzinfo=UTC))
    assert down == minute(datetime(2003, 10, 17, 0, 19, tzinfo=UTC))


@pytest.mark.published("FAO-56 (1998), example 9, p. 83: 11.7 h of daylight on 3 September at 20 S")
def test_length_of_a_southern_day():
    south = Place(
        title="20 S", latitude_deg=-20.0, longitude_deg=0.0, elevation_m=0.0, time_zone="Etc/UTC"
    )
    first = minute(datetime(2023, 9, 3, tzinfo=UTC))
    up = sun_is_up(south, np.arange(first, first + 1440, dtype=np.int64))
    # Their sum leaves out refraction and the sun's disc, which lengthen the day by about 7 min.
    assert up.sum() / 60.0 == pytest.approx(11.7, abs=0.15)


@pytest.mark.published(
    "pvlib reference run: zenith 13.959 at 12:25 local, 14 N 100.5 E, 2024-03-20"
)
def test_highest_sun_of_a_tropical_day():
    tropics = Place(
        title="14 N",
        latitude_deg=14.0,
        longitude_deg=100.5,
        elevation_m=20.0,
        time_zone="Asia/Bangkok",
    )
    first = minute(datetime(2024, 3, 19, 17, tzinfo=UTC))
    elevation = sun_elevation_deg(tropics, np.arange(first, first + 1440, dtype=np.int64))
    assert 90.0 - elevation.max() == pytest.approx(13.959, abs=0.01)
    assert int(elevation.argmax()) == pytest.approx(12 * 60 + 25, abs=1)
