"""Which alarms wait for a person once they are over, as the plans say."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.site_files import read_nursery
from rules.model.alarm import Priority
from rules.model.plan import CarePlan
from rules.model.quantities import Felt
from rules.watchlist import watchlist

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="module")
def shipped():
    return read_nursery(DEMO / "site.toml", DEMO / "plans")


def judged(plans):
    return [
        one
        for versions in plans.values()
        for plan in versions
        for stage in plan.stage.values()
        for one in (*stage.limit, *stage.dose)
    ]


def keys(site, plans):
    """Return the keys under which each stage and dose is judged: when one changes, all begins."""
    return {
        (batch.code, place, stage): (watch.key, [bound.key for bound in watch.dose_bounds])
        for batch in watchlist(site, plans).batches
        for place, version in enumerate(batch.versions)
        for stage, watch in version.stages.items()
    }


@pytest.mark.parametrize("latch", [True, False])
def test_whether_an_alarm_latches_can_be_mended_without_judging_anew(shipped, latch):
    mended = {}
    for name, versions in shipped.versions.items():
        written = [plan.model_dump(mode="json") for plan in versions]
        for plan in written:
            for stage in plan["stage"].values():
                for one in (*stage["limit"], *stage["dose"]):
                    one["latch"] = latch
        mended[name] = tuple(CarePlan.model_validate(plan) for plan in written)
    assert {one.latches for one in judged(mended)} == {latch}
    assert keys(shipped.site, mended) == keys(shipped.site, shipped.versions)


def test_in_the_shipped_plans_heat_and_cold_dangers_latch_in_so_many_words(shipped):
    air = {Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE}
    dangers = [
        one
        for one in judged(shipped.versions)
        if one.quantity in air and one.priority is Priority.HIGH
    ]
    assert len(dangers) > 10
    assert all(one.latch is True for one in dangers)


def test_left_open_a_danger_latches_and_the_rest_does_not(shipped):
    open_ones = [one for one in judged(shipped.versions) if one.latch is None]
    assert {one.latches for one in open_ones if one.priority is Priority.HIGH} == {True}
    assert {one.latches for one in open_ones if one.priority is not Priority.HIGH} == {False}
