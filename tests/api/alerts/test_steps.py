"""Danger is told again and to more people; quiet hours hold back the rest; ways are passed over."""

from __future__ import annotations

from datetime import timedelta

import pytest

from api.records.alarms import acknowledge, standing_alarms
from api.records.outbox import MessageKind, newest_messages
from api.records.session import writing
from rules.model.alarm import AlarmState, Priority
from rules.model.plan import CarePlan

DRY, DAMP = 71.0, 95.0
PHONE = {"reach": ["night-phone"]}
QUIET = {"quiet": {"start": "22:00", "end": "06:00"}}

pytestmark = pytest.mark.service


def of_priority(plans, priority: str):
    """The small plan with every limit of one priority."""
    (plan,) = plans["small-bag"]
    text = plan.model_dump(mode="json")
    for limit in text["stage"]["healing"]["limit"]:
        limit["priority"] = priority
    return {"small-bag": (CarePlan.model_validate(text),)}


def live(nursery, first: int, humidity: list[float]) -> None:
    """Watch and alert service take a turn each minute."""
    for minute, value in enumerate(humidity, first):
        nursery.pass_minutes(minute, [value])
        nursery.alerts.turn()


def who_was_told(postbox) -> list[str]:
    return [to.partition("@")[0] for (to,) in postbox.recipients]


def test_danger_is_told_again_and_then_to_the_lead_until_someone_has_it(staffed, postbox):
    nursery = staffed()
    live(nursery, 0, [DRY] * 35)
    assert who_was_told(postbox) == ["corvin", "corvin", "isaura"]
    again, to_lead = postbox.mail[1:]
    assert "Nobody has it yet." in str(again["Subject"])
    assert "Nobody has said yet that they have it. Told before: Corvin Hale." in again.get_content()
    assert "Nadie se encarga aún." in str(to_lead["Subject"])
    with writing(nursery.records) as db:
        (alarm,) = standing_alarms(db)
        acknowledge(db, alarm.id, by="corvin", at=nursery.clock.now())
    live(nursery, 35, [DRY] * 20)
    assert len(postbox.mail) == 3


def test_with_a_back_up_it_is_told_before_the_lead_and_everyone_comes_last(staffed, postbox):
    nursery = staffed(corvin={"backup": "noor"}, noor={"email": "noor@small.example.invalid"})
    live(nursery, 0, [DRY] * 50)
    assert who_was_told(postbox) == [
        "corvin", "corvin", "noor", "isaura", "corvin", "isaura", "noor",
    ]  # fmt: skip


def test_after_an_hour_without_the_alert_service_nobody_gets_more_than_one(staffed, postbox):
    nursery = staffed()
    nursery.pass_minutes(0, [DRY] * 60)
    nursery.alerts.turn()
    assert sorted(who_was_told(postbox)) == ["corvin", "isaura"]


def test_medium_waits_for_the_end_of_quiet_hours_and_comes_as_one_message(
    staffed, small_plans, postbox
):
    nursery = staffed(corvin=QUIET)
    nursery.plans = of_priority(small_plans, "medium")
    nursery.shut()
    nursery = nursery.anew()
    nursery.watch.turn()
    for minute in range(30):
        nursery.keep_air(minute, {"MG_07": DRY, "AV_09": DRY if minute < 10 else DAMP})
        nursery.close(minute)
        nursery.alerts.turn()
    assert postbox.mail == []
    nursery.clock.turn_by(timedelta(hours=2))  # the night hand's quiet hours end at six
    nursery.alerts.turn()
    assert [who for who in who_was_told(postbox) if who == "corvin"] == []
    nursery.clock.turn_by(timedelta(hours=1, minutes=30))
    nursery.alerts.turn()
    mails = [mail for mail in postbox.mail if "corvin" in str(mail["To"])]
    assert [str(mail["Subject"]) for mail in mails] == [
        "MG-07 mango under bag, bench 2: air too dry, 71 % (should be 80 or more) since 02:00. "
        "Waited until now. Mist inside and retie the bag. And 1 more."
    ]
    body = mails[0].get_content()
    assert "AV-09 avocado under bag, bench 2:" in body
    assert "02:00 to 02:11, over now" in body
    nursery.alerts.turn()
    assert len([to for to in who_was_told(postbox) if to == "corvin"]) == 1
    with nursery.db() as db:
        rows = [row for row in newest_messages(db, most=99) if row.person == "corvin"]
    assert {row.sent_at is not None for row in rows} == {True}
    nursery.shut()


def test_danger_is_told_in_quiet_hours(staffed, postbox):
    nursery = staffed(corvin=QUIET)
    live(nursery, 0, [DRY] * 5)
    assert who_was_told(postbox) == ["corvin"]


def test_what_ends_in_quiet_hours_waits_too_if_it_was_no_danger(staffed, small_plans, postbox):
    quiet = {"quiet": {"start": "02:06", "end": "06:00"}}
    nursery = staffed(corvin=quiet)
    nursery.plans = of_priority(small_plans, "medium")
    nursery.shut()
    nursery = nursery.anew()
    nursery.watch.turn()
    live(nursery, 0, [DRY] * 5 + [DAMP] * 10)
    assert len(postbox.mail) == 1
    nursery.clock.turn_by(timedelta(hours=4))
    nursery.alerts.turn()
    assert len(postbox.mail) == 2
    assert "02:00 to 02:06, over now. Waited until now." in postbox.lines()[1]
    nursery.shut()


def test_low_waits_for_the_morning_and_who_is_on_duty_then(staffed, small_plans, postbox):
    nursery = staffed()
    nursery.plans = of_priority(small_plans, "low")
    nursery.shut()
    nursery = nursery.anew()
    nursery.watch.turn()
    live(nursery, 0, [DRY] * 10)
    assert postbox.mail == []
    nursery.clock.turn_by(timedelta(hours=4))
    nursery.alerts.turn()
    assert who_was_told(postbox) == ["isaura"]
    assert "Esperó hasta ahora." in postbox.lines()[0]
    nursery.shut()


def test_a_way_that_fails_is_tried_three_times_then_passed_over_and_is_an_alarm(
    staffed, small_plans, postbox, gateway
):
    gateway.refuses = True
    nursery = staffed(corvin={"reach": ["night-phone", "email"]}, isaura={"reach": ["lead-phone"]})
    nursery.plans = of_priority(small_plans, "medium")
    nursery.shut()
    nursery = nursery.anew()
    nursery.watch.turn()
    live(nursery, 0, [DRY] * 4)
    for pause_s in (30, 60):
        assert postbox.mail == []
        nursery.clock.turn_by(timedelta(seconds=pause_s))
        nursery.alerts.turn()
    nursery.alerts.turn()
    assert who_was_told(postbox) == ["corvin", "isaura"]
    assert postbox.lines()[1] == (
        "No se puede avisar a Corvin Hale por night-phone desde 02:04. Avise a Corvin Hale de "
        "otro modo y haga reparar esa vía."
    )
    assert "503" in postbox.mail[1].get_content()
    with nursery.db() as db:
        (way,) = [one for one in standing_alarms(db) if one.batch == ""]
    assert (way.condition, way.priority) == ("way.corvin.night-phone", Priority.MEDIUM)
    assert way.state is AlarmState.UNACKNOWLEDGED
    gateway.refuses = False
    nursery.clock.turn_by(timedelta(minutes=2))
    nursery.alerts.turn()
    assert len(gateway.given) == 1
    with nursery.db() as db:
        (way,) = [one for one in standing_alarms(db) if one.batch == ""]
    assert way.state is AlarmState.RETURNED_UNACKNOWLEDGED
    nursery.shut()


def test_a_way_that_left_the_site_file_is_no_alarm_any_more(staffed, small_plans, gateway):
    gateway.refuses = True
    nursery = staffed(corvin=PHONE)
    live(nursery, 0, [DRY] * 8)
    with nursery.db() as db:
        assert [one.condition for one in standing_alarms(db) if one.ended_at is None] == [
            "air-dry",
            "way.corvin.night-phone",
        ]
    people = [one.model_copy(update={"reach": ()}) for one in nursery.site.person]
    nursery.site = nursery.site.model_copy(update={"person": tuple(people)})
    nursery.shut()
    after = nursery.anew()
    after.alerts.turn()
    with after.db() as db:
        assert [one.condition for one in standing_alarms(db) if one.ended_at is None] == ["air-dry"]
    after.shut()


def test_both_ways_carry_danger_at_once(staffed, postbox, gateway):
    nursery = staffed(corvin=PHONE)
    live(nursery, 0, [DRY] * 4)
    assert len(postbox.mail) == len(gateway.given) == 1
    assert gateway.lines() == postbox.lines()


def test_what_happened_while_nobody_watched_is_told_again_if_nobody_has_it(staffed, postbox):
    nursery = staffed()
    for minute in range(40):
        nursery.keep(minute, MG_07=DRY)
    nursery.close(39)
    nursery.alerts.turn()
    assert who_was_told(postbox) == ["corvin"]
    nursery.clock.turn_by(timedelta(minutes=10))
    nursery.alerts.turn()
    assert who_was_told(postbox) == ["corvin", "corvin"]
    with nursery.db() as db:
        kinds = [row.kind for row in reversed(newest_messages(db, most=9))]
    assert kinds == [MessageKind.UNWATCHED, MessageKind.OPENED]


def test_that_it_is_over_comes_by_the_way_by_which_it_was_told(
    staffed, small_plans, postbox, gateway
):
    nursery = staffed(corvin=PHONE)
    nursery.plans = of_priority(small_plans, "medium")
    nursery.shut()
    nursery = nursery.anew()
    nursery.watch.turn()
    live(nursery, 0, [DRY] * 4 + [DAMP] * 6)
    assert len(postbox.mail) == 2
    assert gateway.given == []
    nursery.shut()
