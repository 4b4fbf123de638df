"""Somebody is always on duty, over midnight and when the clock changes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.escalation import who_is_on_duty
from rules.model.people import WEEK

PEOPLE = [
    {"id": name, "name": name, "email": f"{name}@example.org"} for name in ("lead", "day", "night")
]
BERLIN = "Europe/Berlin"
CHANGES = (datetime(2026, 3, 28, 12, tzinfo=UTC), datetime(2026, 10, 24, 12, tzinfo=UTC))
EVERY_DAY = [day.value for day in WEEK]
DAY = {"who": "day", "days": EVERY_DAY, "start": "06:00", "end": "18:00"}
NIGHT = {"who": "night", "days": EVERY_DAY, "start": "18:00", "end": "06:00"}


def on_duty(make, shifts, at, zone="Asia/Bangkok"):
    site = make.site(person=PEOPLE, shift=shifts)
    moved = site.model_copy(update={"site": site.site.model_copy(update={"time_zone": zone})})
    return [person.id for person in who_is_on_duty(moved, at)]


@pytest.mark.parametrize(
    ("hour", "who"), [(5, "night"), (6, "day"), (17, "day"), (18, "night"), (23, "night")]
)
def test_the_shift_that_holds_this_hour_on_the_wall(make, hour, who):
    at = datetime(2026, 5, 4, hour, tzinfo=UTC) - timedelta(hours=7)
    assert on_duty(make, [DAY, NIGHT], at) == [who]


def test_a_shift_ends_the_instant_the_next_begins(make):
    six = datetime(2026, 5, 3, 23, tzinfo=UTC)
    assert on_duty(make, [DAY, NIGHT], six - timedelta(microseconds=1)) == ["night"]
    assert on_duty(make, [DAY, NIGHT], six) == ["day"]


def test_nobody_on_a_shift_is_the_lead(make):
    assert on_duty(make, [], datetime(2026, 5, 4, tzinfo=UTC)) == ["lead"]
    noon = datetime(2026, 5, 4, 5, tzinfo=UTC)
    assert on_duty(make, [NIGHT], noon) == ["lead"]


def test_a_friday_night_runs_into_saturday_and_no_further(make):
    friday = {**NIGHT, "days": ["fri"]}
    saturday_three = datetime(2026, 5, 8, 20, tzinfo=UTC)
    assert on_duty(make, [friday], saturday_three) == ["night"]
    assert on_duty(make, [friday], saturday_three - timedelta(days=1)) == ["lead"]
    assert on_duty(make, [friday], saturday_three + timedelta(days=1)) == ["lead"]


def test_two_on_duty_are_told_in_the_order_of_the_shifts_and_once_each(make):
    both = [NIGHT, {**DAY, "end": "20:00"}, {**NIGHT, "start": "17:00"}]
    seven_in_the_evening = datetime(2026, 5, 4, 12, tzinfo=UTC)
    assert on_duty(make, both, seven_in_the_evening) == ["night", "day"]


def test_a_shift_from_eight_to_eight_lasts_the_whole_day(make):
    whole = {**DAY, "start": "08:00", "end": "08:00", "days": ["mon"]}
    begin = datetime(2026, 5, 4, 1, tzinfo=UTC)
    assert on_duty(make, [whole], begin) == ["day"]
    assert on_duty(make, [whole], begin + timedelta(hours=23, minutes=59)) == ["day"]
    assert on_duty(make, [whole], begin + timedelta(hours=24)) == ["lead"]


def test_a_shift_that_ends_in_an_hour_shown_twice_ends_with_its_last_showing(make):
    evening = {**NIGHT, "start": "18:00", "end": "02:30"}
    first, last = (datetime(2026, 10, 25, hour, 30, tzinfo=UTC) for hour in (0, 1))
    assert on_duty(make, [evening], first, BERLIN) == ["night"]
    assert on_duty(make, [evening], last - timedelta(minutes=1), BERLIN) == ["night"]
    assert on_duty(make, [evening], last, BERLIN) == ["lead"]


@given(
    offset=st.integers(0, 48 * 60),
    change=st.sampled_from(CHANGES),
    turn=st.sampled_from(("01:30", "02:00", "02:30", "03:00")),
)
def test_a_full_rota_leaves_no_minute_to_nobody_when_the_clock_changes(make, offset, change, turn):
    first = {**NIGHT, "start": "14:00", "end": turn}
    second = {**DAY, "start": turn, "end": "14:00"}
    at = change + timedelta(minutes=offset)
    assert on_duty(make, [first, second], at, zone=BERLIN) != ["lead"]
