"""The states of an alarm as a table, in the words of ANSI/ISA-18.2 / IEC 62682.

The standard lets a plant choose whether an alarm that ended unseen needs an acknowledgement to
return to normal. Here a latching one does: what happened in the night is read in the morning.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.model.alarm import AlarmState, Cue

if TYPE_CHECKING:
    from collections.abc import Mapping


class Branch(StrEnum):
    """A way out of a state that hangs on how things stand.

    `when_over`: latching to returned-unacknowledged, else to normal. `when_let_go`: to
    unacknowledged if the condition is true; over, as `when_over` if someone must still look at
    what was missed, else to normal.
    """

    WHEN_OVER = "when_over"
    WHEN_LET_GO = "when_let_go"


@dataclass(frozen=True, slots=True)
class Circumstances:
    """How things stand after a cue.

    `active` says that the condition is true, `latching` that the alarm waits for a person once it
    is over, `unseen` that it was true, unknown to anybody, before it was let go or while it was
    held.
    """

    active: bool
    latching: bool
    unseen: bool = False


_N = AlarmState.NORMAL
_U = AlarmState.UNACKNOWLEDGED
_A = AlarmState.ACKNOWLEDGED
_R = AlarmState.RETURNED_UNACKNOWLEDGED
_SHELVED = AlarmState.SHELVED
_SUPPRESSED = AlarmState.SUPPRESSED_BY_DESIGN
_OUT = AlarmState.OUT_OF_SERVICE

TRANSITIONS: Mapping[tuple[AlarmState, Cue], AlarmState | Branch] = MappingProxyType(
    {
        (_N, Cue.RAISED): _U,
        (_U, Cue.ACKNOWLEDGED): _A,
        (_U, Cue.CLEARED): Branch.WHEN_OVER,
        (_A, Cue.CLEARED): _N,
        (_R, Cue.RAISED): _U,
        (_R, Cue.ACKNOWLEDGED): _N,
        # Shelved by a person, for a time.
        (_N, Cue.SHELVED): _SHELVED,
        (_U, Cue.SHELVED): _SHELVED,
        (_A, Cue.SHELVED): _SHELVED,
        (_R, Cue.SHELVED): _SHELVED,
        (_SHELVED, Cue.UNSHELVED): Branch.WHEN_LET_GO,
        (_SHELVED, Cue.SHELF_RAN_OUT): Branch.WHEN_LET_GO,
        # Suppressed by a rule, as long as work is in hand.
        (_N, Cue.SUPPRESSED): _SUPPRESSED,
        (_U, Cue.SUPPRESSED): _SUPPRESSED,
        (_A, Cue.SUPPRESSED): _SUPPRESSED,
        (_R, Cue.SUPPRESSED): _SUPPRESSED,
        (_SUPPRESSED, Cue.SUPPRESSION_ENDED): Branch.WHEN_LET_GO,
        # Out of service until a person puts it back.
        (_N, Cue.TAKEN_OUT): _OUT,
        (_U, Cue.TAKEN_OUT): _OUT,
        (_A, Cue.TAKEN_OUT): _OUT,
        (_R, Cue.TAKEN_OUT): _OUT,
        (_SHELVED, Cue.TAKEN_OUT): _OUT,
        (_SUPPRESSED, Cue.TAKEN_OUT): _OUT,
        (_OUT, Cue.PUT_BACK): Branch.WHEN_LET_GO,
        # What is raised or over meanwhile is kept, and tells nobody.
        (_SHELVED, Cue.RAISED): _SHELVED,
        (_SHELVED, Cue.CLEARED): _SHELVED,
        (_SUPPRESSED, Cue.RAISED): _SUPPRESSED,
        (_SUPPRESSED, Cue.CLEARED): _SUPPRESSED,
        (_OUT, Cue.RAISED): _OUT,
        (_OUT, Cue.CLEARED): _OUT,
    }
)

OVER_AND_SEEN = Circumstances(active=False, latching=True)


class CueOutOfPlaceError(ValueError):
    """A cue that means nothing in the state the alarm is in.

    `state` and `cue` tell which, so that a page can say "someone has acknowledged it already".
    """

    def __init__(self, state: AlarmState, cue: Cue) -> None:
        super().__init__(f"an alarm that is {state.value} cannot be {cue.value}")
        self.state = state
        self.cue = cue


def after(state: AlarmState, cue: Cue, circumstances: Circumstances = OVER_AND_SEEN) -> AlarmState:
    """Return the state that follows; CueOutOfPlaceError if the cue means nothing in this one.

    >>> after(AlarmState.NORMAL, Cue.RAISED).value
    'unacknowledged'
    >>> after(AlarmState.SHELVED, Cue.SHELF_RAN_OUT, Circumstances(True, True)).value
    'unacknowledged'
    """
    following = TRANSITIONS.get((state, cue))
    if following is None:
        raise CueOutOfPlaceError(state, cue)
    if isinstance(following, AlarmState):
        return following
    if following is Branch.WHEN_LET_GO:
        if circumstances.active:
            return AlarmState.UNACKNOWLEDGED
        if not circumstances.unseen:
            return AlarmState.NORMAL
    return AlarmState.RETURNED_UNACKNOWLEDGED if circumstances.latching else AlarmState.NORMAL
