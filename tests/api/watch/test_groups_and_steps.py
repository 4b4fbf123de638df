"""Groups and the rota together: who is told is the rota's, how it is said is the group's."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest
from pydantic import SecretStr

from api.alerts.channels import Channels
from api.records.alarms import acknowledge, standing_alarms
from api.records.courses import running_courses
from api.records.groups import acknowledge_group, groups_since
from api.records.outbox import Cause, MessageKind, newest_messages, owe_step
from api.records.sending import claim, due
from api.records.session import writing
from api.watch.ground import Ground
from api.watch.holding import shelve_alarm
from api.watch.working import begin
from rules.escalation import Owed
from rules.evaluator import watchlist
from rules.model.alarm import AlarmState
from rules.model.plan import CarePlan
from rules.model.site import Site
from rules.model.work import WorkKind

DRY, DAMP, PARCHED = 71.0, 95.0, 50.0
CODES = tuple(f"MG-{number}" for number in range(21, 31))
QUIET = {"start": "22:00", "end": "06:00"}

pytestmark = pytest.mark.service


@pytest.fixture(scope="session")
def ten_batches(small_site):
    """Return ten batches in one house, each with its own probe."""
    sensor, batch = small_site.sensor[0], small_site.batch[0]
    sensors, batches = [], []
    for code in CODES:
        number = int(code[-2:])
        spot = sensor.position[0].model_copy(update={"cover_of": code})
        one = {"id": f"bag-{number}", "topic": f"small/bag-{number}", "position": (spot,)}
        sensors.append(sensor.model_copy(update=one))
        batches.append(batch.model_copy(update={"code": code}))
    return small_site.model_copy(update={"sensor": tuple(sensors), "batch": tuple(batches)})


def with_priority(plans, priority, *more):
    (plan,) = plans["small-bag"]
    text = plan.model_dump(mode="json")
    limits = text["stage"]["healing"]["limit"]
    limits[0]["priority"] = priority
    limits += [{**limits[0], **one} for one in more]
    return {"small-bag": (CarePlan.model_validate(text),)}


@pytest.fixture
def ten(open_nursery, ten_batches, small_plans, postbox):
    """Open the ten batches with dry air of a priority; changes to Corvin are given by name."""
    opened = []

    def opener(priority="high", *more, **corvin):
        text = ten_batches.model_dump(mode="json")
        text["person"][0].update(corvin)
        nursery = open_nursery(
            Channels(
                SecretStr(f"smtp://127.0.0.1:{postbox.port}"),
                "watch@small.example.invalid",
                reach={},
            )
        )
        nursery.shut()
        nursery.site = Site.model_validate(text)
        nursery.plans = with_priority(small_plans, priority, *more)
        again = nursery.anew()
        again.watch.turn()
        opened.append(again)
        return again

    yield opener
    for nursery in opened:
        nursery.shut()


def live(nursery, first, minutes, values):
    for minute in range(first, first + minutes):
        nursery.keep_air(minute, {code.replace("-", "_"): values.get(code, DAMP) for code in CODES})
        nursery.close(minute)
        nursery.alerts.turn()


def rows(nursery):
    with nursery.db() as db:
        return list(reversed(newest_messages(db, most=500)))


def steps_to(nursery, kind=MessageKind.GROUPED):
    return [(one.person, one.step) for one in rows(nursery) if one.kind is kind]


def nothing_twice(nursery):
    causes = Counter((one.cause, one.person, one.channel) for one in rows(nursery))
    return max(causes.values()) == 1


ALL_DRY = dict.fromkeys(CODES, DRY)


def test_a_flood_of_ten_goes_up_the_steps_as_one_thing(ten, postbox):
    nursery = ten()
    live(nursery, 0, 36, ALL_DRY)
    assert steps_to(nursery, MessageKind.OPENED) == [("corvin", "0.on_duty")]
    assert steps_to(nursery) == [
        ("corvin", "0.on_duty"),
        ("corvin", "10.on_duty"),
        ("isaura", "25.lead"),
    ]
    assert len(postbox.mail) == 4
    assert "Nobody has it yet." in postbox.lines()[2]
    body = postbox.mail[2].get_content()
    assert "Told before: Corvin Hale." in body
    assert all(f"- {code} " in body for code in CODES)
    assert nothing_twice(nursery)


def test_a_group_that_someone_takes_on_tells_nobody_more(ten, postbox):
    nursery = ten()
    live(nursery, 0, 8, ALL_DRY)
    with writing(nursery.records) as db:
        (group,) = groups_since(db, nursery.clock.now() - timedelta(hours=1))
        taken = acknowledge_group(db, group.id, by="corvin", at=nursery.clock.now())
    assert [one.state for one in taken] == [AlarmState.ACKNOWLEDGED] * 10
    live(nursery, 8, 40, ALL_DRY)
    assert len(postbox.mail) == 2


def test_one_that_nobody_took_on_keeps_the_group_going_and_the_last_ends_it(ten, postbox):
    nursery = ten()
    live(nursery, 0, 8, ALL_DRY)
    with writing(nursery.records) as db:
        for one in standing_alarms(db)[:-1]:
            acknowledge(db, one.id, by="corvin", at=nursery.clock.now())
    live(nursery, 8, 10, ALL_DRY)
    assert steps_to(nursery)[-1] == ("corvin", "10.on_duty")
    with writing(nursery.records) as db:
        last = [one for one in standing_alarms(db) if one.state is AlarmState.UNACKNOWLEDGED]
        acknowledge(db, last[0].id, by="corvin", at=nursery.clock.now())
    before = len(postbox.mail)
    live(nursery, 18, 30, ALL_DRY)
    assert len(postbox.mail) == before


def test_who_goes_on_joining_does_not_put_off_the_steps(ten):
    nursery = ten()
    for minute in range(0, 36, 4):
        many = dict.fromkeys(CODES[: 4 + minute // 6], DRY)
        live(nursery, minute, 4, many)
    told = steps_to(nursery)
    assert ("corvin", "10.on_duty") in told
    assert [one for one in told if one[0] == "isaura"] == [("isaura", "25.lead")]
    assert told.count(("corvin", "0.on_duty")) > 1  # those that joined later were told too
    assert nothing_twice(nursery)


def test_shelved_while_it_goes_up_the_steps_it_is_owed_nothing_then_begins_anew(ten, postbox):
    nursery = ten()
    one = {CODES[0]: DRY}
    live(nursery, 0, 6, one)
    with writing(nursery.records) as db:
        (alarm,) = standing_alarms(db)
        shelve_alarm(
            db,
            alarm.id,
            ground=Ground(nursery.site, watchlist(nursery.site, nursery.plans)),
            by="corvin",
            at=nursery.clock.now(),
            why="probe being dried",
            minutes=30,
        )
    live(nursery, 6, 30, one)
    assert len(postbox.mail) == 1
    live(nursery, 36, 32, one)
    assert steps_to(nursery, MessageKind.OPENED) == [
        ("corvin", "0.on_duty"),
        ("corvin", "0.on_duty"),
        ("corvin", "10.on_duty"),
        ("isaura", "25.lead"),
    ]
    assert "Nobody has it yet." not in postbox.lines()[1]


def test_a_group_whose_alarms_are_all_set_aside_is_owed_nothing(ten, postbox):
    nursery = ten("medium")
    live(nursery, 0, 4, ALL_DRY)
    ground = Ground(nursery.site, watchlist(nursery.site, nursery.plans))
    with writing(nursery.records) as db:
        for one in standing_alarms(db):
            at = nursery.clock.now()
            shelve_alarm(db, one.id, ground=ground, by="corvin", at=at, why="door", minutes=60)
    live(nursery, 4, 6, ALL_DRY)  # its message still waited for more to join
    assert postbox.mail == []
    with nursery.db() as db:
        assert running_courses(db, nursery.site, now=nursery.clock.now()) == ()


def test_a_suppressed_flood_is_owed_nothing_and_is_one_flood_when_the_work_ends(ten, postbox):
    nursery = ten()
    live(nursery, 0, 1, {})
    with writing(nursery.records) as db:
        for code in CODES:
            begin(
                db,
                nursery.site,
                WorkKind.COVER_OPEN,
                place=code,
                who="corvin",
                at=nursery.clock.now(),
                minutes=30,
            )
    live(nursery, 1, 29, ALL_DRY)
    assert rows(nursery) == []
    live(nursery, 30, 10, ALL_DRY)
    assert steps_to(nursery, MessageKind.OPENED) == [("corvin", "0.on_duty")]
    assert steps_to(nursery) == [("corvin", "0.on_duty")]
    assert "10 batches too dry" in postbox.lines()[-1]
    live(nursery, 40, 8, ALL_DRY)
    assert steps_to(nursery)[-1] == ("corvin", "10.on_duty")


def test_what_chatters_in_quiet_hours_is_one_message_in_the_morning(ten, postbox):
    nursery = ten("medium", quiet=QUIET)
    for minute in range(0, 64, 8):
        live(nursery, minute, 4, {CODES[0]: DRY})
        live(nursery, minute + 4, 4, {})
    assert postbox.mail == []
    nursery.clock.turn_by(timedelta(hours=3))
    nursery.alerts.turn()
    to_corvin = [mail for mail in postbox.mail if "corvin" in str(mail["To"])]
    assert len(to_corvin) == 1
    nursery.clock.turn_by(timedelta(hours=2))
    nursery.alerts.turn()
    assert len([mail for mail in postbox.mail if "corvin" in str(mail["To"])]) == 1
    assert all(one.sent_at or one.gave_up_at for one in rows(nursery) if one.person == "corvin")


def test_danger_that_joins_a_flood_does_not_wait_for_the_morning_with_it(ten, postbox):
    parched = {"id": "air-parched", "bound": 60.0, "priority": "high"}
    nursery = ten("medium", parched, quiet=QUIET)
    live(nursery, 0, 10, dict.fromkeys(CODES[:6], DRY))
    assert postbox.mail == []
    live(nursery, 10, 8, dict.fromkeys(CODES[:6], DRY) | dict.fromkeys(CODES[6:], PARCHED))
    assert [str(mail["To"])[:6] for mail in postbox.mail] == ["corvin", "corvin"]
    alone, together = postbox.mail
    assert str(alone["Subject"]).startswith(CODES[6])
    assert "10 batches too dry" in str(together["Subject"])


def test_a_group_told_and_not_recorded_is_told_once_more_at_most(ten, postbox):
    nursery = ten("medium")
    live(nursery, 0, 4, ALL_DRY)
    nursery.clock.turn_by(timedelta(minutes=3))
    now = nursery.clock.now()
    with writing(nursery.records) as db:  # as a process that was killed while sending left it
        (row,) = due(db, now=now, most=9)
        assert claim(db, row, now=now, until=now + timedelta(minutes=1), line="gone", body="gone")
    nursery.alerts.turn()
    assert postbox.mail == []
    nursery.clock.turn_by(timedelta(minutes=2))
    nursery.alerts.turn()
    nursery.alerts.turn()
    assert len(postbox.mail) == 1
    assert steps_to(nursery) == [("corvin", "0.on_duty")]


def test_a_way_that_fails_for_a_group_is_passed_over_to_the_next_person(ten, postbox):
    postbox.refused = frozenset({"corvin@small.example.invalid"})
    nursery = ten("medium")
    live(nursery, 0, 14, ALL_DRY)
    told = [(one.person, one.instead_of) for one in rows(nursery) if one.group_id is not None]
    assert told == [("corvin", None), ("isaura", "corvin")]
    assert any("10 lotes con aire seco" in line for line in postbox.lines())


def test_a_flood_set_aside_before_its_message_went_is_told_when_it_rings_again(ten, postbox):
    nursery = ten("medium")
    live(nursery, 0, 4, ALL_DRY)
    ground = Ground(nursery.site, watchlist(nursery.site, nursery.plans))
    with writing(nursery.records) as db:
        for one in standing_alarms(db):
            at = nursery.clock.now()
            shelve_alarm(db, one.id, ground=ground, by="corvin", at=at, why="door", minutes=4)
    live(nursery, 4, 12, ALL_DRY)
    assert len(postbox.mail) == 1
    assert "10 batches too dry" in postbox.lines()[0]


def test_two_steps_of_a_group_that_waited_for_the_same_hour_are_one_message(ten, postbox):
    nursery = ten("medium", quiet=QUIET)
    live(nursery, 0, 6, ALL_DRY)
    nursery.clock.turn_by(timedelta(minutes=121))
    (second,) = [one for one in nursery.site.person if one.id == "corvin"]
    assert second.quiet is not None
    with writing(nursery.records) as db:
        (row,) = [one for one in newest_messages(db, most=9) if one.person == "corvin"]
        again = Owed("120.lead", "corvin", "email", held_until=row.held_until)
        cause = Cause(
            "group.1.1.120.lead",
            MessageKind.GROUPED,
            row.batch,
            row.about,
            group_id=row.group_id,
            group_round=1,
        )
        assert owe_step(db, cause, again, person=second, at=nursery.clock.now()) == 1
    nursery.clock.turn_by(timedelta(hours=3))
    nursery.alerts.turn()
    assert len([mail for mail in postbox.mail if "corvin" in str(mail["To"])]) == 1


def test_one_of_a_flood_that_rings_again_is_told_and_goes_up_the_steps_once(ten):
    nursery = ten()
    live(nursery, 0, 6, ALL_DRY)
    others = dict.fromkeys(CODES[1:], DRY)
    live(nursery, 6, 4, others)
    live(nursery, 10, 26, ALL_DRY)
    about_it = [one for one in rows(nursery) if one.alarm_id is not None and one.step]
    assert [one.step for one in about_it] == ["0.on_duty", "0.on_duty"]
    assert ("isaura", "25.lead") in steps_to(nursery)


def test_steps_of_a_group_count_from_the_first_word_of_those_told_before_it(ten):
    nursery = ten()
    live(nursery, 0, 8, dict.fromkeys(CODES[:3], DRY))
    live(nursery, 8, 10, ALL_DRY)
    singly = [step for _, step in steps_to(nursery, MessageKind.OPENED)]
    assert singly == ["0.on_duty"] * 3
    first, again = (one for one in rows(nursery) if one.kind is MessageKind.GROUPED)
    assert (first.step, again.step) == ("0.on_duty", "10.on_duty")
    assert again.owed_at - first.owed_at < timedelta(minutes=10)


def test_many_that_opened_while_nobody_watched_are_one_group_from_then_on(ten, postbox):
    nursery = ten()
    live(nursery, 0, 3, {})
    for minute in range(3, 60):  # readings are kept, and nobody watches
        nursery.keep_air(minute, {code.replace("-", "_"): DRY for code in CODES})
    nursery.close(59)
    nursery.alerts.turn()
    nursery.close(63)
    nursery.alerts.turn()
    told = [(one.kind, one.person, one.step) for one in rows(nursery)]
    assert told == [(MessageKind.GROUPED, "corvin", "0.on_duty")]
    (line,) = postbox.lines()
    assert line.startswith("Healing house: 10 batches too dry.")
    with nursery.db() as db:
        (group,) = groups_since(db, nursery.clock.now() - timedelta(days=1))
    assert nothing_twice(nursery)
    # Steps count from when somebody watched again: nobody else is told yet.
    with writing(nursery.records) as db:
        assert len(acknowledge_group(db, group.id, by="corvin", at=nursery.clock.now())) == 10


def test_few_that_opened_while_nobody_watched_are_told_a_batch_at_a_time(ten):
    nursery = ten()
    live(nursery, 0, 3, {})
    for minute in range(3, 60):
        dry = {code.replace("-", "_"): DRY if code in CODES[:3] else DAMP for code in CODES}
        nursery.keep_air(minute, dry)
    nursery.close(59)
    nursery.alerts.turn()
    assert {(one.kind, one.batch) for one in rows(nursery)} == {
        (MessageKind.UNWATCHED, code) for code in CODES[:3]
    }
