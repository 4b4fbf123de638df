"""What happened to alarms, change by change, and the occurrences in it.

The same values come from the records of what really happened and from a replay.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rules.model.alarm import BY_PERSON, AlarmState, Cue, Priority
from rules.speaking import EPOCH, MINUTE

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rules.model.site import Site

RINGS = frozenset(
    {Cue.RAISED, Cue.SHELF_RAN_OUT, Cue.SUPPRESSION_ENDED, Cue.UNSHELVED, Cue.PUT_BACK}
)
"""The cues by which an alarm begins to ring, if they leave it unacknowledged."""

_LOOKED_AT = frozenset({Cue.ACKNOWLEDGED, Cue.SHELVED, Cue.TAKEN_OUT})


@dataclass(frozen=True, slots=True)
class LimitName:
    """A limit, dose limit or "blind.<quantity>" of one stage of a care plan.

    `plan` and `stage` are empty for what no plan asks for, such as a way that fails.
    """

    plan: str
    stage: str
    condition: str


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """One change of one alarm. `minute` is the cell that caused it, or that in which a person did.

    `alarm` is a number of its own in each list of changes. `value` is what was felt when it was
    raised, the worst when it was over.
    """

    alarm: int
    minute: int
    batch: str
    condition: str
    priority: Priority
    before: AlarmState
    after: AlarmState
    cue: Cue
    value: float | None = None
    by: str | None = None


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One time that a condition was true. Instants are minutes since the epoch, UTC.

    `rang`: people are to know of it; else it was held, and told nobody. One that was held and then
    let go counts twice: held, and as it rang; the first is `carried_on` by the second, not ended.
    `by_person`: somebody let it go, so it rang at once and not once its cell was judged. `over` is
    the cell in which it ended, `answered` the minute in which somebody took it on or laid it aside;
    None: not, or not yet.
    """

    alarm: int
    batch: str
    limit: LimitName
    priority: Priority
    minute: int
    rang: bool
    over: int | None = None
    answered: int | None = None
    value: float | None = None
    worst: float | None = None
    carried_on: bool = False
    by_person: bool = False


def limit_named(site: Site, batch: str, condition: str, minute: int) -> LimitName:
    """Return which limit a condition of a batch was in a minute."""
    found = next((one for one in site.batch if one.code == batch), None)
    if found is None:
        return LimitName("", "", condition)
    stage = found.stage_at(EPOCH + minute * MINUTE)
    return LimitName(found.plan, "" if stage is None else stage.value, condition)


def occurrences_of(site: Site, changes: Iterable[AlarmChanged]) -> tuple[Occurrence, ...]:
    """Return every occurrence in changes that stand in order, in the order in which they began.

    An answer is one to all that the alarm has rung for so far. What no minute of the changes began
    is left out.
    """
    found: list[Occurrence] = []
    of_alarm: dict[int, list[int]] = {}
    for change in changes:
        ours = of_alarm.setdefault(change.alarm, [])
        last = ours[-1] if ours and found[ours[-1]].over is None else None
        if change.cue in RINGS and _begins(change):
            if last is not None:
                found[last] = replace(found[last], over=change.minute, carried_on=True)
            ours.append(len(found))
            found.append(_begun(site, change))
        elif change.cue is Cue.CLEARED and last is not None:
            found[last] = replace(found[last], over=change.minute, worst=change.value)
        elif change.cue in _LOOKED_AT:
            for place in ours:
                if found[place].rang and found[place].answered is None:
                    found[place] = replace(found[place], answered=change.minute)
    return tuple(found)


def _begins(change: AlarmChanged) -> bool:
    return change.cue is Cue.RAISED or change.after is AlarmState.UNACKNOWLEDGED


def _begun(site: Site, change: AlarmChanged) -> Occurrence:
    return Occurrence(
        alarm=change.alarm,
        batch=change.batch,
        limit=limit_named(site, change.batch, change.condition, change.minute),
        priority=change.priority,
        minute=change.minute,
        rang=change.after is AlarmState.UNACKNOWLEDGED,
        value=change.value,
        by_person=change.cue in BY_PERSON,
    )
