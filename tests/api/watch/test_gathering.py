"""Messages of many alarms: gathered, never dropped, and the first danger told at once."""

from __future__ import annotations

import tomllib
from datetime import timedelta
from pathlib import Path

import pytest

from api.records.alarms import acknowledge, alarm_history
from api.records.groups import (
    GroupKind,
    groups_since,
    members_of,
    messages_about,
    times_rung,
)
from api.records.outbox import MessageKind, newest_messages
from api.records.session import writing
from rules.model.plan import CarePlan
from rules.model.site import Site

DEMO_PLANS = Path(__file__).parents[3] / "demo_data" / "plans"
DRY, DAMP = 71.0, 95.0
CODES = ("MG-07", "AV-09", "MG-11", "MG-12", "MG-13", "MG-14", "MG-15", "MG-16", "MG-17")


@pytest.fixture(scope="session")
def small_site(small_site):
    """Return nine batches, each with its own probe, in one house."""
    sensor, batch = small_site.sensor[0], small_site.batch[0]
    sensors, batches = list(small_site.sensor), list(small_site.batch)
    for code in CODES[2:]:
        number = int(code[-2:])
        spot = sensor.position[0].model_copy(update={"cover_of": code})
        one = {"id": f"bag-{number}", "topic": f"small/bag-{number}", "position": (spot,)}
        sensors.append(sensor.model_copy(update=one))
        batches.append(batch.model_copy(update={"code": code}))
    changed = small_site.model_copy(update={"sensor": tuple(sensors), "batch": tuple(batches)})
    return Site.model_validate(changed.model_dump(mode="json"))  # nothing worked out before


@pytest.fixture(params=["high", "medium"])
def small_plans(small_plans, request):
    """Return the plan with dry air of either priority; the lesser does not latch."""
    (plan,) = small_plans["small-bag"]
    written = plan.model_dump(mode="json")
    written["stage"]["healing"]["limit"][0]["priority"] = request.param
    again = CarePlan.model_validate(written)
    return {again.id: (again,)}


def live(nursery, first, minutes, values):
    """Live through minutes in which each batch feels what `values` say, else damp air.

    Messages that are due go out in each.
    """
    for minute in range(first, first + minutes):
        humidity = {code.replace("-", "_"): values.get(code, DAMP) for code in CODES}
        nursery.keep_air(minute, humidity)
        nursery.close(minute)
        nursery.alerts.turn()


def messages(nursery):
    with nursery.db() as db:
        return list(reversed(newest_messages(db, most=200)))


def priority_of(nursery):
    return nursery.plans["small-bag"][0].stage["healing"].limit[0].priority.value


def test_nine_batches_dry_at_once_are_one_message_and_the_first_danger_one_more(nursery, postbox):
    live(nursery, 0, 1, {})
    live(nursery, 1, 4, dict.fromkeys(CODES, DRY))
    told = messages(nursery)
    alone = [m for m in told if m.kind is MessageKind.OPENED]
    together = [m for m in told if m.kind is MessageKind.GROUPED]
    high = priority_of(nursery) == "high"
    assert (len(alone), len(together)) == (1 if high else 0, 1)
    assert len(postbox.mail) == len(alone)  # the danger has gone at once, the group gathers
    nursery.clock.turn_by(timedelta(minutes=2))
    assert nursery.alerts.turn() == 1
    line, body = postbox.lines()[-1], postbox.mail[-1].get_content()
    assert line.startswith("Healing house: 9 batches too dry. One cause: a door open, a fan on,")
    assert "?" in line
    assert len(line) <= 160
    for code in CODES:
        assert f"- {code} " in body
    with nursery.db() as db:
        (group,) = groups_since(db, group_since(nursery))
        assert (group.kind, group.place, group.common) == (GroupKind.FLOOD, "h1", "dry")
        assert len(members_of(db, group.id)) == len(alarm_history(db, most=99)) == 9
        for one in alarm_history(db, most=99):
            told = messages_about(db, one.id)
            assert MessageKind.GROUPED in {message.kind for message in told}


@pytest.mark.parametrize("small_plans", ["medium"], indirect=True)
def test_of_many_the_one_whose_water_ends_first_is_named_to_be_looked_at_first(nursery, postbox):
    written = nursery.plans["small-bag"][0].model_dump(mode="json", exclude_none=True)
    taken = tomllib.loads((DEMO_PLANS / "leafy-bag.toml").read_text(encoding="utf-8"))
    plan = CarePlan.model_validate(written | {"drying": taken["drying"]})
    nursery.plans = {plan.id: (plan,)}
    drying = nursery.anew()
    live(drying, 0, 1, {})
    live(drying, 1, 8, dict.fromkeys(CODES, DRY) | {"MG-14": 35.0})
    assert postbox.lines()[-1].endswith("Look first at MG-14.")
    listed = [line for line in postbox.mail[-1].get_content().splitlines() if line[:2] == "- "]
    assert listed[0].startswith("- MG-14 ")
    assert len(listed) == len(CODES)
    drying.shut()


def group_since(nursery):
    return nursery.clock.now() - timedelta(hours=2)


def test_a_later_batch_joins_the_message_that_still_waits(nursery, postbox):
    live(nursery, 0, 1, dict.fromkeys(CODES[:6], DRY))
    live(nursery, 1, 3, dict.fromkeys(CODES, DRY))
    grouped = [m for m in messages(nursery) if m.kind is MessageKind.GROUPED]
    assert len(grouped) == 1
    nursery.clock.turn_by(timedelta(minutes=2))
    nursery.alerts.turn()
    assert "9 batches" in postbox.lines()[-1]


def test_a_batch_that_comes_after_the_message_is_told_in_another_with_all_of_them(nursery, postbox):
    live(nursery, 0, 4, dict.fromkeys(CODES[:6], DRY))
    nursery.clock.turn_by(timedelta(minutes=2))
    nursery.alerts.turn()
    assert "6 batches" in postbox.lines()[-1]
    live(nursery, 4, 4, dict.fromkeys(CODES, DRY))
    nursery.clock.turn_by(timedelta(minutes=2))
    nursery.alerts.turn()
    assert "9 batches" in postbox.lines()[-1]
    assert len([m for m in messages(nursery) if m.kind is MessageKind.GROUPED]) == 2


def test_a_flood_that_is_over_is_told_once(nursery, postbox):
    live(nursery, 0, 4, dict.fromkeys(CODES, DRY))
    nursery.clock.turn_by(timedelta(minutes=2))
    nursery.alerts.turn()
    before = len(postbox.mail)
    live(nursery, 4, 4, dict.fromkeys(CODES[:4], DRY))
    nursery.alerts.turn()
    assert len(postbox.mail) - before <= 1  # the one that was told alone is back, at most
    live(nursery, 8, 4, {})
    nursery.alerts.turn()
    assert "9 alarms, too dry, are all over since" in postbox.lines()[-1]


def test_an_alarm_that_rings_again_and_again_is_told_in_one_message(nursery, postbox):
    minute = 0
    for _ in range(6):
        live(nursery, minute, 4, {"MG-07": DRY})
        live(nursery, minute + 4, 4, {})
        minute += 8
    told = messages(nursery)
    opened = [m for m in told if m.kind is MessageKind.OPENED]
    grouped = [m for m in told if m.kind is MessageKind.GROUPED]
    assert len(opened) == 2
    with nursery.db() as db:
        (group,) = groups_since(db, group_since(nursery))
        assert (group.kind, group.place) == (GroupKind.RINGS, "MG-07")
        assert times_rung(db, group.id) == 6
    # A danger is told again each ten minutes while it rings, the lesser one each thirty.
    on_duty = [m for m in grouped if m.person == "corvin"]
    assert len(on_duty) == (4 if priority_of(nursery) == "high" else 2)
    # Nobody has answered: of a danger the later steps go on for the group, not for each ring.
    lead = [m.cause for m in grouped if m.person == "isaura" and m.step is not None]
    assert lead == (["group.1.1.25.lead"] if priority_of(nursery) == "high" else [])
    nursery.clock.turn_by(timedelta(minutes=30))
    nursery.alerts.turn()
    said = "MG-07, bench 2: air too dry rang 6 times in 40 minutes; over since"
    assert said in [m.line for m in messages(nursery) if m.person == "corvin"][-1]


def test_the_third_ring_is_told_at_once(nursery, postbox):
    for minute in (0, 8, 16):
        live(nursery, minute, 4, {"MG-07": DRY})
        if minute < 16:
            live(nursery, minute + 4, 4, {})
    assert "rang 3 times in 16 minutes; it still is so." in postbox.lines()[-1]


def test_a_lesser_alarm_that_ends_unseen_is_normal_by_itself_and_a_danger_waits(nursery):
    live(nursery, 0, 4, {"MG-07": DRY})
    live(nursery, 4, 4, {})
    with nursery.db() as db:
        (alarm,) = alarm_history(db, most=9)
    expected = "returned_unacknowledged" if priority_of(nursery) == "high" else "normal"
    assert alarm.state.value == expected
    if priority_of(nursery) == "high":
        with writing(nursery.records) as db:
            seen = acknowledge(db, alarm.id, by="corvin", at=nursery.clock.now())
        assert seen.state.value == "normal"


def test_all_probes_silent_at_once_are_told_as_one_hub_or_network(nursery, postbox):
    live(nursery, 0, 1, {})
    live(nursery, 1, 12, dict.fromkeys(CODES))
    nursery.clock.turn_by(timedelta(minutes=2))
    nursery.alerts.turn()
    grouped = [line for line in postbox.lines() if line.startswith("Healing house")]
    assert grouped
    assert "9 batches cannot be seen. One cause: the hub, the network, the collector?" in grouped[0]
