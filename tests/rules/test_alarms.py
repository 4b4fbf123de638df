"""The states an alarm goes through, as the standard draws them."""

from __future__ import annotations

import pytest

from rules.alarms import TRANSITIONS, CueOutOfPlaceError, after
from rules.model.alarm import AlarmState as S
from rules.model.alarm import Cue

STANDARD = "ANSI/ISA-18.2-2016 / IEC 62682:2014, alarm state transitions (secondary summaries)"


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


@pytest.mark.parametrize(
    ("state", "cue"),
    [(state, cue) for state in S for cue in Cue if (state, cue) not in TRANSITIONS],
)
def test_a_cue_that_means_nothing_is_refused_by_name(state, cue):
    with pytest.raises(CueOutOfPlaceError) as refused:
        after(state, cue)
    assert (refused.value.state, refused.value.cue) == (state, cue)
    assert state.value in str(refused.value)


def test_no_alarm_leaves_the_unseen_without_a_person():
    # Only an acknowledgement leads to acknowledged, or from the unseen to normal.
    unseen = {S.UNACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED}
    seen = {S.ACKNOWLEDGED, S.NORMAL}
    crossings = {
        cue for (start, cue), end in TRANSITIONS.items() if start in unseen and end in seen
    }
    assert crossings == {Cue.ACKNOWLEDGED}
