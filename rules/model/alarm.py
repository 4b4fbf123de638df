"""Alarm states, cues and priorities in the words of ANSI/ISA-18.2 / IEC 62682."""

from __future__ import annotations

from enum import StrEnum


class Priority(StrEnum):
    """How soon someone must act: high now, medium within hours, low when next at the bench."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


def latches(chosen: bool | None, priority: Priority) -> bool:  # noqa: FBT001
    """Return whether an alarm, once over, waits for a person: as chosen, else if it is high.

    >>> latches(None, Priority.HIGH), latches(None, Priority.LOW), latches(True, Priority.LOW)
    (True, False, True)
    """
    return priority is Priority.HIGH if chosen is None else chosen


class AlarmState(StrEnum):
    """The state of one alarm."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned_unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED_BY_DESIGN = "suppressed_by_design"
    OUT_OF_SERVICE = "out_of_service"


HELD = frozenset({AlarmState.SHELVED, AlarmState.SUPPRESSED_BY_DESIGN, AlarmState.OUT_OF_SERVICE})
"""The states in which an alarm tells nobody, though all that happens to it is kept."""


class Cue(StrEnum):
    """What moves an alarm from one state to another, or is kept of it while it tells nobody."""

    RAISED = "raised"
    CLEARED = "cleared"
    ACKNOWLEDGED = "acknowledged"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SHELF_RAN_OUT = "shelf_ran_out"
    SUPPRESSED = "suppressed"
    SUPPRESSION_ENDED = "suppression_ended"
    TAKEN_OUT = "taken_out"
    PUT_BACK = "put_back"


BY_PERSON = frozenset({Cue.ACKNOWLEDGED, Cue.SHELVED, Cue.UNSHELVED, Cue.TAKEN_OUT, Cue.PUT_BACK})
"""The cues that only a person gives; their change carries a name."""
