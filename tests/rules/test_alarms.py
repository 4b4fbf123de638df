"""The states an alarm goes through, as the standard draws them."""

from __future__ import annotations

import pytest

from rules.alarms import TRANSITIONS, Circumstances, CueOutOfPlaceError, after
from rules.model.alarm import BY_PERSON, HELD, AlarmState, Cue

S = AlarmState
STANDARD = "ANSI/ISA-18.2-2016 / IEC 62682:2014, alarm state transitions (secondary summaries)"
TRUE = Circumstances(active=True, latching=True)
OVER = Circumstances(active=False, latching=True)
OVER_UNLATCHED = Circumstances(active=False, latching=False)
OPEN_STATES = (S.NORMAL, S.UNACKNOWLEDGED, S.ACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED)


@pytest.mark.published(STANDARD)
@pytest.mark.parametrize(
    ("cues", "states"),
    [
        (
            (Cue.RAISED, Cue.ACKNOWLEDGED, Cue.CLEARED),
            (S.UNACKNOWLEDGED, S.ACKNOWLEDGED, S.NORMAL),
        ),
        (
            (Cue.RAISED, Cue.CLEARED, Cue.ACKNOWLEDGED),
            (S.UNACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED, S.NORMAL),
        ),
        (
            (Cue.RAISED, Cue.CLEARED, Cue.RAISED),
            (S.UNACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED, S.UNACKNOWLEDGED),
        ),
    ],
    ids=["acknowledged, then over", "over before anyone saw it", "over and back unseen"],
)
def test_an_alarm_goes_the_way_the_standard_draws(cues, states):
    state, path = S.NORMAL, []
    for cue in cues:
        state = after(state, cue)
        path.append(state)
    assert tuple(path) == states


@pytest.mark.published(f"{STANDARD}: unacknowledged and over may go to normal without a person")
def test_an_alarm_that_does_not_latch_is_normal_once_it_is_over():
    assert after(S.UNACKNOWLEDGED, Cue.CLEARED, OVER_UNLATCHED) is S.NORMAL
    assert after(S.UNACKNOWLEDGED, Cue.CLEARED, OVER) is S.RETURNED_UNACKNOWLEDGED


@pytest.mark.published(f"{STANDARD}: each of the four leads to each of the three that hold")
@pytest.mark.parametrize("start", OPEN_STATES)
@pytest.mark.parametrize(
    ("cue", "held"),
    [
        (Cue.SHELVED, S.SHELVED),
        (Cue.SUPPRESSED, S.SUPPRESSED_BY_DESIGN),
        (Cue.TAKEN_OUT, S.OUT_OF_SERVICE),
    ],
)
def test_every_alarm_can_be_held_in_each_of_three_ways(start, cue, held):
    assert after(start, cue) is held


@pytest.mark.published(f"{STANDARD}: let go, an alarm is as its condition is")
@pytest.mark.parametrize(
    ("held", "cue"),
    [
        (S.SHELVED, Cue.UNSHELVED),
        (S.SHELVED, Cue.SHELF_RAN_OUT),
        (S.SUPPRESSED_BY_DESIGN, Cue.SUPPRESSION_ENDED),
        (S.OUT_OF_SERVICE, Cue.PUT_BACK),
    ],
)
def test_what_is_let_go_alarms_again_if_it_is_still_true(held, cue):
    assert after(held, cue, TRUE) is S.UNACKNOWLEDGED
    assert after(held, cue, OVER) is S.NORMAL
    missed = Circumstances(active=False, latching=True, unseen=True)
    assert after(held, cue, missed) is S.RETURNED_UNACKNOWLEDGED
    unlatched = Circumstances(active=False, latching=False, unseen=True)
    assert after(held, cue, unlatched) is S.NORMAL


@pytest.mark.parametrize("held", sorted(HELD))
def test_what_happens_while_an_alarm_is_held_is_kept_and_moves_nothing(held):
    assert after(held, Cue.RAISED, TRUE) is held
    assert after(held, Cue.CLEARED, OVER) is held
    assert (held, Cue.ACKNOWLEDGED) not in TRANSITIONS


def test_one_way_of_holding_ends_only_by_its_own_cue():
    out = {
        held: {cue for (state, cue), _ in TRANSITIONS.items() if state is held}
        - {Cue.RAISED, Cue.CLEARED, Cue.TAKEN_OUT}
        for held in HELD
    }
    assert out == {
        S.SHELVED: {Cue.UNSHELVED, Cue.SHELF_RAN_OUT},
        S.SUPPRESSED_BY_DESIGN: {Cue.SUPPRESSION_ENDED},
        S.OUT_OF_SERVICE: {Cue.PUT_BACK},
    }


@pytest.mark.parametrize(
    ("state", "cue"),
    [(state, cue) for state in S for cue in Cue if (state, cue) not in TRANSITIONS],
)
def test_a_cue_that_means_nothing_is_refused_by_name(state, cue):
    with pytest.raises(CueOutOfPlaceError) as refused:
        after(state, cue)
    assert (refused.value.state, refused.value.cue) == (state, cue)
    assert state.value in str(refused.value)


def test_no_latching_alarm_leaves_the_unseen_without_a_person_or_a_rule_that_says_so():
    unseen = {S.UNACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED}
    seen = {S.ACKNOWLEDGED, S.NORMAL}
    crossings = {
        cue
        for state, cue in TRANSITIONS
        if state in unseen and after(state, cue, OVER if cue is Cue.CLEARED else TRUE) in seen
    }
    assert crossings == {Cue.ACKNOWLEDGED}
    held = {cue for state, cue in TRANSITIONS if state in unseen and after(state, cue) in HELD}
    assert held - BY_PERSON == {Cue.SUPPRESSED}
