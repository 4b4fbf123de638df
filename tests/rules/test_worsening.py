"""How fast it gets worse: what a night hand is told of the change and of the time that is left.

The spans (twenty minutes, an hour on) are house rules, no source; the expected values are worked
out from the straight line that the probe was told to follow.
"""

from __future__ import annotations

from datetime import timedelta

import pytest

from rules.model.dose import DoseLimit
from rules.model.event import ConditionOpened
from rules.outlook import outlook
from rules.worsening import CHANGE_MIN, Worsening, dries, worsening

WORDS = {"en": "said", "es": "dicho"}


@pytest.fixture
def falling(make):
    """Return a night in a bag with two limits on dry air, one on heat and one on cold."""

    def told(drying=None, **graver):
        limits = [
            make.limit("dry", "relative_humidity", "low", 80.0, priority="medium"),
            make.limit("very-dry", "relative_humidity", "low", 70.0, **graver),
            make.limit("hot", "air_temperature", "high", 38.0),
            make.limit("cold", "air_temperature", "low", 12.0),
        ]
        return make.night(make.site(), make.plan(drying, healing={"vital": [], "limit": limits}))

    return told


def pace(night, name: str = "dry") -> Worsening:
    (batch,) = night.watched.batches
    minute = night.minute - 1
    watch = batch.watch_in(batch.span_at(minute))
    asked = next(one for one in watch.limits if one.id == name)
    (seen,) = outlook(night.watched, night.state, minute)
    return worsening(batch, asked, night.state.batches[batch.code], seen, minute=minute)


def test_air_that_dries_evenly_is_told_by_how_much_and_when_it_is_very_dry(falling):
    night = falling()
    for minute in range(45):  # 0.4 % a minute, from 95 %
        night.bag(1, humidity=95.0 - 0.4 * minute)
    (opened,) = [one for one in night.events if isinstance(one, ConditionOpened)]
    told = pace(night)
    assert told.change == pytest.approx(-0.4 * CHANGE_MIN, abs=0.01)
    assert told.graver == 70.0
    very_dry = night.first + (95.0 - 70.0) / 0.4
    assert told.graver_minute == pytest.approx(very_dry, abs=1)
    assert opened.condition == "dry"
    assert told.hours is None  # the plan does not say how the scion dries


def test_air_that_leaves_faster_and_faster_is_told_by_its_latest_pace(falling):
    night = falling().bag(30, humidity=95.0)
    for minute in range(10):  # 1.5 % a minute, for ten minutes now: 80 %
        night.bag(1, humidity=95.0 - 1.5 * (minute + 1))
    told = pace(night)
    # Means of ten minutes: the last one lies 1.5 × 5.5 below the one before.
    assert told.change == pytest.approx(-8.25, abs=0.01)
    very_dry = night.first + 30 + (95.0 - 70.0) / 1.5 - 1
    assert told.graver_minute == pytest.approx(very_dry, abs=1)


def test_a_graver_limit_that_is_more_than_an_hour_away_is_not_foretold(falling):
    night = falling()
    for minute in range(156):  # 0.1 % a minute: 70 % a hundred minutes after 80 %
        night.bag(1, humidity=95.0 - 0.1 * minute)
    told = pace(night)
    assert told.change == pytest.approx(-2.0, abs=0.01)
    assert (told.graver, told.graver_minute) == (None, None)


def test_what_comes_back_or_stays_meets_no_graver_limit(falling):
    night = falling().bag(40, humidity=76.0)
    assert pace(night) == Worsening(change=0.0)
    for minute in range(20):
        night.bag(1, humidity=76.0 + 0.1 * minute)
    assert pace(night).change > 0.0
    assert pace(night).graver is None


def test_a_graver_limit_that_is_silent_at_this_hour_is_not_foretold(falling):
    night = falling(when="day")
    for minute in range(40):
        night.bag(1, humidity=95.0 - 0.4 * minute)
    assert night.now().judged[1].speaks is False
    assert pace(night).graver is None


def test_of_a_few_minutes_no_pace_is_told(falling):
    night = falling().bag(24, humidity=70.0)
    assert pace(night) == Worsening()
    assert pace(night.bag(1, humidity=70.0)).change == 0.0


def test_what_a_probe_told_in_another_place_is_no_part_of_the_pace(make):
    dry = make.limit("dry", "relative_humidity", "low", 80.0)
    moved = [
        {"since": "2026-05-01T00:00:00Z", "house": "north"},
        {"since": (make.evening + timedelta(minutes=30)).isoformat(), "cover_of": "MG-07"},
    ]
    site = make.site(sensor=[make.sensor(position=moved)])
    night = make.night(site, make.plan(healing={"vital": [], "limit": [dry]}))
    night.bag(30, humidity=60.0)
    assert pace(night.bag(24, humidity=75.0)) == Worsening()
    assert pace(night.bag(1, humidity=75.0)).change == 0.0


def test_the_hours_of_water_stand_beside_what_dries_a_scion_and_nothing_else(falling):
    night = falling("leafy-bag").bag(40, temperature=30.0, humidity=60.0)
    dry, hot, cold = (pace(night, name).hours for name in ("dry", "hot", "cold"))
    assert dry == hot == night.now().drying.hours
    assert dry.low < dry.central < dry.high
    assert cold is None
    # Drier air takes the water sooner.
    drier = falling("leafy-bag").bag(40, temperature=30.0, humidity=30.0)
    assert pace(drier).hours.central < dry.central


@pytest.mark.parametrize(
    ("dose", "dry"),
    [
        ({"kind": "hours_beyond", "quantity": "relative_humidity", "beyond": "low"}, True),
        ({"kind": "hours_beyond", "quantity": "relative_humidity", "beyond": "high"}, False),
        ({"kind": "hours_beyond", "quantity": "air_temperature", "beyond": "low"}, False),
        ({"kind": "heat_dose", "quantity": "air_temperature"}, True),
        ({"kind": "drying_dose", "quantity": "vapour_pressure_deficit"}, True),
        ({"kind": "direct_sun", "quantity": "ppfd"}, True),
        ({"kind": "light_sum", "quantity": "ppfd"}, False),
    ],
)
def test_of_sums_those_that_dry_a_scion_do(dose, dry):
    figures = {
        "hours_beyond": {"base": 80.0, "bound_h": 2.0},
        "heat_dose": {"base_c": 32.0, "bound_c_h": 6.0},
        "drying_dose": {"base_kpa": 0.3, "bound_kpa_h": 2.0},
        "direct_sun": {"bound_min": 10.0},
        "light_sum": {"bound_mol_m2": 8.0},
    }[dose["kind"]]
    asked = DoseLimit.model_validate(
        {"id": "sum", "priority": "low", "says": WORDS, "action": WORDS, **dose, **figures}
    )
    assert dries(asked) is dry
