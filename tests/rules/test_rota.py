"""Who is on duty when people swap, are away, and stand in for one another."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model.people import WEEK
from rules.rota import backups_at, next_change, turns_at, uncovered, who_is_on_duty

EVERY_DAY = [day.value for day in WEEK]
MONDAY = date(2026, 5, 4)
BERLIN = "Europe/Berlin"


def people(**backups):
    names = ("lead", "day", "night", "spare", "other")
    return [
        {"id": name, "name": name, "email": f"{name}@example.org", "backup": backups.get(name)}
        for name in names
    ]


def shift(who, start, end, **more):
    return {"who": who, "days": EVERY_DAY, "start": start, "end": end, **more}


DAY, NIGHT = shift("day", "06:00", "18:00"), shift("night", "18:00", "06:00")


@pytest.fixture
def rota(make):
    def build(zone="Asia/Bangkok", *, backups=None, shifts=(DAY, NIGHT), **more):
        site = make.site(person=people(**(backups or {})), shift=list(shifts), **more)
        return site.model_copy(update={"site": site.site.model_copy(update={"time_zone": zone})})

    return build


def at(day, hour):
    """An hour of the wall in Bangkok, seven hours ahead of UTC all year."""
    return datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(hours=hour - 7)


def on_duty(site, when):
    return [person.id for person in who_is_on_duty(site, when)]


def test_a_swap_holds_for_the_whole_night_that_starts_on_its_date_and_for_no_other(rota):
    site = rota(swap=[{"on": "2026-05-04", "whose": "night", "taken_by": "spare"}])
    assert on_duty(site, at(MONDAY, 17)) == ["day"]
    assert on_duty(site, at(MONDAY, 18)) == ["spare"]
    assert on_duty(site, at(MONDAY, 29)) == ["spare"]
    assert on_duty(site, at(MONDAY, 30)) == ["day"]
    assert on_duty(site, at(MONDAY, 42)) == ["night"]
    assert on_duty(site, at(MONDAY, 3)) == ["night"]


def test_a_swap_may_name_one_of_several_shifts_of_a_day(rota):
    twice = [shift("day", "06:00", "12:00"), shift("day", "13:00", "18:00"), NIGHT]
    swap = {"on": "2026-05-04", "whose": "day", "taken_by": "other", "start": "13:00"}
    site = rota(shifts=twice, swap=[swap])
    assert on_duty(site, at(MONDAY, 9)) == ["day"]
    assert on_duty(site, at(MONDAY, 14)) == ["other"]


def test_on_days_off_the_back_up_of_the_shift_comes_before_that_of_the_person(rota):
    off = [{"who": "night", "first": "2026-05-04", "last": "2026-05-05"}]
    by_shift = rota(
        backups={"night": "spare"}, shifts=[DAY, {**NIGHT, "backup": "other"}], absence=off
    )
    assert on_duty(by_shift, at(MONDAY, 20)) == ["other"]
    by_person = rota(backups={"night": "spare"}, absence=off)
    assert on_duty(by_person, at(MONDAY, 20)) == ["spare"]
    assert on_duty(by_person, at(MONDAY, 3)) == ["night"]  # began on the Sunday
    assert on_duty(by_person, at(MONDAY, 53)) == ["spare"]  # Tuesday's night, on Wednesday
    assert on_duty(by_person, at(MONDAY, 66)) == ["night"]


def test_a_stand_in_who_is_away_hands_on_and_a_ring_of_stand_ins_ends(rota):
    off = [{"who": who, "first": "2026-05-04", "last": "2026-05-04"} for who in ("night", "spare")]
    handed_on = rota(backups={"night": "spare", "spare": "other"}, absence=off)
    assert on_duty(handed_on, at(MONDAY, 20)) == ["other"]
    ring = rota(backups={"night": "spare", "spare": "night"}, absence=off)
    assert on_duty(ring, at(MONDAY, 20)) == ["lead"]


def test_who_takes_a_swap_and_falls_ill_is_stood_in_for_too(rota):
    site = rota(
        backups={"spare": "other"},
        swap=[{"on": "2026-05-04", "whose": "night", "taken_by": "spare"}],
        absence=[{"who": "spare", "first": "2026-05-04", "last": "2026-05-04"}],
    )
    assert on_duty(site, at(MONDAY, 20)) == ["other"]


def test_with_nobody_the_lead_is_told_and_on_the_leads_days_off_who_stands_in(rota):
    nobody = rota(shifts=[DAY], backups={"lead": "other"})
    assert on_duty(nobody, at(MONDAY, 20)) == ["lead"]
    away = {"who": "lead", "first": "2026-05-04", "last": "2026-05-04"}
    assert on_duty(
        rota(shifts=[DAY], backups={"lead": "other"}, absence=[away]), at(MONDAY, 20)
    ) == ["other"]
    assert on_duty(rota(shifts=[DAY], absence=[away]), at(MONDAY, 20)) == ["lead"]


def test_the_back_up_is_never_one_of_those_on_duty(rota):
    site = rota(
        backups={"day": "spare", "night": "day"}, shifts=[DAY, {**NIGHT, "backup": "other"}]
    )
    assert [one.id for one in backups_at(site, at(MONDAY, 9))] == ["spare"]
    assert [one.id for one in backups_at(site, at(MONDAY, 20))] == ["other"]
    both = rota(backups={"day": "night"}, shifts=[DAY, shift("night", "00:00", "00:00")])
    assert backups_at(both, at(MONDAY, 9)) == ()


def test_hours_left_to_nobody_are_found_to_the_minute(rota):
    off = [{"who": "night", "first": "2026-05-05", "last": "2026-05-05"}]
    start = at(MONDAY, 0)
    assert uncovered(rota(absence=off), start, start + timedelta(weeks=2)) == (
        (at(MONDAY, 42), at(MONDAY, 54)),
    )
    assert uncovered(rota(), start, start + timedelta(weeks=2)) == ()
    alone = uncovered(rota(shifts=[]), start, start + timedelta(days=1))
    assert alone == ((start, start + timedelta(days=1)),)


def test_when_others_come_on_duty(rota):
    site = rota()
    assert next_change(site, at(MONDAY, 9), within=timedelta(days=1)) == at(MONDAY, 18)
    only = rota(shifts=[shift("day", "00:00", "12:00"), shift("day", "12:00", "00:00")])
    assert next_change(only, at(MONDAY, 9), within=timedelta(days=7)) is None


CHANGES = (datetime(2026, 3, 28, 12, tzinfo=UTC), datetime(2026, 10, 24, 12, tzinfo=UTC))
clocks = st.times().map(lambda one: one.replace(second=0, microsecond=0, tzinfo=None))


@given(start=clocks, second=clocks, change=st.sampled_from(CHANGES), minute=st.integers(0, 1440))
def test_two_shifts_round_the_clock_leave_no_minute_to_nobody_when_the_clock_changes(
    make, start, second, change, minute
):
    shifts = [
        shift("day", start.isoformat(), second.isoformat()),
        shift("night", second.isoformat(), start.isoformat()),
    ]
    site = make.site(person=people(), shift=shifts)
    site = site.model_copy(update={"site": site.site.model_copy(update={"time_zone": BERLIN})})
    when = change + timedelta(minutes=minute)
    assert any(turn.who is not None for turn in turns_at(site, when))
    assert uncovered(site, change, change + timedelta(days=1)) == ()
