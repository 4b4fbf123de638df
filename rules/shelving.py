"""For how long an alarm may be shelved: one table, and never past a turn of the day.

House rules, common practice, no source. A danger is laid aside for an hour at most, and what is
more than low never past the next sunrise or sunset: at sunrise a closed house begins to heat, at
sunset the air cools and people go home, so what was known when it was shelved holds no longer. It
is then said again, to whoever is on duty by then.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from rules.model.alarm import Priority
from rules.speaking import EPOCH, MINUTE
from rules.sun import sun_is_up

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from rules.model.place import Place

LONGEST_MIN: Mapping[Priority, int] = MappingProxyType(
    {Priority.HIGH: 60, Priority.MEDIUM: 8 * 60, Priority.LOW: 24 * 60}
)
"""The longest shelf by priority, in minutes."""

USUAL_MIN: Mapping[Priority, int] = MappingProxyType(
    {Priority.HIGH: 30, Priority.MEDIUM: 2 * 60, Priority.LOW: 8 * 60}
)
"""What is taken when nobody says for how long, in minutes."""

SAID_AT_THE_TURN = frozenset({Priority.HIGH, Priority.MEDIUM})
"""The priorities whose shelf ends with the next sunrise or sunset."""

_NEXT_TURN_WITHIN_MIN = 24 * 60


@dataclass(frozen=True, slots=True)
class Shelf:
    """Until when an alarm is laid aside. `at_the_turn`: cut short by sunrise or sunset."""

    until: datetime
    at_the_turn: bool


class ShelvedTooLong(ValueError):
    """Longer than the priority allows; `most_min` is the longest."""

    def __init__(self, priority: Priority, asked_min: int) -> None:
        self.most_min = LONGEST_MIN[priority]
        super().__init__(
            f"an alarm of {priority.value} priority can be shelved for 1 to {self.most_min} min, "
            f"not for {asked_min}"
        )


def shelf(place: Place, priority: Priority, at: datetime, *, minutes: int | None = None) -> Shelf:
    """Return the shelf that begins at an aware instant; ShelvedTooLong if more is asked for.

    `minutes` None takes the usual time.
    """
    asked = USUAL_MIN[priority] if minutes is None else minutes
    if not 1 <= asked <= LONGEST_MIN[priority]:
        raise ShelvedTooLong(priority, asked)
    until = at + timedelta(minutes=asked)
    turn = next_turn(place, at) if priority in SAID_AT_THE_TURN else None
    if turn is not None and turn < until:
        return Shelf(turn, at_the_turn=True)
    return Shelf(until, at_the_turn=False)


def next_turn(place: Place, at: datetime) -> datetime | None:
    """Return the start of the first minute after `at` in which the sun has risen or set.

    None where it does neither within a day, as beyond the polar circles.
    """
    first = (at - EPOCH) // MINUTE
    minutes = first + np.arange(_NEXT_TURN_WITHIN_MIN + 1, dtype=np.int64)
    up = sun_is_up(place, minutes)
    turns = np.flatnonzero(up[1:] != up[:-1])
    return EPOCH + (first + int(turns[0]) + 1) * MINUTE if turns.size else None
