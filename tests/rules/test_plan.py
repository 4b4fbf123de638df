"""Versions of a plan come into force at their instant, and doses carry their unit in their name."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model.batch import Stage
from rules.model.dose import BASE_FIELDS, BOUND_FIELDS, DoseKind, DoseLimit
from rules.model.plan import in_order_of_force, plan_in_force
from rules.watchlist import watchlist

SPRING = datetime(2026, 9, 1, tzinfo=UTC)
WORDS = {"en": "words", "es": "palabras"}
FIGURES = {
    DoseKind.LIGHT_SUM: ("ppfd", {"bound_mol_m2": 8.0}),
    DoseKind.DRYING_DOSE: ("vapour_pressure_deficit", {"base_kpa": 0.3, "bound_kpa_h": 2.0}),
    DoseKind.HEAT_DOSE: ("leaf_temperature", {"base_c": 38.0, "bound_c_h": 1.5}),
    DoseKind.HOURS_BEYOND: ("air_speed", {"base": 2.0, "beyond": "high", "bound_h": 3.0}),
    DoseKind.DIRECT_SUN: ("ppfd", {"bound_min": 20.0}),
}


def versions(make, *since):
    first = make.plan(healing={"vital": []})["leafy"][0]
    return [
        first.model_copy(update={"version": number, "in_force_from": at})
        for number, at in enumerate(since, start=1)
    ]


def test_a_version_holds_from_its_instant_until_the_next(make):
    plans = versions(make, None, SPRING, SPRING + timedelta(days=30))
    second = timedelta(seconds=1)
    asked = [
        SPRING - timedelta(days=900),
        SPRING - second,
        SPRING,
        SPRING + timedelta(days=30) - second,
        SPRING + timedelta(days=30),
    ]
    assert [plan_in_force(plans, at).version for at in asked] == [1, 1, 2, 2, 3]


def test_the_first_version_also_holds_before_it_begins(make):
    plans = versions(make, SPRING, SPRING + timedelta(days=1))
    assert plan_in_force(plans, SPRING - timedelta(days=400)).version == 1


@given(st.permutations([0, 1, 2]), st.integers(-5, 70))
def test_the_order_of_files_does_not_matter(make, order, days):
    plans = versions(make, None, SPRING, SPRING + timedelta(days=30))
    shuffled = [plans[place] for place in order]
    at = SPRING + timedelta(days=days)
    assert plan_in_force(shuffled, at) == plan_in_force(plans, at)
    assert [plan.version for plan in in_order_of_force(shuffled)] == [1, 2, 3]


@pytest.mark.parametrize("kind", DoseKind)
def test_every_kind_of_dose_has_its_own_unit(kind):
    quantity, figures = FIGURES[kind]
    written = {"id": "d", "kind": kind, "quantity": quantity, "priority": "low"}
    dose = DoseLimit.model_validate({**written, **figures, "says": WORDS, "action": WORDS})
    assert dose.bound == figures[BOUND_FIELDS[kind]]
    base = BASE_FIELDS[kind]
    assert dose.threshold == (figures[base] if base else None)


def test_a_mended_sentence_or_check_does_not_start_the_watch_afresh(make):
    dose = {"id": "sum", "kind": "light_sum", "quantity": "ppfd", "bound_mol_m2": 8.0}
    dose |= {"priority": "low", "says": WORDS, "action": WORDS}
    check = {"id": "film", "every_days": 7, "says": WORDS}
    stage = {
        "vital": ["relative_humidity"],
        "limit": [make.limit("dry", "relative_humidity", "low", 80.0)],
        "dose": [dose],
        "check": [check],
    }
    mended = {
        **stage,
        "dose": [{**dose, "says": {"en": "light", "es": "luz"}}],
        "check": [{**check, "every_days": 5}],
    }
    raised = {**stage, "dose": [{**dose, "bound_mol_m2": 9.0}]}

    def key(stage_plan) -> str:
        (batch,) = watchlist(make.site(), make.plan(healing=stage_plan)).batches
        return batch.versions[0].stages[Stage.HEALING].key

    assert key(stage) == key(mended)
    assert key(stage) != key(raised)
