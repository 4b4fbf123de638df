"""What work explains, and what is told whatever people are doing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.conditions import Condition
from rules.model.alarm import Priority
from rules.model.quantities import Felt
from rules.model.words import Side
from rules.model.work import Work, WorkKind, WorkPlace
from rules.work_in_hand import (
    LONGEST_MIN,
    NEVER,
    PLACES,
    SUPPRESSES,
    USUAL_MIN,
    explains,
    is_in_hand,
    suppressed,
)

BEGAN = datetime(1970, 1, 1, 1, 0, tzinfo=UTC)  # minute 60


def work(kind, place, **other):
    fields = {
        "id": 1,
        "kind": kind,
        "place": place,
        "began": BEGAN,
        "until": BEGAN + timedelta(minutes=30),
        "ended": None,
        "who": "ada",
        "note": None,
    }
    return Work(**(fields | other))


def about(felt, **other):
    fields = {
        "batch": "MG-07",
        "name": "one",
        "house": "h1",
        "felt": felt,
        "side": Side.LOW,
        "summed": False,
        "latches": True,
        "priority": Priority.HIGH,
        "covered": True,
        "sensors": frozenset({"bag-7"}),
    }
    return Condition(**(fields | other))


@pytest.mark.parametrize("kind", list(WorkKind))
def test_of_every_quantity_it_is_settled_whether_work_holds_it_back(kind):
    assert SUPPRESSES[kind] | NEVER[kind] == set(Felt)
    assert SUPPRESSES[kind] & NEVER[kind] == set()
    assert 1 <= USUAL_MIN[kind] <= LONGEST_MIN[kind]


@pytest.mark.parametrize("kind", [WorkKind.COVER_OPEN, WorkKind.SPRAYING, WorkKind.WASHING])
@pytest.mark.parametrize(
    "felt", [Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE, Felt.EXPECTED_PEAK, Felt.RESERVE]
)
def test_heat_cold_and_lost_water_are_told_whatever_is_being_done(kind, felt):
    place = "MG-07" if PLACES[kind] is WorkPlace.BATCH else "h1"
    for side in Side:
        assert not explains(work(kind, place), about(felt, side=side, covered=False))


def test_an_opened_cover_explains_dry_air_of_that_batch_alone():
    opened = work(WorkKind.COVER_OPEN, "MG-07")
    assert explains(opened, about(Felt.RELATIVE_HUMIDITY))
    assert explains(opened, about(Felt.VAPOUR_PRESSURE_DEFICIT, side=Side.HIGH))
    assert not explains(opened, about(Felt.RELATIVE_HUMIDITY, batch="AV-09"))


def test_an_opened_cover_explains_neither_a_sum_nor_that_nobody_can_see():
    opened = work(WorkKind.COVER_OPEN, "MG-07")
    assert not explains(opened, about(Felt.VAPOUR_PRESSURE_DEFICIT, summed=True))
    assert not explains(opened, about(Felt.RELATIVE_HUMIDITY, side=None))


@pytest.mark.parametrize("kind", [WorkKind.SPRAYING, WorkKind.WASHING])
def test_work_in_a_house_does_not_reach_under_a_tied_cover(kind):
    wet = work(kind, "h1")
    assert explains(wet, about(Felt.RELATIVE_HUMIDITY, covered=False))
    assert not explains(wet, about(Felt.RELATIVE_HUMIDITY, covered=True))
    assert explains(wet, about(Felt.SUBSTRATE_MOISTURE, covered=True))
    assert not explains(wet, about(Felt.RELATIVE_HUMIDITY, covered=False, house="h2"))
    assert not explains(wet, about(Felt.RELATIVE_HUMIDITY, covered=False, summed=True))


def test_a_sensor_in_a_salt_jar_explains_only_what_it_speaks_for():
    jar = work(WorkKind.CALIBRATING, "bag-7")
    assert explains(jar, about(Felt.AIR_TEMPERATURE, side=Side.HIGH))
    assert explains(jar, about(Felt.RELATIVE_HUMIDITY, side=None))
    other = about(Felt.AIR_TEMPERATURE, sensors=frozenset({"leaf-7"}))
    assert not explains(jar, other)


def test_work_counts_in_cells_that_lie_wholly_inside_it():
    seconds = work(
        WorkKind.COVER_OPEN,
        "MG-07",
        began=BEGAN + timedelta(seconds=20),
        ended=BEGAN + timedelta(minutes=5, seconds=1),
    )
    assert [minute for minute in range(55, 75) if is_in_hand(seconds, minute)] == [
        *(61, 62, 63, 64, 65)
    ]
    assert not is_in_hand(work(WorkKind.COVER_OPEN, "MG-07"), 90)
    assert is_in_hand(work(WorkKind.COVER_OPEN, "MG-07"), 89)


def test_the_work_that_holds_back_is_named():
    opened = work(WorkKind.COVER_OPEN, "MG-07", id=5)
    dry = about(Felt.RELATIVE_HUMIDITY)
    assert suppressed([work(WorkKind.CALIBRATING, "bag-9"), opened], dry, 70) is opened
    assert suppressed([opened], dry, 90) is None
    assert suppressed([], dry, 70) is None


@given(
    kind=st.sampled_from(WorkKind),
    place=st.sampled_from(["MG-07", "h1", "bag-7"]),
    felt=st.sampled_from(Felt),
    side=st.sampled_from([*Side, None]),
    covered=st.booleans(),
    summed=st.booleans(),
)
def test_nothing_is_held_back_that_the_table_does_not_name(
    kind, place, felt, side, covered, summed
):
    condition = about(felt, side=side, covered=covered, summed=summed)
    if explains(work(kind, place), condition):
        assert felt in SUPPRESSES[kind]
        assert (
            place
            == {
                WorkPlace.BATCH: "MG-07",
                WorkPlace.HOUSE: "h1",
                WorkPlace.SENSOR: "bag-7",
            }[PLACES[kind]]
        )
