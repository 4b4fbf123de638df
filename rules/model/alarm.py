"""Alarm states, cues and priorities in the words of ANSI/ISA-18.2 / IEC 62682."""

from __future__ import annotations

from enum import StrEnum


class Priority(StrEnum):
    """How soon someone must act: high now, medium within hours, low when next at the bench."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(StrEnum):
    """The state of one alarm."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned_unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED_BY_DESIGN = "suppressed_by_design"
    OUT_OF_SERVICE = "out_of_service"


class Cue(StrEnum):
    """What moves an alarm from one state to another."""

    RAISED = "raised"
    CLEARED = "cleared"
    ACKNOWLEDGED = "acknowledged"
