"""What the evaluator says: a condition opened or closed, a standing changed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rules.model.alarm import Priority


class Standing(StrEnum):
    """A batch's state as a person reads it. Blind is never shown as steady."""

    STEADY = "steady"
    DRIFTING = "drifting"
    STRAINED = "strained"
    IN_DANGER = "in_danger"
    BLIND = "blind"


@dataclass(frozen=True, slots=True)
class ConditionOpened:
    """A limit is broken, or a vital quantity missing, for longer than its delay.

    `condition` is the limit's id, or "blind.<quantity>". `minute` is the cell in which it opened,
    `since_minute` the first cell of the row that led to it. `value` is what the batch felt in that
    cell, in the unit of the quantity; None for a blind condition.
    """

    minute: int
    batch: str
    condition: str
    since_minute: int
    value: float | None
    priority: Priority


@dataclass(frozen=True, slots=True)
class ConditionClosed:
    """A condition has been over for longer than its off-delay, or no longer applies.

    `worst` is the value furthest beyond the bound since the row of cells began that led to it, in
    the unit of the quantity; of a sum that had to stay below its bound, what it came to. None for
    a blind condition, a sum that had to be reached, and one that ended with its stage.
    """

    minute: int
    batch: str
    condition: str
    worst: float | None = None


@dataclass(frozen=True, slots=True)
class StandingChanged:
    """A batch reads differently from this cell on.

    `before` is None at its first watched cell; `after` is None once nothing watches it any more:
    its stage has ended or has no limits, or it left the site file.
    """

    minute: int
    batch: str
    before: Standing | None
    after: Standing | None


Event = ConditionOpened | ConditionClosed | StandingChanged
