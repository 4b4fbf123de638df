"""The drying estimate against the demonstration's bags: other physics, a truth in grams."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from demo_data.trial import CRITICAL_SHARE, FRESH_G, Kind, trial
from rules.drying import FRESH, Surroundings, spend
from rules.model.plan import CarePlan
from rules.reserve import hours_to_critical, reserve_pct
from rules.scion import drying_figures

PLAN = Path(__file__).parents[2] / "demo_data" / "plans" / "leafy-bag.toml"
LEAFY = CarePlan.model_validate(tomllib.loads(PLAN.read_text(encoding="utf-8"))).drying
BORN = 29_662_560

SLIPS_H = 20.0
KINDS = tuple(Kind(leaf, ties, SLIPS_H) for ties in (0.4, 10.0, 70.0) for leaf in (0.003, 0.005))


@pytest.fixture(scope="module")
def bags():
    return trial(KINDS, days=5, seed=100)


def estimate(bags, bag: int):
    minutes = len(bags.ppfd_umol_m2_s)
    unknown = np.full(minutes, np.nan)
    figured = drying_figures(LEAFY, BORN, pressure_kpa=101.0, scion_diameter_mm=None)
    around = Surroundings(
        minute=BORN + np.arange(minutes),
        air_temperature_c=bags.air_c[:, bag],
        relative_humidity_pct=bags.humidity_pct[:, bag],
        ppfd_umol_m2_s=bags.ppfd_umol_m2_s,
        leaf_temperature_c=unknown,
        air_speed_m_s=unknown,
        sun_up=bags.ppfd_umol_m2_s > 0.0,
        film_open=np.zeros(minutes, dtype=bool),
    )
    return figured, spend(figured, FRESH, around)


@pytest.mark.parametrize("bag", range(len(KINDS)))
def test_the_leafs_warmth_is_told_within_a_degree(bags, bag):
    _, spending = estimate(bags, bag)
    assert np.abs(spending.leaf_temperature_c - bags.leaf_c[:, bag]).max() < 0.8


@pytest.mark.parametrize("bag", range(len(KINDS)))
def test_the_band_holds_what_is_truly_left(bags, bag):
    figured, spending = estimate(bags, bag)
    band = reserve_pct(figured, spending.spent_ng)
    share = bags.water_g[:, bag] / FRESH_G
    truth = np.clip(100.0 * (share - CRITICAL_SHARE) / (1.0 - CRITICAL_SHARE), 0.0, 100.0)
    assert np.mean((truth >= band.low - 1.0) & (truth <= band.high + 1.0)) > 0.98


@pytest.mark.parametrize("bag", [bag for bag, kind in enumerate(KINDS) if kind.changes_per_h > 1])
def test_a_loose_bag_is_told_hours_before_its_scions_are_lost(bags, bag, record_property):
    lost_at = int(np.argmax(bags.water_g[:, bag] < CRITICAL_SHARE * FRESH_G))
    assert lost_at > SLIPS_H * 60
    figured, spending = estimate(bags, bag)
    soon = hours_to_critical(figured, spending).central < 12.0
    held_ten = np.convolve(soon, np.ones(10), mode="valid") >= 10
    told_at = int(np.argmax(held_ten)) + 9
    assert held_ten.any()
    lead_h = (lost_at - told_at) / 60
    record_property("lead_h", lead_h)
    assert told_at > SLIPS_H * 60
    assert lead_h > 10.0


def test_a_tied_bag_with_leaves_as_the_plan_says_is_left_in_peace(bags):
    bag = KINDS.index(Kind(0.005, 0.4, SLIPS_H))
    assert bags.water_g[:, bag].min() > CRITICAL_SHARE * FRESH_G
    figured, spending = estimate(bags, bag)
    assert hours_to_critical(figured, spending).central.min() > 12.0
