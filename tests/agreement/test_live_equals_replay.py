"""What the night watch says cell by cell is what a replay says all at once, to the cell."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from rules.cells import cell_in, minutes_of
from rules.doubt import Flag, QualityTest
from rules.evaluator import EvaluatorState, carry_on, outlook, step, sweep, watchlist
from rules.model.event import ConditionClosed, ConditionOpened, Standing, StandingChanged
from rules.model.quantities import RECKONED
from rules.standing import standing_at

GIVEN = given(data=st.data())
# Cases are cheap and the corners many: a hundred more than the profile asks of other tests.
UNHURRIED = settings(
    max_examples=2 * settings.default.max_examples,
    deadline=None,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.function_scoped_fixture,
    ],
)


def fold(watched, state, block):
    """Live: one cell after another, the state kept as text in between as over a restart."""
    events = []
    seen = []
    for minute in range(block.first_minute, block.first_minute + len(block.means)):
        state = EvaluatorState.from_json(state.to_json())
        state, said = step(watched, state, cell_in(block, minute))
        events.extend(said)
        seen.append(outlook(watched, state, minute))
    return state, tuple(events), seen


@GIVEN
@UNHURRIED
def test_a_replay_says_exactly_what_was_said_live(data, drawn_cases):
    case = data.draw(drawn_cases)
    watched = case.watchlist()
    live_state, live_events, _ = fold(watched, case.start(), case.block)
    state, events, _ = sweep(watched, case.start(), case.block)
    assert events == live_events
    assert state == live_state
    assert state.to_json() == live_state.to_json()
    assert carry_on(watched, case.start(), case.block) == (live_state, live_events)
    for kind in (ConditionOpened, ConditionClosed):
        if any(isinstance(one, kind) for one in events):
            event(kind.__name__)
    judged = {
        limit.id: limit.quantity
        for plan in case.plans["leafy"]
        for stage in plan.stage.values()
        for limit in stage.limit
    }
    for one in events:
        if isinstance(one, StandingChanged):
            event(f"standing {one.after}")
        if isinstance(one, ConditionOpened) and judged.get(one.condition) in RECKONED:
            event(f"opened {judged[one.condition]}")
        if isinstance(one, ConditionOpened) and one.condition.startswith("dose-"):
            event("opened a dose")
    for memory in state.quality.values():
        if memory.said_flag == Flag.FAIL:
            event(f"failed by {QualityTest(memory.said_test).name}")


@GIVEN
@UNHURRIED
def test_a_replay_cut_anywhere_goes_on_as_if_it_had_not_been(data, drawn_cases):
    case = data.draw(drawn_cases)
    watched = case.watchlist()
    whole_state, whole_events, whole = sweep(watched, case.start(), case.block)
    early, early_events, _ = sweep(watched, case.start(), minutes_of(case.block, 0, case.cut))
    late, late_events, rest = sweep(
        watched,
        EvaluatorState.from_json(early.to_json()),
        minutes_of(case.block, case.cut, len(case.block.means)),
    )
    assert early_events + late_events == whole_events
    assert late == whole_state
    for code, record in rest.batches.items():
        cut = whole.batches[code].standing[case.cut :]
        assert record.standing.tolist() == cut.tolist()


@GIVEN
@UNHURRIED
def test_a_batch_drifts_in_a_cut_replay_exactly_when_it_drifted_live(data, calm_cases):
    case = data.draw(calm_cases)
    watched = case.watchlist()
    live_state, live_events, _ = fold(watched, case.start(), case.block)
    early, early_events, _ = sweep(watched, case.start(), minutes_of(case.block, 0, case.cut))
    late, late_events = carry_on(
        watched, early, minutes_of(case.block, case.cut, len(case.block.means))
    )
    assert early_events + late_events == live_events
    assert late == live_state
    if any(isinstance(e, StandingChanged) and e.after is Standing.DRIFTING for e in live_events):
        event("drifts")


@GIVEN
@UNHURRIED
def test_the_page_shows_at_each_minute_what_the_chart_draws_there(data, drawn_cases):
    case = data.draw(drawn_cases)
    watched = case.watchlist()
    live_state, _, pages = fold(watched, case.start(), case.block)
    _, _, record = sweep(watched, case.start(), case.block)
    for row, page in enumerate(pages):
        for shown in page:
            drawn = record.batches[shown.code]
            assert shown.standing is standing_at(int(drawn.standing[row]))
            margins = [judged.margin for judged in shown.judged if judged.margin is not None]
            if margins:
                assert drawn.margin[row] == min(margins)
                smallest = shown.judged[[j.margin for j in shown.judged].index(min(margins))]
                assert drawn.limits[drawn.limit[row]] == smallest.limit
            else:
                assert np.isnan(drawn.margin[row])
                assert drawn.limit[row] == -1
            for felt, now in shown.felt.items():
                value = drawn.felt[felt][row]
                assert np.isnan(value) if now.value is None else value == now.value
            for one in shown.doses:
                assert drawn.doses[one.dose.id][row] == one.total
            if shown.drying is not None:
                band = shown.drying.reserve_pct
                assert drawn.reserve_pct.central[row] == np.float32(band.central)
                assert band.low <= band.central <= band.high
    # What is shown for the last cell is what the state carries.
    if pages:
        for shown in pages[-1]:
            assert shown.standing is live_state.batches[shown.code].standing


@GIVEN
@UNHURRIED
def test_nothing_stays_open_when_a_batch_leaves_the_site_file(data, drawn_cases):
    case = data.draw(drawn_cases)
    watched = case.watchlist()
    before, early, _ = sweep(watched, case.start(), minutes_of(case.block, 0, case.cut))
    rest = minutes_of(case.block, case.cut, len(case.block.means))
    fewer = case.site.model_copy(update={"batch": case.site.batch[1:]})
    left = watchlist(fewer, case.plans, figures=case.figures)
    live_state, live_events, _ = fold(left, before, rest)
    state, events, _ = sweep(left, before, rest)
    assert events == live_events
    assert state == live_state
    if len(rest.means):
        assert still_open([*early, *events], "b-0") == set()


@GIVEN
@UNHURRIED
def test_every_condition_opens_before_it_closes_and_a_batch_without_sight_is_never_steady(
    data, drawn_cases
):
    case = data.draw(drawn_cases)
    watched = case.watchlist()
    opened: set[tuple[str, str]] = set()
    state = case.start()
    for minute in range(case.block.first_minute, case.block.first_minute + len(case.block.means)):
        state, said = step(watched, state, cell_in(case.block, minute))
        for one in said:
            if isinstance(one, ConditionOpened):
                assert (one.batch, one.condition) not in opened
                assert one.since_minute <= one.minute == minute
                opened.add((one.batch, one.condition))
            if isinstance(one, ConditionClosed):
                opened.remove((one.batch, one.condition))
        for shown in outlook(watched, state, minute):
            if shown.blind_to:
                assert shown.standing in {Standing.BLIND, Standing.IN_DANGER}
            raised = {j.limit.id for j in shown.judged if j.raised}
            raised |= {one.dose.id for one in shown.doses if one.raised}
            told = {name for code, name in opened if code == shown.code}
            assert raised == {name for name in told if not name.startswith("blind.")}


def still_open(events, code):
    opened: set[str] = set()
    for one in events:
        if one.batch == code and isinstance(one, ConditionOpened):
            opened.add(one.condition)
        if one.batch == code and isinstance(one, ConditionClosed):
            opened.discard(one.condition)
    return opened
