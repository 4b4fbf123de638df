"""What is told alone, and what together; a danger is never kept waiting behind a group."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.conditions import Condition
from rules.floods import (
    DIRECTION,
    FLOOD_MIN,
    MANY,
    Common,
    Ring,
    chatters,
    common_of,
    shared_sensor,
    sorted_rings,
)
from rules.model.alarm import Priority
from rules.model.quantities import Felt
from rules.model.words import Side

NOW = 1000


def ring(number, minute=NOW, **other):
    fields = {
        "batch": f"B-{number}",
        "name": "air-dry",
        "house": "h1",
        "felt": Felt.RELATIVE_HUMIDITY,
        "side": Side.LOW,
        "summed": False,
        "latches": True,
        "priority": Priority.MEDIUM,
        "covered": True,
        "sensors": frozenset({f"bag-{number}"}),
    }
    return Ring(number, number, minute, Condition(**(fields | other)))


def test_every_quantity_has_a_direction_on_each_side():
    assert set(DIRECTION) == {(felt, side) for felt in Felt for side in Side}


def test_few_alarms_are_told_one_by_one():
    told = sorted_rings([ring(n) for n in range(MANY - 1)], [])
    assert len(told.alone) == MANY - 1
    assert told.floods == ()


def test_many_alarms_of_one_house_that_point_one_way_are_told_together():
    told = sorted_rings([ring(n) for n in range(9)], [])
    (flood,) = told.floods
    assert told.alone == ()
    assert (flood.house, flood.common, len(flood.fresh)) == ("h1", Common.DRY, 9)


def test_dry_air_by_humidity_and_by_deficit_have_one_cause():
    deficit = {"felt": Felt.VAPOUR_PRESSURE_DEFICIT, "side": Side.HIGH}
    told = sorted_rings([ring(1), ring(2), ring(3, **deficit), ring(4, **deficit)], [])
    assert len(told.floods[0].fresh) == 4


def test_a_later_alarm_joins_those_of_the_last_minutes_and_lists_them():
    early = [ring(n, NOW - FLOOD_MIN + 1) for n in range(3)]
    told = sorted_rings([ring(9)], early)
    assert told.floods[0].before == tuple(early)
    assert told.alone == ()
    long_ago = [ring(n, NOW - FLOOD_MIN) for n in range(3)]
    assert sorted_rings([ring(9)], long_ago).alone == (ring(9),)


def test_other_houses_and_other_directions_stay_out():
    hot = ring(7, felt=Felt.AIR_TEMPERATURE, side=Side.HIGH, priority=Priority.HIGH)
    elsewhere = ring(8, house="h2")
    told = sorted_rings([*(ring(n) for n in range(4)), hot, elsewhere], [])
    assert set(told.alone) == {hot, elsewhere}


def test_the_first_danger_of_a_flood_is_told_at_once_and_later_ones_with_it():
    dangers = [ring(n, priority=Priority.HIGH) for n in (5, 6)]
    told = sorted_rings([*(ring(n) for n in range(4)), *dangers], [])
    assert told.floods[0].first == dangers[0]
    again = sorted_rings([ring(8, NOW + 1, priority=Priority.HIGH)], [*told.floods[0].fresh])
    assert again.floods[0].first is None


def test_a_danger_that_follows_lesser_ones_is_the_first():
    told = sorted_rings([ring(9, priority=Priority.HIGH)], [ring(n, NOW - 2) for n in range(4)])
    assert told.floods[0].first is not None


def test_one_alarm_that_rings_often_is_no_flood():
    often = [Ring(n, 1, NOW - n, ring(1).condition) for n in range(1, 6)]
    assert sorted_rings([Ring(9, 1, NOW, ring(1).condition)], often).floods == ()


@given(
    fresh=st.lists(
        st.builds(
            lambda n, house, priority: ring(n, house=house, priority=priority),
            st.integers(1, 30),
            st.sampled_from(["h1", "h2"]),
            st.sampled_from(Priority),
        ),
        unique_by=lambda one: one.change_id,
        max_size=12,
    ),
    before=st.lists(st.integers(31, 60), unique=True, max_size=6),
)
def test_none_is_dropped_and_every_group_with_a_danger_has_told_one(fresh, before):
    recent = [ring(n, NOW - 3) for n in sorted(before)]
    told = sorted_rings(fresh, recent)
    everyone = [*told.alone, *(one for flood in told.floods for one in flood.fresh)]
    assert sorted(one.change_id for one in everyone) == sorted(one.change_id for one in fresh)
    for flood in told.floods:
        if any(one.condition.priority is Priority.HIGH for one in flood.fresh):
            assert flood.first is not None


@pytest.mark.published("a usual detector: three activations in a minute (common practice)")
def test_three_rings_are_chattering_here_within_an_hour():
    assert chatters([NOW - 59, NOW - 30], NOW)
    assert not chatters([NOW - 60, NOW - 30], NOW)
    assert not chatters([NOW - 30], NOW)


def test_blindness_has_its_own_cause_one_sensor_or_what_several_share():
    blind = [ring(n, side=None, sensors=frozenset({"hub-1"})).condition for n in range(3)]
    assert common_of(blind[0]) is Common.UNSEEN
    assert shared_sensor(blind) == "hub-1"
    assert shared_sensor([*blind, ring(4, side=None).condition]) is None
    assert shared_sensor([]) is None
