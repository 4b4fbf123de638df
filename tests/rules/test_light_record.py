"""What a day's readings say of the light, sensor by sensor and place by place."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from rules.light_day import minutes_of_day
from rules.light_record import light_channels, light_of_day
from rules.model.reading import Reading
from rules.sky import clear_sky_ppfd_umol_m2_s

DAY = date(2026, 5, 4)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
NOON = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)  # local noon at the nursery


@pytest.fixture
def lit(make):
    """A nursery with one light sensor of each kind, each in another place."""

    def nursery(**first):
        return make.site(
            sensor=[
                make.sensor("lux", ("illuminance",), **(first or {"bench": "bench-2"})),
                make.sensor("par", ("ppfd", "air_temperature"), house="south"),
                make.sensor("sky", ("irradiance",), open_sky=True),
                make.sensor("bag", ("ppfd",), cover_of="MG-07"),
            ]
        )

    return nursery


def every(minutes: int, channel: str, value) -> list[Reading]:
    """Readings of a whole local day, one every so many minutes."""
    start = datetime(2026, 5, 3, 17, 0, tzinfo=UTC)
    return [
        Reading(
            channel=channel,
            at_ms=(start + timedelta(minutes=i) - EPOCH) // timedelta(milliseconds=1),
            value=value(i) if callable(value) else value,
        )
        for i in range(0, 1440, minutes)
    ]


def by_channel(told):
    return {one.channel: one for one in told}


def test_only_light_is_asked_for(lit):
    assert light_channels(lit()) == ("lux/illuminance", "par/ppfd", "sky/irradiance", "bag/ppfd")


def test_steady_light_of_every_kind_makes_the_same_sum(lit):
    readings = [
        *every(1, "lux/illuminance", 5400.0),
        *every(1, "par/ppfd", 100.0),
        *every(1, "sky/irradiance", 50.0),
    ]
    told = by_channel(light_of_day(lit(), DAY, readings))
    for channel in ("lux/illuminance", "par/ppfd", "sky/irradiance"):
        assert told[channel].light.light_sum_mol_m2 == pytest.approx(8.64)
        assert told[channel].light.seen_minutes == 1440
    assert [told[one].place for one in told] == ["bench-2", "south", "open_sky", "MG-07"]
    assert [told[one].shade_fraction for one in told] == [0.5, 0.5, 0.0, 0.5]


def test_a_sensor_that_said_nothing_saw_nothing(lit):
    told = by_channel(light_of_day(lit(), DAY, []))
    assert told["par/ppfd"].light.seen_minutes == 0
    assert told["par/ppfd"].light.light_sum_umol_m2 == 0
    assert told["par/ppfd"].clear_sky_share is None


def test_a_reading_every_five_minutes_speaks_until_the_next(lit):
    told = by_channel(light_of_day(lit(), DAY, every(5, "par/ppfd", 100.0)))
    assert told["par/ppfd"].light.seen_minutes == 1440


def test_one_every_half_hour_speaks_only_while_it_is_fresh(lit):
    told = by_channel(light_of_day(lit(), DAY, every(30, "par/ppfd", 100.0)))
    assert told["par/ppfd"].light.seen_minutes == 48 * 6  # its own minute and five more


def test_a_quarter_of_a_clear_sky_under_half_shade_is_no_direct_sun(lit):
    site = lit()
    clear = clear_sky_ppfd_umol_m2_s(site.site, minutes_of_day(site.site, DAY))
    told = by_channel(
        light_of_day(site, DAY, every(1, "par/ppfd", lambda i: 0.25 * float(clear[i])))
    )
    assert told["par/ppfd"].light.direct_sun_minutes == 0
    assert told["par/ppfd"].clear_sky_share == pytest.approx(0.25, abs=1e-6)


def test_an_hour_in_which_a_seam_has_parted_is_an_hour_of_direct_sun(lit):
    site = lit()
    clear = clear_sky_ppfd_umol_m2_s(site.site, minutes_of_day(site.site, DAY))

    def seam(i: int) -> float:
        return float(clear[i]) * (0.9 if 600 <= i < 660 else 0.4)

    told = by_channel(light_of_day(site, DAY, every(1, "par/ppfd", seam)))
    assert told["par/ppfd"].light.direct_sun_minutes == 60


def test_a_sensor_that_was_moved_speaks_for_each_place_in_its_time(lit):
    site = lit(
        position=[
            {"since": "2026-05-01T00:00:00Z", "until": NOON.isoformat(), "bench": "bench-2"},
            {"since": NOON.isoformat(), "open_sky": True},
        ]
    )
    told = [
        one
        for one in light_of_day(site, DAY, every(1, "lux/illuminance", 5400.0))
        if one.channel == "lux/illuminance"
    ]
    assert [(one.place, one.light.seen_minutes) for one in told] == [
        ("bench-2", 720),
        ("open_sky", 720),
    ]
    assert np.isclose(sum(one.light.light_sum_mol_m2 for one in told), 8.64)


def test_a_place_left_before_the_day_is_not_told(lit):
    site = lit(
        position=[
            {"since": "2026-05-01T00:00:00Z", "until": "2026-05-02T00:00:00Z", "house": "north"},
            {"since": "2026-05-06T00:00:00Z", "house": "south"},
        ]
    )
    assert "lux/illuminance" not in by_channel(light_of_day(site, DAY, []))
