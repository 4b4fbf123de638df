"""What a version changes is told field by field, exactly, and which batches that meets."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.plan_effects import plan_differences, starts_afresh, touched
from api.site_files import read_nursery
from api.trail import Difference
from rules.model.batch import Stage
from rules.model.plan import CarePlan

DEMO = Path(__file__).parents[2] / "demo_data"
NIGHT = datetime(2026, 11, 14, 15, 10, tzinfo=UTC)


@pytest.fixture(scope="module")
def nursery():
    return read_nursery(DEMO / "site.toml", DEMO / "plans")


@pytest.fixture(scope="module")
def plan(nursery):
    return nursery.plans["leafy-bag"]


def altered(plan: CarePlan, change) -> CarePlan:
    values = plan.model_dump(mode="json")
    change(values)
    return CarePlan.model_validate(values)


def test_an_equal_plan_differs_in_nothing_and_its_number_is_no_difference(plan):
    assert plan_differences(plan, plan.model_copy(update={"version": 7})) == ()


def test_values_are_told_exactly_by_the_name_of_the_entry(plan):
    def change(values):
        values["stage"]["healing"]["limit"][1]["bound"] = 82.0625
        values["release"]["open_share"] = [0.2, 0.5]
        values["title"]["es"] = "Bolsa"

    found = {one.field: (one.was, one.now) for one in plan_differences(plan, altered(plan, change))}
    assert found == {
        "stage.healing.limit[air-dry-danger].bound": (80.0, 82.0625),
        "release.open_share": ([0.15, 0.4, 0.7], [0.2, 0.5]),
        "title.es": ("Púa con hojas bajo bolsa atada", "Bolsa"),
    }


def test_what_is_new_or_gone_or_in_another_order_is_told(plan):
    def change(values):
        limits = values["stage"]["healing"]["limit"]
        limits.append({**limits[0], "id": "second-look"})
        gone.append(limits.pop(2))
        checks = values["stage"]["hardening"]["check"]
        checks.reverse()

    gone: list[dict] = []
    new, left, moved = plan_differences(plan, altered(plan, change))[:3]
    assert (new.field, new.was, new.now["bound"]) == (
        "stage.healing.limit[second-look]", None, 90.0
    )  # fmt: skip
    assert left == Difference(f"stage.healing.limit[{gone[0]['id']}]", gone[0], None)
    assert moved.field == "stage.hardening.check"
    assert list(reversed(moved.now)) == moved.was


@pytest.mark.parametrize(
    ("change", "stages"),
    [
        (lambda v: v["stage"]["healing"]["limit"][0].update(bound=82.5), {"healing"}),
        (lambda v: v["stage"]["easing"]["check"][0].update(every_days=2), {"easing"}),
        (lambda v: v["release"].update(firm_days=6), None),
        (lambda v: v["drying"]["critical_share"].update(source="weighed here"), None),
    ],
)
def test_batches_are_met_at_once_where_what_counts_for_them_is_changed(
    nursery, plan, change, stages
):
    met = touched(nursery.site, plan, altered(plan, change), begins=NIGHT)
    followers = {one.code for one in nursery.site.batch if one.plan == plan.id}
    assert {one.code for one in met} == followers
    assert {one.stage for one in met} >= {"healing", "easing"}
    for one in met:
        assert one.at_once == (stages is None or one.stage in stages)


@pytest.mark.parametrize(
    ("change", "afresh"),
    [
        (lambda stage: stage["limit"][0].update(bound=82.5), {"air-dry"}),
        (lambda stage: stage["limit"][0].update(on_delay_min=11), {"air-dry"}),
        (lambda stage: stage["limit"][0]["says"].update(en="dry"), set()),
        (lambda stage: stage["limit"].pop(0), {"air-dry"}),
        (lambda stage: stage["dose"][0].update(priority="low"), {"light-sum-high"}),
        (lambda stage: stage.update(blind_after_min=9), {"blind.vapour_pressure_deficit"}),
    ],
)
def test_only_what_is_judged_otherwise_starts_afresh(plan, change, afresh):
    changed = altered(plan, lambda values: change(values["stage"]["healing"]))
    assert starts_afresh(plan, changed, Stage.HEALING) == afresh
    assert starts_afresh(plan, changed, Stage.EASING) == frozenset()


def test_a_change_for_one_graft_method_meets_the_batches_grafted_so(nursery, plan):
    changed = altered(plan, lambda v: v["method"]["cleft"].update(union_days=31))
    met = touched(nursery.site, plan, changed, begins=NIGHT)
    method = {one.code: one.method for one in nursery.site.batch}
    assert {one.at_once for one in met} == {True, False}
    assert all(one.at_once == (method[one.code] == "cleft") for one in met)
