"""Why a value is missing and what speaks against one, as the page of a batch is to say it."""

from __future__ import annotations

import pytest

from rules.belief import Missing
from rules.cells import MICRO, Cell
from rules.doubt import Figures, QualityTest
from rules.evaluator import EvaluatorState, outlook, start, step, watchlist
from rules.model.quantities import Felt

DAMP, AIR = Felt.RELATIVE_HUMIDITY, Felt.AIR_TEMPERATURE


@pytest.fixture
def told(night):
    """What the batch's page says of a quantity, at the last judged minute."""
    return lambda felt=DAMP: night.now().belief_in(felt)


def test_a_probe_that_speaks_is_believed(night, told):
    night.bag(3)
    assert told().missing is None
    assert told().suspect is None
    assert told().failed is None


def test_a_probe_that_never_spoke_is_told_from_one_that_fell_silent(night, told):
    night.silence(3)
    assert told().missing is Missing.NEVER_SPOKE
    night.bag().silence(5)
    assert told().missing is None
    night.silence()
    assert told().missing is Missing.SILENT


def test_a_wild_word_is_held_out_while_the_last_good_one_speaks_on(night, told):
    night.bag(3, temperature=26.0).bag(1, temperature=50.0)
    assert night.now().felt[AIR].value == 26.0
    assert told(AIR).missing is None
    assert told(AIR).failed is QualityTest.SPIKE
    night.bag(1, temperature=26.0)
    assert told(AIR).failed is None


def test_a_probe_that_speaks_but_is_not_believed_is_said_to_be_so(night, told):
    night.watched = watchlist(night.site, night.plans, figures=Figures(stuck_min=3))
    night.bag(4)
    assert told(AIR).failed is QualityTest.STUCK
    assert told(AIR).missing is None
    night.bag(6)
    assert night.now().felt[AIR].value is None
    assert told(AIR).missing is Missing.NOT_BELIEVED
    assert told(AIR).failed is QualityTest.STUCK
    night.silence(6)
    assert told(AIR).missing is Missing.SILENT
    assert told(AIR).failed is None


def test_a_probe_of_which_nothing_can_be_believed_is_told_from_silence(night, told):
    night.silence()
    cell = Cell(night.minute, {}, frozenset({"bag-07/relative_humidity"}))
    night.state, _ = step(night.watched, night.state, cell)
    night.minute += 1
    assert told().missing is Missing.NOT_BELIEVED
    assert told().failed is QualityTest.RANGE


def test_a_suspect_word_is_used_and_told(night, told):
    night.bag(3, humidity=99.0).bag(1, humidity=60.0)
    assert night.now().felt[DAMP].value == 60.0
    assert told().suspect is QualityTest.STEP
    assert told().missing is None


def test_the_deficit_is_as_doubtful_as_the_worse_of_its_two(night, told):
    night.bag(3, humidity=99.0).bag(1, humidity=60.0)
    assert told(Felt.VAPOUR_PRESSURE_DEFICIT).suspect is QualityTest.STEP


def test_a_quantity_that_no_sensor_measures_is_not_in_the_file(night, told):
    night.bag()
    assert told(Felt.PPFD).missing is Missing.NOT_IN_FILE


def test_what_a_probe_said_in_another_bag_says_nothing_of_this_one(make):
    moved = "2026-05-04T13:05:00Z"
    stood = [
        {"since": "2026-05-01T00:00:00Z", "until": moved, "bench": "bench-3"},
        {"since": moved, "cover_of": "MG-07"},
    ]
    site = make.site(sensor=[make.sensor(position=stood)])
    stage = {"vital": ["relative_humidity"]}
    told = make.night(site, make.plan(healing=stage))
    told.bag(5).silence(1)
    assert told.now().belief_in(DAMP).missing is Missing.NEVER_SPOKE


def test_an_expired_check_is_told_and_a_new_one_clears_it(make):
    probe = make.sensor()
    damp = next(one for one in probe["channel"] if one["id"] == "relative_humidity")
    damp["calibration"] = [
        {
            "since": "2026-05-01T00:00:00Z",
            "expires": "2026-05-04T13:02:00Z",
            "offset": 0.0,
        },
        {"since": "2026-05-04T13:04:00Z", "offset": 0.0},
    ]
    stage = {"vital": ["relative_humidity"]}
    told = make.night(make.site(sensor=[probe]), make.plan(healing=stage))
    seen = [told.bag().now().belief_in(DAMP).out_of_calibration for _ in range(6)]
    assert seen == [False, False, True, True, False, False]
    assert not told.now().belief_in(AIR).out_of_calibration


def test_the_deficit_is_out_of_calibration_with_either_of_its_two(make):
    expired = [{"since": "2026-05-01T00:00:00Z", "expires": "2026-05-02T00:00:00Z", "offset": 0.0}]
    for quantity in ("air_temperature", "relative_humidity"):
        probe = make.sensor()
        next(one for one in probe["channel"] if one["id"] == quantity)["calibration"] = expired
        stage = {"vital": ["relative_humidity"]}
        told = make.night(make.site(sensor=[probe]), make.plan(healing=stage))
        seen = told.bag().now()
        assert seen.belief_in(Felt.VAPOUR_PRESSURE_DEFICIT).out_of_calibration
        assert seen.belief_in(Felt(quantity)).out_of_calibration


def test_a_state_of_before_the_quality_tests_is_read_and_goes_on(night):
    night.bag(3)
    text = night.state.to_json()
    before = text[: text.index(',"quality"')] + "}"
    state = EvaluatorState.from_json(before)
    assert state.quality == {}
    shown = outlook(night.watched, state, night.minute - 1)
    assert shown[0].felt[DAMP].value == 95.0
    after, _ = step(night.watched, state, Cell(night.minute, {"bag-07/air_temperature": MICRO}))
    assert set(after.quality) == {"bag-07/air_temperature"}


def test_the_state_carries_only_channels_that_spoke_and_stand_in_the_file(night, make):
    night.bag(3)
    assert set(night.state.quality) == {"bag-07/air_temperature", "bag-07/relative_humidity"}
    fewer = make.site(sensor=[make.sensor(quantities=("air_temperature",))])
    watched = watchlist(fewer, night.plans)
    after, _ = step(watched, night.state, Cell(night.minute, {}))
    assert set(after.quality) == {"bag-07/air_temperature"}
    assert start(watched).quality == {}
