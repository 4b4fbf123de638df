"""What the night watch says, in sentences a grower could say."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rules.cells import MICRO, Cell, block_of
from rules.evaluator import EvaluatorState, outlook, start, step, sweep, watchlist
from rules.model.alarm import Priority
from rules.model.event import ConditionOpened, Standing, StandingChanged
from rules.model.plan import CarePlan
from rules.model.quantities import Felt


def test_a_bag_that_dries_overnight_is_told_after_its_delay(night):
    night.bag(10).bag(4, humidity=79.0)
    assert night.opened() == []
    assert night.now().standing is Standing.STRAINED
    night.bag(1, humidity=78.5)
    assert night.opened() == [("air_too_dry", 14, 10)]
    told = next(e for e in night.events if isinstance(e, ConditionOpened))
    assert (told.value, told.priority, told.batch) == (78.5, Priority.HIGH, "MG-07")
    assert night.now().standing is Standing.IN_DANGER


def test_a_value_on_the_bound_is_still_inside(night):
    night.bag(60, humidity=80.0)
    assert night.opened() == []
    assert night.standings() == [Standing.STEADY]


def test_four_dry_minutes_and_a_damp_one_start_the_count_again(night):
    night.bag(4, humidity=79.0).bag(1, humidity=80.0).bag(4, humidity=79.0)
    assert night.opened() == []


def test_a_condition_ends_only_once_the_air_is_back_by_the_deadband(night):
    night.bag(5, humidity=79.0).bag(60, humidity=81.9)
    assert night.closed() == []
    night.bag(2, humidity=82.0).bag(1, humidity=81.9).bag(2, humidity=82.0)
    assert night.closed() == []
    night.bag(1, humidity=82.0)
    assert night.closed() == [("air_too_dry", 70)]
    assert night.now().standing is Standing.STEADY


def test_lost_minutes_neither_count_nor_break_a_dry_row(make):
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0, on_delay_min=12)
    night = make.night(make.site(), make.plan(healing={"vital": [], "limit": [dry]}))
    # Three minutes spoken, five in which the last word still speaks, two lost.
    night.bag(3, humidity=79.0).silence(7)
    assert night.now().standing is Standing.BLIND
    assert night.now().judged[0].since_minute == night.first
    night.bag(3, humidity=79.0)
    assert night.opened() == []
    night.bag(1, humidity=79.0)
    assert night.opened() == [("air_too_dry", 13, 0)]


def test_silence_is_blind_and_never_steady(night):
    night.bag(10).silence(5)
    assert night.now().standing is Standing.STEADY  # the last word still speaks
    night.silence(1)
    assert night.now().standing is Standing.BLIND
    assert night.now().blind_to == (Felt.RELATIVE_HUMIDITY,)
    night.silence(2)
    assert night.opened() == []
    night.silence(200)
    assert night.opened() == [("blind.relative_humidity", 18, 15)]
    assert Standing.STEADY not in night.standings()[1:]


def test_before_the_first_word_a_batch_is_blind(night):
    before = outlook(night.watched, night.state, night.minute)
    assert before[0].standing is Standing.BLIND
    night.silence(1)
    assert night.standings() == [Standing.BLIND]


def test_blindness_ends_after_three_minutes_of_sight(night):
    night.silence(10)
    night.bag(2)
    assert night.closed() == []
    assert night.now().standing is Standing.STEADY
    night.bag(1)
    assert night.closed() == [("blind.relative_humidity", 12)]


def test_danger_outranks_blindness(night):
    night.bag(5, humidity=70.0).silence(60)
    assert night.now().standing is Standing.IN_DANGER
    assert [name for name, _, _ in night.opened()] == ["air_too_dry", "blind.relative_humidity"]
    assert night.closed() == []


def test_a_page_ages_what_it_shows_even_when_nobody_judges_any_more(night):
    night.bag(10)
    last = night.minute - 1
    assert outlook(night.watched, night.state, last + 5)[0].standing is Standing.STEADY
    later = outlook(night.watched, night.state, last + 6)[0]
    assert later.standing is Standing.BLIND
    assert later.felt[Felt.RELATIVE_HUMIDITY].value is None
    assert later.felt[Felt.RELATIVE_HUMIDITY].age_min == 6
    with pytest.raises(ValueError, match="before the last judged cell"):
        outlook(night.watched, night.state, last - 1)


def test_a_plan_that_names_nothing_vital_still_sees_silence(make):
    stage = {"vital": [], "limit": [make.limit("hot", "air_temperature", "high", 38.0)]}
    night = make.night(make.site(), make.plan(healing=stage)).silence(30)
    assert night.standings() == [Standing.BLIND]
    assert [name for name, _, _ in night.opened()] == ["blind.air_temperature"]


def test_a_medium_limit_strains_and_never_endangers(make):
    limit = make.limit("hot", "air_temperature", "high", 32.0, priority="medium")
    night = make.night(make.site(), make.plan(healing={"vital": [], "limit": [limit]}))
    night.bag(3).bag(30, temperature=33.0)
    assert night.standings() == [Standing.STEADY, Standing.STRAINED]
    assert night.opened() == [("hot", 7, 3)]


def test_air_that_dries_steadily_drifts_before_it_is_too_dry(night):
    for minute in range(60):
        night.bag(1, humidity=96.0 - 0.2 * minute)
    assert night.standings() == [Standing.STEADY, Standing.DRIFTING]
    assert night.opened() == []
    heading = night.now().heading
    # The mean of the last ten cells is 85.1 %, falling 0.2 a minute: (85.1 - 80) / 0.2.
    assert heading == (("air_too_dry", 26),)


def test_air_that_comes_back_does_not_drift(night):
    night.bag(40, humidity=78.0)
    for minute in range(60):
        night.bag(1, humidity=min(96.0, 80.0 + 0.5 * minute))
    assert Standing.DRIFTING not in night.standings()


def test_clouds_do_not_make_a_batch_drift(make):
    limit = make.limit("too_bright", "ppfd", "high", 600.0, deadband=50.0)
    site = make.site(sensor=[make.sensor("par", ("ppfd",), bench="bench-2")])
    night = make.night(site, make.plan(healing={"vital": [], "limit": [limit]}), make.morning)
    for minute in range(60):
        night.tell(par__ppfd=100.0 + 7.0 * minute)
    assert night.standings() == [Standing.STEADY]


def test_a_limit_of_the_day_says_nothing_at_night_and_ends_after_dusk(make):
    limit = make.limit("too_bright", "ppfd", "high", 300.0, when="day", deadband=10.0)
    site = make.site(sensor=[make.sensor("par", ("ppfd",), bench="bench-2")])
    plans = make.plan(healing={"vital": [], "limit": [limit]})
    lamp_at_night = make.night(site, plans).tell(60, par__ppfd=900.0)
    assert lamp_at_night.opened() == []
    assert lamp_at_night.now().judged[0].speaks is False
    assert lamp_at_night.now().judged[0].margin is None

    dusk = make.night(site, plans, make.evening - timedelta(hours=2)).tell(120, par__ppfd=900.0)
    assert [name for name, _, _ in dusk.opened()] == ["too_bright"]
    ((_, minute),) = dusk.closed()
    # The sun sets at about 18:37 at this place; the off-delay is three cells.
    assert 36 <= minute <= 42


def test_the_deficit_is_worked_out_from_temperature_and_humidity(make):
    limit = make.limit("pull", "vapour_pressure_deficit", "high", 0.6, deadband=0.1)
    night = make.night(make.site(), make.plan(healing={"vital": [], "limit": [limit]}))
    night.bag(1, temperature=30.0, humidity=95.0)
    felt = night.now().felt[Felt.VAPOUR_PRESSURE_DEFICIT]
    assert felt.value == pytest.approx(0.2122, abs=0.0001)
    assert felt.channel == "bag-07/relative_humidity"
    night.bag(5, temperature=30.0, humidity=80.0)
    assert [name for name, _, _ in night.opened()] == ["pull"]


def test_air_too_cold_for_the_equation_leaves_the_deficit_unknown(make):
    limit = make.limit("pull", "vapour_pressure_deficit", "high", 0.6)
    night = make.night(make.site(), make.plan(healing={"vital": [], "limit": [limit]}))
    night.bag(3, temperature=-25.0)
    assert night.now().standing is Standing.BLIND


def test_a_stage_move_closes_what_was_open_and_starts_afresh(make):
    move = make.evening + timedelta(minutes=20)
    stages = [
        {"stage": "healing", "since": "2026-05-01T00:00:00Z", "because": "grafted"},
        {"stage": "easing", "since": move, "because": "new growth seen"},
    ]
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    plans = make.plan(
        healing={"vital": ["relative_humidity"], "limit": [dry]},
        easing={"vital": ["relative_humidity"], "limit": [{**dry, "bound": 75.0}]},
    )
    night = make.night(make.site(batch=[make.batch(stage=stages)]), plans)
    night.bag(40, humidity=70.0)
    assert night.opened() == [("air_too_dry", 4, 0), ("air_too_dry", 24, 20)]
    assert night.closed() == [("air_too_dry", 20)]


def edited(plans, at, **healing):
    """Return a plan with a second version in which some of the stage is otherwise."""
    (first,) = plans["leafy"]
    stage = {"healing": first.stage["healing"].model_dump() | healing}
    later = {"version": 2, "in_force_from": at, "stage": stage}
    return {"leafy": (first, CarePlan.model_validate(first.model_dump() | later))}


def test_a_new_version_ends_no_alarm_of_a_limit_that_it_leaves_as_it_was(make):
    """Its delay goes on as well: who edits one limit at night must not silence another."""
    change = make.evening + timedelta(minutes=20)
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    slow = {**dry, "id": "dry_for_long", "on_delay_min": 25}
    other = {**dry, "id": "air_dry", "bound": 85.0}
    stage = {"vital": ["relative_humidity"], "limit": [dry, other, slow]}
    plans = edited(make.plan(healing=stage), change, limit=[dry, {**other, "bound": 90.0}, slow])
    night = make.night(make.site(), plans)
    night.bag(40, humidity=70.0)
    assert night.opened() == [
        ("air_too_dry", 4, 0), ("air_dry", 4, 0), ("air_dry", 24, 20), ("dry_for_long", 24, 0)
    ]  # fmt: skip
    assert night.closed() == [("air_dry", 20)]


def test_a_new_version_of_the_words_alone_closes_nothing_and_forgets_no_trend(make):
    change = make.evening + timedelta(minutes=20)
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    plans = make.plan(healing={"vital": ["relative_humidity"], "limit": [dry]})
    mended = {**dry, "says": {"en": "too dry", "es": "muy seco"}}
    night = make.night(make.site(), edited(plans, change, limit=[mended]))
    night.bag(40, humidity=70.0)
    assert night.opened() == [("air_too_dry", 4, 0)]
    assert night.closed() == []


@pytest.mark.parametrize(
    "changed", [{"priority": "medium"}, {"on_delay_min": 6}, {"deadband": 5.0}, {"id": "renamed"}]
)
def test_a_limit_with_any_other_figure_starts_afresh(make, changed):
    change = make.evening + timedelta(minutes=20)
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    plans = make.plan(healing={"vital": ["relative_humidity"], "limit": [dry]})
    night = make.night(make.site(), edited(plans, change, limit=[{**dry, **changed}]))
    night.bag(40, humidity=70.0)
    assert night.closed() == [("air_too_dry", 20)]
    assert len(night.opened()) == 2


def test_blindness_goes_on_through_a_new_version_that_leaves_it_as_it_was(make):
    change = make.evening + timedelta(minutes=40)
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    plans = make.plan(healing={"vital": ["relative_humidity"], "limit": [dry]})
    plans = edited(plans, change, limit=[{**dry, "bound": 75.0}])
    night = make.night(make.site(), plans)
    night.bag(1, humidity=95.0).tell(60)
    (opened,) = night.opened()
    assert opened[0] == "blind.relative_humidity"
    assert opened[1] < 40
    assert night.closed() == []


def test_a_page_opened_just_after_a_stage_move_shows_nothing_of_the_old_stage(make):
    move = make.evening + timedelta(minutes=20)
    stages = [
        {"stage": "healing", "since": "2026-05-01T00:00:00Z", "because": "grafted"},
        {"stage": "easing", "since": move, "because": "new growth seen"},
    ]
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    looser = {**dry, "bound": 65.0}
    plans = make.plan(
        healing={"vital": ["relative_humidity"], "limit": [dry]},
        easing={"vital": ["relative_humidity"], "limit": [looser]},
    )
    night = make.night(make.site(batch=[make.batch(stage=stages)]), plans)
    night.bag(20, humidity=70.0)
    assert night.now().standing is Standing.IN_DANGER
    (next_minute,) = outlook(night.watched, night.state, night.minute)
    assert (next_minute.stage, next_minute.standing) == ("easing", Standing.STEADY)
    assert [judged.raised for judged in next_minute.judged] == [False]


def test_a_batch_that_is_closed_is_watched_no_longer_and_that_is_said(make):
    closed = make.evening + timedelta(minutes=10)
    stages = [
        {"stage": "healing", "since": "2026-05-01T00:00:00Z", "because": "grafted"},
        {"stage": "closed", "since": closed, "because": "sold"},
    ]
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    plans = make.plan(healing={"vital": [], "limit": [dry]})
    night = make.night(make.site(batch=[make.batch(stage=stages)]), plans)
    night.bag(12, humidity=70.0)
    assert night.closed() == [("air_too_dry", 10)]
    assert night.standings()[-1] is None
    assert night.now().standing is None


def test_a_stage_without_limits_is_unwatched_not_steady(make):
    night = make.night(make.site(), make.plan(easing={"vital": [], "limit": []}))
    night.bag(10)
    assert night.events == []
    assert night.now().standing is None


def test_an_edited_figure_starts_afresh_and_mended_words_do_not(night, make):
    night.bag(6, humidity=70.0)
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    stage = {"vital": ["relative_humidity"], "blind_after_min": 4}
    words = {"en": "other words", "es": "otras palabras"}
    cell = Cell(night.minute, {"bag-07/relative_humidity": 70 * MICRO})

    mended = watchlist(night.site, make.plan(healing={**stage, "limit": [{**dry, "says": words}]}))
    state, said = step(mended, night.state, cell)
    assert said == ()
    assert state.batches["MG-07"].conditions["air_too_dry"].raised

    edited = watchlist(night.site, make.plan(healing={**stage, "limit": [{**dry, "bound": 79.0}]}))
    state, said = step(edited, night.state, cell)
    assert [type(e).__name__ for e in said] == ["ConditionClosed", "StandingChanged"]
    assert not state.batches["MG-07"].conditions["air_too_dry"].raised


def test_margins_run_from_comfort_to_the_bound_and_beyond(night):
    night.bag(1, humidity=95.0)
    assert night.now().judged[0].margin == 1.0
    night.bag(1, humidity=85.0)
    assert night.now().judged[0].margin == 0.5
    night.bag(1, humidity=80.0)
    assert night.now().judged[0].margin == 0.0
    night.bag(1, humidity=75.0)
    assert night.now().judged[0].margin == -0.5


def test_no_minute_may_be_left_out(night):
    night.bag(3)
    with pytest.raises(ValueError, match="is 29"):
        step(night.watched, night.state, Cell(night.minute + 1, {}))


def test_a_state_that_is_not_one_is_refused():
    with pytest.raises(ValueError, match="EvaluatorState"):
        EvaluatorState.from_json('{"minute": "soon"}')


def test_a_batch_whose_plan_is_missing_is_named(make):
    with pytest.raises(LookupError, match="MG-07: there is no care plan leafy"):
        watchlist(make.site(), {})


def test_an_empty_block_changes_nothing(night):
    state = start(night.watched)
    block = block_of(night.site, night.minute, 0, [])
    after, events, record = sweep(night.watched, state, block)
    assert (after, events, record.minutes) == (state, (), 0)


def test_the_first_standing_of_a_batch_has_none_before_it(night):
    night.bag(1)
    (first,) = [e for e in night.events if isinstance(e, StandingChanged)]
    assert (first.before, first.after) == (None, Standing.STEADY)
