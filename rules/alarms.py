"""The states of an alarm as a table, in the words of ANSI/ISA-18.2 / IEC 62682.

The standard lets a plant choose whether an alarm that ended unseen needs an acknowledgement to
return to normal. Here it does: what happened in the night is read in the morning.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.model.alarm import AlarmState, Cue

if TYPE_CHECKING:
    from collections.abc import Mapping

TRANSITIONS: Mapping[tuple[AlarmState, Cue], AlarmState] = MappingProxyType(
    {
        (AlarmState.NORMAL, Cue.RAISED): AlarmState.UNACKNOWLEDGED,
        (AlarmState.UNACKNOWLEDGED, Cue.ACKNOWLEDGED): AlarmState.ACKNOWLEDGED,
        (AlarmState.UNACKNOWLEDGED, Cue.CLEARED): AlarmState.RETURNED_UNACKNOWLEDGED,
        (AlarmState.ACKNOWLEDGED, Cue.CLEARED): AlarmState.NORMAL,
        (AlarmState.RETURNED_UNACKNOWLEDGED, Cue.RAISED): AlarmState.UNACKNOWLEDGED,
        (AlarmState.RETURNED_UNACKNOWLEDGED, Cue.ACKNOWLEDGED): AlarmState.NORMAL,
    }
)


class CueOutOfPlaceError(ValueError):
    """A cue that means nothing in the state the alarm is in.

    `state` and `cue` tell which, so that a page can say "someone has acknowledged it already".
    """

    def __init__(self, state: AlarmState, cue: Cue) -> None:
        super().__init__(f"an alarm that is {state.value} cannot be {cue.value}")
        self.state = state
        self.cue = cue


def after(state: AlarmState, cue: Cue) -> AlarmState:
    """Return the state that follows; CueOutOfPlaceError if the cue means nothing in this one.

    >>> after(AlarmState.NORMAL, Cue.RAISED).value
    'unacknowledged'
    """
    following = TRANSITIONS.get((state, cue))
    if following is None:
        raise CueOutOfPlaceError(state, cue)
    return following
