"""For how long an alarm may be laid aside; house rules, common practice, no source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from rules.model.alarm import Priority
from rules.model.place import Place
from rules.shelving import LONGEST_MIN, USUAL_MIN, ShelvedTooLong, next_turn, shelf

PLACE = Place(
    title="Small Hollow",
    latitude_deg=-24.0,
    longitude_deg=160.0,
    elevation_m=40.0,
    time_zone="Etc/GMT-11",
)
NOON = datetime(2026, 11, 15, 1, 0, tzinfo=UTC)
SUNSET = datetime(2026, 11, 15, 7, 45, tzinfo=UTC)  # 18:45 on the wall, within half an hour


def test_the_next_turn_of_a_day_is_sunset_and_of_a_night_sunrise():
    dusk = next_turn(PLACE, NOON)
    assert abs(dusk - SUNSET) < timedelta(minutes=30)
    dawn = next_turn(PLACE, dusk)
    assert timedelta(hours=10) < dawn - dusk < timedelta(hours=11)  # a November night at 24° S


def test_a_turn_is_never_the_minute_that_has_begun():
    dusk = next_turn(PLACE, NOON)
    assert next_turn(PLACE, dusk - timedelta(seconds=30)) == dusk
    assert next_turn(PLACE, dusk) > dusk


@pytest.mark.parametrize("priority", [Priority.HIGH, Priority.MEDIUM])
def test_what_is_more_than_low_is_said_again_at_sunset(priority):
    before = next_turn(PLACE, NOON) - timedelta(minutes=10)
    held = shelf(PLACE, priority, before, minutes=LONGEST_MIN[priority])
    assert held.at_the_turn
    assert held.until == next_turn(PLACE, NOON)


def test_what_is_low_may_wait_over_the_night():
    before = next_turn(PLACE, NOON) - timedelta(minutes=10)
    held = shelf(PLACE, Priority.LOW, before, minutes=24 * 60)
    assert (held.until - before, held.at_the_turn) == (timedelta(days=1), False)


def test_a_danger_is_laid_aside_for_an_hour_at_most():
    assert shelf(PLACE, Priority.HIGH, NOON, minutes=60).until == NOON + timedelta(hours=1)
    with pytest.raises(ShelvedTooLong) as refused:
        shelf(PLACE, Priority.HIGH, NOON, minutes=61)
    assert refused.value.most_min == 60
    with pytest.raises(ShelvedTooLong):
        shelf(PLACE, Priority.LOW, NOON, minutes=0)


@pytest.mark.parametrize("priority", list(Priority))
def test_nobody_has_to_say_for_how_long(priority):
    held = shelf(PLACE, priority, NOON)
    assert held.until <= NOON + timedelta(minutes=USUAL_MIN[priority])
    assert USUAL_MIN[priority] <= LONGEST_MIN[priority]


def test_where_the_sun_does_not_set_the_time_alone_counts():
    polar = PLACE.model_copy(update={"latitude_deg": 78.0})
    june = datetime(2026, 6, 21, 12, tzinfo=UTC)
    assert next_turn(polar, june) is None
    assert shelf(polar, Priority.HIGH, june, minutes=60).until == june + timedelta(hours=1)
