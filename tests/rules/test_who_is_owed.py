"""Who is owed a message, in which order, by which way; what waits, and what never does."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.escalation import Course, Outcome, Told, held_until, messages_in, owed_now
from rules.local_time import to_local
from rules.model.alarm import Priority
from rules.model.people import WEEK

EVERY_DAY = [day.value for day in WEEK]
NIGHT = datetime(2026, 5, 4, 19, 0, tzinfo=UTC)  # 02:00 on Tuesday at the nursery
NOON = datetime(2026, 5, 5, 5, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def person(name, **more):
    return {"id": name, "name": name, "email": f"{name}@example.org", **more}


def shift(who, start, end):
    return {"who": who, "days": EVERY_DAY, "start": start, "end": end}


@pytest.fixture(scope="module")
def site(make):
    """A night hand with a telephone and a back-up, a day hand, a lead, and a lamp."""

    def build(*, quiet=(), **more):
        people = [
            person("lead", reach=["lead-phone"]),
            person("day"),
            person("night", reach=["night-phone"], backup="spare"),
            person("spare"),
            {"id": "lamp", "name": "lamp", "reach": ["shed-lamp"], "answers": False},
        ]
        for one in people:
            if one["id"] in quiet:
                one["quiet"] = {"start": "21:00", "end": "06:30"}
        shifts = [shift("day", "06:00", "18:00"), shift("night", "18:00", "06:00")]
        return make.site(person=people, shift=shifts, **more)

    return build


def course(priority=Priority.HIGH, *, opened_at=NIGHT, told=(), **more):
    return Course(
        priority, opened_at, **{"acknowledged": False, "over": False, **more}, told=tuple(told)
    )


def arrived(one, at):
    return Told(one.step, one.person, one.way, at, Outcome.ARRIVED, one.held_until)


def told_by_minute(site, priority, *, minutes=200, opened_at=NIGHT):
    """Return (minute, person, way) of every message while nobody acknowledges."""
    told = messages_in(
        site,
        course(priority, opened_at=opened_at),
        acknowledged_at=None,
        ended_at=None,
        until=opened_at + minutes * MINUTE,
    )
    return [((one.at - opened_at) // MINUTE, one.person, one.way) for one in told]


def test_danger_is_told_at_once_again_and_to_ever_more_people_until_someone_answers(site):
    assert told_by_minute(site(), Priority.HIGH) == [
        (0, "night", "email"),
        (0, "night", "night-phone"),
        (10, "night", "email"),
        (10, "night", "night-phone"),
        (15, "spare", "email"),
        (25, "lead", "email"),
        (25, "lead", "lead-phone"),
        (40, "lead", "email"),
        (40, "lead", "lead-phone"),
        (40, "day", "email"),
        (40, "night", "email"),
        (40, "night", "night-phone"),
        (40, "spare", "email"),
        (40, "lamp", "shed-lamp"),
    ]


def test_medium_goes_to_who_is_on_duty_by_their_first_way_and_to_the_lead_after_two_hours(site):
    assert told_by_minute(site(), Priority.MEDIUM) == [
        (0, "night", "email"),
        (120, "lead", "email"),
    ]


def test_low_waits_for_the_morning_and_for_who_is_on_duty_then(site):
    (owed,) = owed_now(site(), course(Priority.LOW), NIGHT)
    assert (owed.person, owed.way) == ("day", "email")
    assert to_local(owed.held_until, site().site).strftime("%a %H:%M") == "Tue 06:00"
    (by_day,) = owed_now(site(), course(Priority.LOW, opened_at=NOON), NOON)
    assert (by_day.person, by_day.held_until) == ("day", None)


def test_who_acknowledges_ends_it_for_all(site):
    told = messages_in(
        site(),
        course(),
        acknowledged_at=NIGHT + 12 * MINUTE,
        ended_at=None,
        until=NIGHT + timedelta(days=1),
    )
    assert {one.at for one in told} == {NIGHT, NIGHT + 10 * MINUTE}
    assert owed_now(site(), course(acknowledged=True), NIGHT) == ()


def test_what_is_over_is_told_once_if_nobody_has_heard_and_never_again(site):
    first = owed_now(site(), course(over=True), NIGHT + 50 * MINUTE)
    assert {(one.step, one.person) for one in first} == {("0.on_duty", "night")}
    heard = course(over=True, told=[arrived(one, NIGHT) for one in first])
    assert owed_now(site(), heard, NIGHT + 50 * MINUTE) == ()


def test_after_an_hour_without_anyone_telling_each_person_gets_their_last_step_alone(site):
    late = NIGHT + 30 * MINUTE
    owed = owed_now(site(), course(), late)
    assert Counter((one.step, one.person) for one in owed) == {
        ("10.on_duty", "night"): 2,
        ("15.backup", "spare"): 1,
        ("25.lead", "lead"): 2,
    }
    after = course(told=[arrived(one, late) for one in owed])
    assert owed_now(site(), after, late + 14 * MINUTE) == ()
    assert {one.step for one in owed_now(site(), after, late + 15 * MINUTE)} == {"40.everyone"}


def test_an_alarm_that_was_known_late_counts_its_minutes_from_the_first_word(site):
    first = owed_now(site(), course(), NIGHT + 3 * MINUTE)
    after = course(told=[arrived(one, NIGHT + 3 * MINUTE) for one in first])
    assert owed_now(site(), after, NIGHT + 12 * MINUTE) == ()
    assert owed_now(site(), after, NIGHT + 13 * MINUTE) != ()


def test_nobody_is_owed_a_step_twice_when_the_shift_changes(site):
    before = NIGHT + timedelta(hours=3, minutes=55)
    first = owed_now(site(), course(Priority.MEDIUM, opened_at=before), before)
    assert [one.person for one in first] == ["night"]
    after = course(Priority.MEDIUM, opened_at=before, told=[arrived(one, before) for one in first])
    assert owed_now(site(), after, before + 30 * MINUTE) == ()


def test_danger_wakes_people_in_their_quiet_hours_and_medium_does_not(site):
    quiet = site(quiet=("night",))
    assert all(one.held_until is None for one in owed_now(quiet, course(), NIGHT))
    (held,) = owed_now(quiet, course(Priority.MEDIUM), NIGHT)
    assert to_local(held.held_until, quiet.site).strftime("%a %H:%M") == "Tue 06:30"


def test_what_waits_for_the_morning_also_waits_for_the_end_of_quiet_hours(site):
    quiet = site(quiet=("day",))
    (held,) = owed_now(quiet, course(Priority.LOW), NIGHT)
    assert (held.person, to_local(held.held_until, quiet.site).hour) == ("day", 6)
    assert to_local(held.held_until, quiet.site).minute == 30


def test_a_way_that_fails_is_passed_over_to_the_next_way_then_to_the_next_person(site):
    (first,) = owed_now(site(), course(Priority.MEDIUM), NIGHT)
    failed = [replace(arrived(first, NIGHT), outcome=Outcome.FAILED)]
    (second,) = owed_now(site(), course(Priority.MEDIUM, told=failed), NIGHT + MINUTE)
    assert (second.person, second.way, second.instead_of) == ("night", "night-phone", None)
    failed.append(replace(arrived(second, NIGHT), outcome=Outcome.FAILED))
    (third,) = owed_now(site(), course(Priority.MEDIUM, told=failed), NIGHT + MINUTE)
    assert (third.person, third.way, third.instead_of) == ("spare", "email", "night")
    failed.append(Told(third.step, "spare", "email", NIGHT, Outcome.FAILED, instead_of="night"))
    (fourth,) = owed_now(site(), course(Priority.MEDIUM, told=failed), NIGHT + MINUTE)
    assert (fourth.person, fourth.instead_of) == ("lead", "spare")


def test_danger_passed_over_goes_by_every_way_of_the_next_person_and_never_to_a_lamp(site):
    told = [
        Told("0.on_duty", "night", way, NIGHT, Outcome.FAILED) for way in ("email", "night-phone")
    ]
    told += [Told("0.on_duty", "spare", "email", NIGHT, Outcome.FAILED, instead_of="night")]
    owed = owed_now(site(), course(told=told), NIGHT + MINUTE)
    assert [(one.person, one.way, one.instead_of) for one in owed] == [
        ("lead", "email", "spare"),
        ("lead", "lead-phone", "spare"),
    ]
    told += [
        Told("0.on_duty", name, way, NIGHT, Outcome.FAILED, instead_of="x")
        for name, way in (("lead", "email"), ("lead", "lead-phone"), ("day", "email"))
    ]
    assert owed_now(site(), course(told=told), NIGHT + MINUTE) == ()


def test_one_way_that_works_is_enough(site):
    told = [
        Told("0.on_duty", "night", "email", NIGHT, Outcome.FAILED),
        Told("0.on_duty", "night", "night-phone", NIGHT, Outcome.ARRIVED),
    ]
    assert owed_now(site(), course(told=told), NIGHT + MINUTE) == ()


def test_a_way_that_fails_is_told_to_the_lead_by_a_way_of_another_kind(site):
    about_mail = course(Priority.MEDIUM, failed_way=("night", "email"))
    (owed,) = owed_now(site(), about_mail, NOON)
    assert (owed.person, owed.way) == ("lead", "lead-phone")
    about_own = course(Priority.MEDIUM, failed_way=("lead", "lead-phone"))
    (owed,) = owed_now(site(), about_own, NOON)
    assert (owed.person, owed.way) == ("lead", "email")
    assert owed_now(site(), replace(about_own, told=(arrived(owed, NOON),)), NOON) == ()


def test_a_lead_with_that_one_way_alone_is_passed_by(make):
    people = [person("lead"), person("other")]
    site = make.site(person=people, shift=[])
    (owed,) = owed_now(site, course(Priority.MEDIUM, failed_way=("lead", "email")), NOON)
    assert owed.person == "other"


def test_the_order_of_ways_is_the_persons_own(make):
    people = [person("lead", reach=["siren", "email", "phone"]), person("plain", reach=["phone"])]
    site = make.site(person=people, shift=[])
    assert [one.ways for one in site.person] == [("siren", "email", "phone"), ("email", "phone")]


def test_steps_of_the_site_file_replace_the_usual_ones_of_their_priority_alone(site):
    steps = [
        {"priority": "high", "after_min": 5, "to": "lamp"},
        {"priority": "high", "after_min": 0, "to": "lead", "by": "first"},
    ]
    own = site(escalation=steps)
    assert told_by_minute(own, Priority.HIGH) == [(0, "lead", "email"), (5, "lamp", "shed-lamp")]
    assert told_by_minute(own, Priority.MEDIUM) == told_by_minute(site(), Priority.MEDIUM)


def test_nobody_on_days_off_is_told_with_everyone(site):
    off = site(absence=[{"who": "spare", "first": "2026-05-05", "last": "2026-05-05"}])
    assert "spare" not in {who for _, who, _ in told_by_minute(off, Priority.HIGH)}


@given(
    start=st.times(),
    end=st.times(),
    minute=st.integers(0, 3 * 1440),
    change=st.sampled_from((datetime(2026, 3, 28, tzinfo=UTC), datetime(2026, 10, 24, tzinfo=UTC))),
)
def test_quiet_hours_end_on_the_wall_also_when_the_clock_changes(make, start, end, minute, change):
    start, end = (time(one.hour, one.minute) for one in (start, end))
    if start == end:
        end = time((end.hour + 1) % 24, end.minute)
    quiet = {"start": start.isoformat(), "end": end.isoformat()}
    site = make.site(person=[person("lead", quiet=quiet)], shift=[])
    place = site.site.model_copy(update={"time_zone": "Europe/Berlin"})
    (lead,) = site.person
    at = change + minute * MINUTE
    until = held_until(lead, Priority.LOW, at, place)
    wall = to_local(at, place).time()
    inside = start <= wall < end if start < end else not end <= wall < start
    if inside:
        assert until is not None
    if until is not None:
        assert at < until <= at + timedelta(hours=25)
        assert held_until(lead, Priority.LOW, until, place) is None
    assert held_until(lead, Priority.HIGH, at, place) is None


@given(st.integers(0, 90), st.integers(0, 90))
def test_however_often_one_asks_no_message_is_owed_twice(site, first, pause):
    told: list[Told] = []
    for minute in (first, first, first + pause, first + pause):
        at = NIGHT + minute * MINUTE
        told += [arrived(one, at) for one in owed_now(site(), course(told=told), at)]
    keys = [(one.step, one.person, one.way) for one in told]
    assert len(keys) == len(set(keys))
