"""An alarm keeps what was known beside its value in the cell that raised it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.records.alarms import standing_alarms
from api.records.particulars import NOTHING_BESIDE, Particulars
from api.records.tables import as_ms
from api.watch.particulars import particulars_of
from rules.cover import CoverRecord
from rules.cover_ahead import HouseHours
from rules.cover_watch import CoverWatch, ExpectedPeak
from rules.doses import DoseState
from rules.evaluator import EvaluatorState, watchlist
from rules.model.alarm import Priority
from rules.model.event import ConditionOpened
from rules.model.plan import CarePlan
from rules.model.reading import minute_of
from rules.reckoning import Reckoned
from rules.state import NEW

DRY, DAMP = 71.0, 95.0
WORDS = {"en": "said", "es": "dicho"}
DUSK = 29_910_665  # 18:05 at the small nursery


def ranged(low: float, central: float, high: float) -> dict[str, object]:
    return {"low": low, "central": central, "high": high, "source": "for the test"}


DRYING = {
    "conductance_mmol_m2_s": ranged(3, 5, 9),
    "absorbed_share": ranged(0.3, 0.4, 0.5),
    "air_speed_m_s": ranged(0.02, 0.05, 0.15),
    "critical_share": ranged(0.55, 0.6, 0.65),
    "turgor_loss_share": ranged(0.75, 0.82, 0.9),
    "uptake_first_mg_h": ranged(0, 0, 1),
    "uptake_full_mg_h": ranged(100, 200, 300),
    "uptake_from_d": ranged(8, 10, 14),
    "uptake_full_d": ranged(24, 30, 40),
    "humidity_error_pct": ranged(-2, 0, 2),
    "leaf_temperature_error_c": ranged(-0.5, 0, 0.5),
    "leaves": {
        "area_cm2": ranged(250, 300, 350),
        "breadth_cm": ranged(5, 7, 9),
        "water_g_m2": ranged(130, 150, 170),
        "wood_water_g": ranged(1, 1.5, 2),
    },
}


def limit(name: str, quantity: str, side: str, bound: float) -> dict[str, object]:
    return {
        "id": name,
        "quantity": quantity,
        "side": side,
        "bound": bound,
        "deadband": 0.0,
        "on_delay_min": 1,
        "off_delay_min": 1,
        "full_margin": 10.0,
        "priority": "high",
        "says": WORDS,
        "action": WORDS,
    }


DOSES = [
    {
        "id": "dry-hours",
        "kind": "hours_beyond",
        "quantity": "relative_humidity",
        "beyond": "low",
        "base": 80.0,
        "bound_h": 0.05,
        "priority": "medium",
        "says": WORDS,
        "action": WORDS,
    },
    {
        "id": "pull-sum",
        "kind": "drying_dose",
        "quantity": "leaf_vapour_pressure_deficit",
        "base_kpa": 0.1,
        "bound_kpa_h": 99.0,
        "priority": "medium",
        "says": WORDS,
        "action": WORDS,
    },
]


@pytest.fixture
def plans(small_plans):
    """Return the small plan with how the scion dries, and limits on what is reckoned."""
    ((plan,),) = small_plans.values()
    whole = plan.model_dump(mode="json", exclude_none=True)
    whole["drying"] = DRYING
    whole["stage"]["healing"]["limit"] += [
        limit("reserve", "moisture_reserve", "low", 99.9),
        limit("hours", "hours_to_critical", "low", 999.0),
        limit("leaf", "leaf_temperature", "high", 24.0),
        limit("peak", "expected_peak", "high", 38.0),
    ]
    whole["stage"]["healing"]["dose"] = DOSES
    return {plan.id: (CarePlan.model_validate(whole),)}


@pytest.fixture
def watched(small_site, plans):
    return watchlist(small_site, plans)


def opened(condition: str, *, value: float, since: int = DUSK) -> ConditionOpened:
    return ConditionOpened(DUSK, "MG-07", condition, since, value, Priority.HIGH)


def state_with(**batch: object) -> EvaluatorState:
    return EvaluatorState(minute=DUSK, batches={"MG-07": replace(NEW, **batch)})


def test_what_the_watch_raises_of_water_and_sums_is_kept_with_its_doubt(nursery, plans):
    nursery.plans = plans
    running = nursery.anew()
    running.pass_minutes(0, [DAMP, *[None] * 7, *[DRY] * 60])
    with running.db() as db:
        found = {one.condition: one for one in standing_alarms(db) if one.batch == "MG-07"}
    running.shut()
    reserve, hours, leaf, dry = (found[n] for n in ("reserve", "hours", "leaf", "dry-hours"))
    for alarm in (reserve, hours):
        beside = alarm.particulars
        assert beside.reckoned
        assert beside.low <= alarm.value <= beside.high
        assert beside.low < beside.high
    assert without_pace(leaf) == Particulars(reckoned=True)
    assert without_pace(found["air-dry"]) == NOTHING_BESIDE
    # Four of the seven silent minutes are bridged by the last word; counting began at two o'clock.
    assert without_pace(dry) == Particulars(unseen_min=3, begun_late=True)


def without_pace(alarm) -> Particulars:
    nothing = dict.fromkeys(("change", "graver", "graver_minute", "hours", "hours_low"))
    return replace(alarm.particulars, hours_high=None, **nothing)


def test_how_fast_it_got_worse_is_kept_of_the_minute_that_raised_it(nursery, plans):
    ((plan,),) = plans.values()
    whole = plan.model_dump(mode="json", exclude_none=True)
    whole["stage"]["healing"]["limit"].append(limit("drier", "relative_humidity", "low", 70.0))
    nursery.plans = {plan.id: (CarePlan.model_validate(whole),)}
    running = nursery.anew()
    falling = [95.0 - 0.5 * minute for minute in range(36)]  # below 80 from the 31st minute on
    running.pass_minutes(0, falling)
    with running.db() as db:
        found = {one.condition: one for one in standing_alarms(db) if one.batch == "MG-07"}
    first = minute_of(as_ms(found["air-dry"].since)) - 31
    running.shut()
    dry = found["air-dry"].particulars
    assert dry.change == pytest.approx(-0.5 * 20, abs=0.01)
    assert (dry.graver, dry.graver_minute) == (70.0, pytest.approx(first + 50, abs=1))
    assert dry.hours_low < dry.hours < dry.hours_high
    # The heat to come and the days' sums begin no trend; what is reckoned looks ahead already.
    assert found["reserve"].particulars.change is None


def test_many_limits_of_one_batch_are_looked_up_together(watched):
    state = state_with()
    events = [
        opened("air-dry", value=70.0),
        opened("reserve", value=1.0),
        opened("gone", value=1.0),
    ]
    found = particulars_of(watched, events, before=state, after=state)
    assert list(found) == events
    assert found[events[2]] == NOTHING_BESIDE


def beside_of(watched, event: ConditionOpened, before=None, after=None) -> Particulars:
    after = after or state_with()
    return particulars_of(watched, [event], before=before or after, after=after)[event]


def test_a_day_that_had_too_little_is_looked_up_in_the_state_before(watched):
    yesterday = DoseState("k", 1, DUSK - 1440, 5, 42, begun_late=False, raised=False)
    today = DoseState("k", 2, DUSK, 0, 0, begun_late=False, raised=True)
    before, after = (
        state_with(doses={"dry-hours": yesterday}),
        state_with(doses={"dry-hours": today}),
    )
    event = opened("dry-hours", value=1.0, since=DUSK - 1440)
    assert beside_of(watched, event, before, after).unseen_min == 42


def test_a_sum_of_what_is_reckoned_says_so(watched):
    event = opened("pull-sum", value=100.0)
    state = state_with()
    assert beside_of(watched, event, after=state) == Particulars(reckoned=True)


def cover_seen(slope_c: float) -> CoverRecord:
    """Return two days of half hours on a straight line through light."""
    first = DUSK - 2 * 1440 - 600
    spans = [
        (first + day * 1440 + 30 * place, 20 * place + 10, round(100 * slope_c * (20 * place + 10)))
        for day in range(2)
        for place in range(20)
    ]
    return CoverRecord(spans=tuple(spans))


PEAK = ExpectedPeak(DUSK, DUSK + 1140, low=3710, central=3950, high=4200, beyond_record=False)


def test_heat_to_expect_says_when_and_what_shade_it_takes(watched):
    house = HouseHours(last=(2800,) * 24, before=(2800,) * 24)
    reckoned = Reckoned(cover=CoverWatch(record=cover_seen(0.05), house=house, peak=PEAK))
    state = state_with(reckoned=reckoned)
    beside = beside_of(watched, opened("peak", value=39.5), after=state)
    assert (beside.reckoned, beside.low, beside.high) == (True, 37.1, 42.0)
    assert beside.at_minute == DUSK + 1140
    assert beside.shade_by_minute is not None
    assert DUSK + 600 < beside.shade_by_minute < DUSK + 1140
    assert beside.stop_share is not None
    assert 0.0 < beside.stop_share < 1.0
    assert not beside.no_shade_helps


def test_a_house_that_is_too_warm_itself_says_that_no_shade_helps(watched):
    house = HouseHours(last=(3900,) * 24, before=(3900,) * 24)
    state = state_with(
        reckoned=Reckoned(cover=CoverWatch(record=cover_seen(0.05), house=house, peak=PEAK))
    )
    beside = beside_of(watched, opened("peak", value=39.5), after=state)
    assert beside.no_shade_helps
    assert beside.stop_share is None


def test_a_record_that_has_become_too_thin_tells_the_peak_alone(watched):
    state = state_with(reckoned=Reckoned(cover=CoverWatch(peak=PEAK)))
    beside = beside_of(watched, opened("peak", value=39.5), after=state)
    assert beside == Particulars(reckoned=True, low=37.1, high=42.0, at_minute=DUSK + 1140)


@pytest.mark.parametrize("condition", ["blind.relative_humidity", "gone"])
def test_blindness_has_nothing_beside_it(watched, condition: str):
    state = state_with()
    event = opened(condition, value=1.0)
    assert beside_of(watched, event, after=state) == NOTHING_BESIDE
    strange = replace(event, batch="XX-1")
    assert beside_of(watched, strange, after=state) == NOTHING_BESIDE


def test_particulars_come_back_as_they_were_written():
    beside = Particulars(True, 1.25, 2.5, 10, 20, 0.3, True, 7, True)
    assert Particulars.from_json(beside.to_json()) == beside
    assert NOTHING_BESIDE.to_json() == "{}"
    assert Particulars.from_json(None) == NOTHING_BESIDE
