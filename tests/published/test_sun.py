"""The sun's place against the printed run of the algorithm's authors."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from rules.light_day import minutes_of_day
from rules.model.place import Place
from rules.sky import clear_sky_ppfd_umol_m2_s, under_shade_umol_m2_s
from rules.sun import (
    clear_sky_irradiance_w_m2,
    clear_sky_of_zenith_w_m2,
    sun_elevation_deg,
    sun_is_up,
    sun_position,
    sun_times,
    sunrise_and_sunset,
)

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


TROPICS = Place(
    title="14 N", latitude_deg=14.0, longitude_deg=100.5, elevation_m=20.0, time_zone="Asia/Bangkok"
)


@pytest.mark.published(SOURCE)
def test_azimuth_and_refracted_elevation_of_the_example():
    at = minute(datetime(2003, 10, 17, 19, 30, tzinfo=UTC))
    found = sun_position(SPOT, np.array([at]))
    assert found.azimuth_deg[0] == pytest.approx(194.34024, abs=1e-4)
    # Theirs is at 820 hPa, where air bends light less than at the sea.
    assert found.apparent_elevation_deg[0] == pytest.approx(39.888378, abs=0.005)


@pytest.mark.published(SOURCE)
def test_sunrise_and_sunset_of_the_example_to_the_second():
    # Printed: 06:12:43 and 17:20:19. The sunset belongs to the evening before (see above).
    rise = sun_times(SPOT, date(2003, 10, 17)).sunrise_ms
    down = sun_times(SPOT, date(2003, 10, 16)).sunset_ms
    printed_rise = datetime(2003, 10, 17, 13, 12, 43, tzinfo=UTC).timestamp()
    printed_down = datetime(2003, 10, 17, 0, 20, 19, tzinfo=UTC).timestamp()
    assert rise / 1000 == pytest.approx(printed_rise, abs=1.5)
    assert down / 1000 == pytest.approx(printed_down, abs=1.5)


@pytest.mark.published("Ineichen & Perez 2002, sea level, I0 1364 W/m², recomputed with pvlib")
@pytest.mark.parametrize(
    ("turbidity", "reference"),
    [(3.0, [1054.2, 896.8, 469.6, 107.5]), (5.0, [975.7, 820.1, 402.4, 69.8])],
)
def test_clear_sky_by_the_height_of_the_sun(turbidity, reference):
    ours = clear_sky_of_zenith_w_m2(
        np.array([0.0, 30.0, 60.0, 80.0]),
        elevation_m=0.0,
        linke_turbidity=turbidity,
        extraterrestrial_w_m2=np.full(4, 1364.0),
    )
    assert ours.tolist() == pytest.approx(reference, abs=0.5)


@pytest.mark.published(
    "Haurwitz 1945, 1098 cos z exp(-0.059 / cos z): another model of the clear sky"
)
def test_another_clear_sky_model_lies_within_ten_percent_while_the_sun_is_high():
    zenith = np.array([0.0, 30.0, 60.0])
    height = np.cos(np.radians(zenith))
    haurwitz = 1098.0 * height * np.exp(-0.059 / height)
    assert haurwitz.tolist() == pytest.approx([1035.1, 888.3, 487.9], abs=0.1)
    ours = clear_sky_of_zenith_w_m2(
        zenith, elevation_m=0.0, linke_turbidity=3.0, extraterrestrial_w_m2=np.full(3, 1364.0)
    )
    assert ours.tolist() == pytest.approx(haurwitz.tolist(), rel=0.10)


@pytest.mark.published("pvlib reference run at 14 N 100.5 E, 20 m: peak W/m² and MJ/m² of a day")
@pytest.mark.parametrize(
    ("day", "turbidity", "peak_w_m2", "day_mj_m2"),
    [
        (date(2024, 3, 20), 3.0, 1029.6, 26.81),
        (date(2024, 3, 20), 5.0, 950.5, 24.00),
        (date(2024, 6, 21), 3.0, 1006.4, 27.80),
        (date(2024, 6, 21), 5.0, 930.3, 24.92),
    ],
)
def test_clear_tropical_days(day, turbidity, peak_w_m2, day_mj_m2):
    minutes = minutes_of_day(TROPICS, day)
    lit = clear_sky_irradiance_w_m2(TROPICS, minutes, linke_turbidity=turbidity)
    assert lit.max() == pytest.approx(peak_w_m2, abs=1.0)
    assert lit.sum() * 60.0 / 1e6 == pytest.approx(day_mj_m2, abs=0.1)


@pytest.mark.published("FAO-56 clear sky, 28.71 MJ/m² on 2024-04-21 x 2.03 µmol/J: 58 to 59 mol/m²")
def test_light_sum_of_a_clear_tropical_day_in_the_open_and_under_cloth():
    clear = clear_sky_ppfd_umol_m2_s(TROPICS, minutes_of_day(TROPICS, date(2024, 4, 21)))
    assert clear.sum() * 60.0 / 1e6 == pytest.approx(58.5, rel=0.08)
    shaded = under_shade_umol_m2_s(clear, shade_fraction=0.7)
    assert shaded.sum() * 60.0 / 1e6 == pytest.approx(17.5, rel=0.08)
