"""Alarms replayed: what events, people and work in hand do to their states, with no records.

The pure twin of what the watch does in its records; a test holds the two to each other, change for
change.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rules.alarm_history import AlarmChanged
from rules.alarms import Circumstances, CueOutOfPlaceError, after
from rules.conditions import condition_in
from rules.model.alarm import HELD, AlarmState, Cue, Priority
from rules.model.event import ConditionClosed, ConditionOpened
from rules.model.words import Side
from rules.work_in_hand import suppressed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from rules.conditions import Condition
    from rules.model.event import Event
    from rules.model.work import Work
    from rules.watchlist import Watchlist

_WAITED = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED})


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person did to an alarm, to be done again once cell `after_minute` has been judged.

    `minute` is when it was. `until` is the cell in which a shelf runs out, None: nobody knows of
    an end. `priority` and `latch` are of the alarm, for one that is laid aside before it is true.
    """

    after_minute: int
    minute: int
    batch: str
    condition: str
    cue: Cue
    by: str | None
    priority: Priority
    latch: bool
    until: int | None = None


@dataclass(frozen=True, slots=True)
class AlarmNow:
    """One alarm that is not normal. `active`: its condition is true.

    While it is held, `missed` says that it was raised meanwhile, `waited` that it waited for
    someone before, `until` when its shelf runs out.
    """

    number: int
    priority: Priority
    latch: bool
    state: AlarmState
    active: bool
    worst: float | None = None
    missed: bool = False
    waited: bool = False
    until: int | None = None


@dataclass(frozen=True, slots=True)
class AlarmsNow:
    """Every alarm that is not normal, by batch and condition, and the number of the next one."""

    alarms: Mapping[tuple[str, str], AlarmNow]
    next_number: int


NO_ALARMS = AlarmsNow({}, 1)


class Register:
    """Moves alarms through one cell after another; `changes` holds what happened, in order."""

    def __init__(
        self, watchlist: Watchlist, houses: Mapping[str, str], works: Sequence[Work], now: AlarmsNow
    ) -> None:
        self._watchlist = watchlist
        self._houses = houses
        self._works = works
        self._alarms = dict(now.alarms)
        self._next = now.next_number
        self.changes: list[AlarmChanged] = []

    @property
    def now(self) -> AlarmsNow:
        """What stands now, to go on from."""
        return AlarmsNow(dict(self._alarms), self._next)

    @property
    def holds(self) -> bool:
        """Whether any alarm is held, so that it may be let go in a cell that says nothing."""
        return any(one.state in HELD for one in self._alarms.values())

    def cell(self, minute: int, events: Iterable[Event]) -> None:
        """Take what a cell said, in order; then let go what is held no longer."""
        for event in events:
            if isinstance(event, ConditionOpened):
                self._raise(event)
            elif isinstance(event, ConditionClosed):
                self._clear(event)
        for key, one in sorted(self._alarms.items(), key=lambda pair: pair[1].number):
            if one.state in HELD:
                self._let_go(key, minute)

    def answer(self, answer: Answer) -> None:
        """Do what a person did, if it means anything in the state the alarm is in now."""
        key = (answer.batch, answer.condition)
        one = self._alarms.get(key)
        laid_aside = answer.cue in {Cue.SHELVED, Cue.TAKEN_OUT}
        if one is None and not laid_aside:
            return
        if one is None:
            self._begin(key, answer.priority, answer.latch)
        try:
            self._move(key, answer.cue, answer.minute, by=answer.by, until=answer.until)
        except CueOutOfPlaceError:
            return
        if answer.cue in {Cue.UNSHELVED, Cue.PUT_BACK}:
            self._suppress_again(key, answer.minute)

    def _raise(self, event: ConditionOpened) -> None:
        key = (event.batch, event.condition)
        about = self._condition(key, event.minute)
        one = self._alarms.get(key)
        latch = about is None or about.latches
        if one is None:
            one = self._begin(key, event.priority, latch)
        elif one.active:
            return
        if self._work_over(about, event.minute) and one.state not in HELD:
            self._move(key, Cue.SUPPRESSED, event.minute)
        self._alarms[key] = replace(
            self._alarms[key], active=True, latch=latch, priority=event.priority
        )
        self._move(key, Cue.RAISED, event.minute, value=event.value)

    def _clear(self, event: ConditionClosed) -> None:
        key = (event.batch, event.condition)
        one = self._alarms.get(key)
        if one is None or not one.active:
            return
        ever = event.worst if event.worst is not None else one.worst
        about = self._condition(key, event.minute)
        if event.worst is not None and one.worst is not None and about and about.side:
            worse = max if about.side is Side.HIGH else min
            ever = worse(event.worst, one.worst)
        self._alarms[key] = replace(one, active=False, worst=ever)
        self._move(key, Cue.CLEARED, event.minute, value=event.worst)

    def _let_go(self, key: tuple[str, str], minute: int) -> None:
        one = self._alarms[key]
        if one.state is AlarmState.SHELVED and one.until is not None and one.until <= minute:
            self._move(key, Cue.SHELF_RAN_OUT, minute)
        elif one.state is AlarmState.SUPPRESSED_BY_DESIGN and not self._work_over(
            self._condition(key, minute), minute
        ):
            self._move(key, Cue.SUPPRESSION_ENDED, minute)
        else:
            return
        self._suppress_again(key, minute)

    def _suppress_again(self, key: tuple[str, str], minute: int) -> None:
        one = self._alarms.get(key)
        rings = one is not None and one.state is AlarmState.UNACKNOWLEDGED
        if rings and self._work_over(self._condition(key, minute), minute):
            self._move(key, Cue.SUPPRESSED, minute)

    def _begin(self, key: tuple[str, str], priority: Priority, latch: bool) -> AlarmNow:  # noqa: FBT001
        one = AlarmNow(self._next, priority, latch, AlarmState.NORMAL, active=False)
        self._next += 1
        self._alarms[key] = one
        return one

    def _move(
        self,
        key: tuple[str, str],
        cue: Cue,
        minute: int,
        *,
        value: float | None = None,
        by: str | None = None,
        until: int | None = None,
    ) -> None:
        one = self._alarms[key]
        state = after(one.state, cue, Circumstances(one.active, one.latch, unseen=_unseen(one)))
        batch, condition = key
        self.changes.append(
            AlarmChanged(
                one.number,
                minute,
                batch,
                condition,
                one.priority,
                one.state,
                state,
                cue,
                value,
                by,
            )
        )
        if state is AlarmState.NORMAL:
            del self._alarms[key]
            return
        if state is one.state:
            one = replace(one, missed=one.missed or cue is Cue.RAISED)
        elif state in HELD:
            one = replace(one, missed=False, waited=one.state in _WAITED, until=until)
        else:
            one = replace(one, missed=False, waited=False, until=None)
        self._alarms[key] = replace(one, state=state)

    def _condition(self, key: tuple[str, str], minute: int) -> Condition | None:
        batch, name = key
        return condition_in(self._watchlist, self._houses, batch=batch, name=name, minute=minute)

    def _work_over(self, about: Condition | None, minute: int) -> bool:
        """Return whether work in hand explains a condition."""
        return about is not None and suppressed(self._works, about, minute) is not None


def _unseen(one: AlarmNow) -> bool:
    """Return whether something happened while it was held, or before, that nobody knows of."""
    if one.state is AlarmState.SHELVED:
        return one.missed
    return one.state is AlarmState.SUPPRESSED_BY_DESIGN and one.waited
