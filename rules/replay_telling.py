"""Whom a replayed record would have told what, and when: floods, steps, quiet hours, all of it.

The decisions are those of the night, from `rules.escalation` and `rules.floods`; only the queue is
left out. So every way works here, and a message that waits takes in what joins it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from itertools import groupby
from typing import TYPE_CHECKING

from rules.alarm_load import Reached
from rules.conditions import condition_in, houses_of
from rules.escalation import (
    Course,
    Outcome,
    Told,
    held_until,
    is_first_step,
    owed_now,
    who_is_on_duty,
)
from rules.floods import (
    CHATTER_MIN,
    FLOOD_MIN,
    GATHER_MIN,
    RINGS_HELD_MIN,
    Ring,
    chatters,
    sorted_rings,
)
from rules.model.alarm import Priority
from rules.model.people import Role
from rules.speaking import EPOCH, MINUTE

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rules.alarm_history import Occurrence
    from rules.floods import Flood
    from rules.model.people import Person
    from rules.model.site import Site
    from rules.watchlist import Watchlist

_NEVER = 2**62
_FIRST_STEP = f"0.{Role.ON_DUTY.value}"


@dataclass
class _Unit:
    """What is told by itself: one ring, or one round of a group. Instants are minutes.

    `since` is when its first word is owed, which then `waits` so many minutes for more; `said` when
    an earlier word of it went, `until` from when another unit speaks for it. `first_only`: its
    later steps are another's.
    """

    members: list[Occurrence]
    since: int
    group: _Group | None = None
    said: int | None = None
    until: int | None = None
    waits: int = 0
    first_only: bool = False

    @property
    def priority(self) -> Priority:
        return min((one.priority for one in self.members), key=list(Priority).index)

    @property
    def over(self) -> int | None:
        """When the last of it ended; None while any goes on, by itself or as a later ring."""
        ends = [None if one.carried_on else one.over for one in self.members]
        return None if None in ends else max(end for end in ends if end is not None)

    @property
    def rings_again_at(self) -> int:
        """From when later rings of its alarms speak for it; never, as long as one does not."""
        later = [one.over if one.carried_on else None for one in self.members]
        return _NEVER if None in later else max(at for at in later if at is not None)

    @property
    def answered(self) -> int | None:
        told = [one.answered for one in self.members]
        return None if None in told else max(at for at in told if at is not None)


@dataclass
class _Group:
    """Rings that are told together, round by round; `last` is the cell of the newest."""

    last: int
    floods: bool
    rounds: list[_Unit] = field(default_factory=list[_Unit])
    alarms: set[tuple[str, str, int]] = field(default_factory=set[tuple[str, str, int]])


def told_in(
    site: Site,
    watchlist: Watchlist,
    occurrences: Iterable[Occurrence],
    *,
    end_minute: int,
    lateness_min: int,
    gaps: Sequence[tuple[int, int]] = (),
) -> tuple[Reached, ...]:
    """Return every message that people would have had before `end_minute`, by minute.

    `lateness_min` is how long after its end a cell is judged. `gaps` are the spans of minutes in
    which nobody watched: what rang in them is told afterwards, one message a batch.
    """
    rang = sorted((one for one in occurrences if one.rang), key=lambda one: one.minute)
    units = _Gathering(site, watchlist, gaps, 1 + lateness_min).units_of(rang)
    post = _Post(site, gaps, 1 + lateness_min)
    for unit in units:
        post.tell(unit)
    return tuple(sorted(post.sent(end_minute), key=lambda one: (one.minute, one.person)))


class _Gathering:
    """Settles which rings are told alone and which together, in the order in which they rang."""

    def __init__(
        self, site: Site, watchlist: Watchlist, gaps: Sequence[tuple[int, int]], told_after: int
    ) -> None:
        self._told_after = told_after
        self._watchlist = watchlist
        self._houses = houses_of(site)
        self._gaps = gaps
        self._units: list[_Unit] = []
        self._single: dict[int, _Unit] = {}
        self._groups: dict[tuple[str, ...], _Group] = {}
        self._rang: list[Occurrence] = []

    def units_of(self, rang: Sequence[Occurrence]) -> list[_Unit]:
        """Return everything that is told by itself."""
        for minute, ours in groupby(rang, key=lambda one: one.minute):
            if _gap_over(self._gaps, minute) is None:
                self._minute(minute, list(ours))
            else:
                for one in ours:
                    self._alone(one, minute)
        return self._units

    def _minute(self, minute: int, fresh: list[Occurrence]) -> None:
        first = len(self._rang)
        self._rang += fresh
        rings: list[Ring] = []
        for place, one in enumerate(fresh, first):
            earlier = [
                at
                for at in range(first)
                if self._rang[at].minute > minute - CHATTER_MIN and _same(self._rang[at], one)
            ]
            if chatters([self._rang[at].minute for at in earlier], minute):
                self._chatter(minute, [*earlier, place])
            elif (ring := self._ring(place)) is not None:
                rings.append(ring)
            else:
                self._alone(one, minute, place)
        recent = [
            ring
            for place in range(first)
            if self._rang[place].minute > minute - FLOOD_MIN
            and (ring := self._ring(place)) is not None
        ]
        told = sorted_rings(rings, recent)
        for ring in told.alone:
            self._alone(self._rang[ring.change_id], minute, ring.change_id)
        for flood in told.floods:
            self._flood(minute, flood)
        self._forget(minute)

    def _told_at(self, minute: int) -> int:
        """Return in which minute people are told of what a cell says."""
        return minute + self._told_after

    def _forget(self, minute: int) -> None:
        """Let go rings too old to count, so that a season costs what its rings cost."""
        if self._rang and self._rang[0].minute < minute - 4 * CHATTER_MIN:
            keep = [one for one in self._rang if one.minute > minute - CHATTER_MIN]
            gone = len(self._rang) - len(keep)
            self._rang = keep
            self._single = {
                place - gone: unit for place, unit in self._single.items() if place >= gone
            }

    def _ring(self, place: int) -> Ring | None:
        one = self._rang[place]
        about = condition_in(
            self._watchlist,
            self._houses,
            batch=one.batch,
            name=one.limit.condition,
            minute=one.minute,
        )
        return None if about is None else Ring(place, one.alarm, one.minute, about)

    def _alone(
        self, one: Occurrence, minute: int, place: int | None = None, *, first_only: bool = False
    ) -> None:
        since = minute if one.by_person else self._told_at(minute)
        unit = _Unit([one], since, first_only=first_only)
        self._units.append(unit)
        if place is not None:
            self._single[place] = unit

    def _flood(self, minute: int, flood: Flood) -> None:
        key = (flood.house, flood.common.value)
        group = self._alive(key, minute, FLOOD_MIN, floods=True)
        if flood.first is not None:
            place = flood.first.change_id
            self._alone(self._rang[place], minute, place, first_only=True)
        places = [ring.change_id for ring in (*flood.before, *flood.fresh)]
        self._join(group, minute, places, waits=GATHER_MIN)

    def _chatter(self, minute: int, places: list[int]) -> None:
        one = self._rang[places[-1]]
        group = self._alive(("", one.batch, one.limit.condition), minute, CHATTER_MIN, floods=False)
        waits = 0
        if group.rounds:
            last = group.rounds[-1]
            turn = last.since + last.waits + RINGS_HELD_MIN[one.priority]
            waits = max(0, turn - self._told_at(minute))
        self._join(group, minute, places, waits=waits)

    def _alive(self, key: tuple[str, ...], minute: int, span: int, *, floods: bool) -> _Group:
        group = self._groups.get(key)
        if group is None or group.last < minute - span:
            group = self._groups[key] = _Group(minute, floods)
        group.last = minute
        return group

    def _join(self, group: _Group, minute: int, places: list[int], *, waits: int) -> None:
        """Add rings to the round that still waits for its word, or begin the next one."""
        new: list[Occurrence] = []
        said: list[int] = []
        for place in places:
            one = self._rang[place]
            name = (one.batch, one.limit.condition, one.minute)
            single = self._single.get(place)
            if single is not None and single.until is None:
                if not single.first_only:
                    single.until = self._told_at(minute)
                said.append(single.since)
            if name not in group.alarms:
                group.alarms.add(name)
                new.append(one)
        if not new:
            return
        waiting = group.rounds[-1] if group.rounds else None
        order = list(Priority)
        gravest = min(order.index(one.priority) for one in new)
        now = self._told_at(minute)
        waits_still = waiting is not None and now < waiting.since + waiting.waits
        if waiting is not None and waits_still and gravest >= order.index(waiting.priority):
            waiting.members += new
            return
        unit = _Unit(new, now, group, said=min(said, default=None), waits=waits)
        unit.first_only = any(
            order.index(other.priority) <= gravest
            and (other.answered is None or other.answered > minute)
            for other in group.rounds
        )
        group.rounds.append(unit)
        self._units.append(unit)


class _Post:
    """Counts messages: each once for a person and way, those that were held back together."""

    def __init__(self, site: Site, gaps: Sequence[tuple[int, int]], told_after: int) -> None:
        self._site = site
        self._told_after = told_after
        self._gaps = gaps
        self._people = {person.id: person for person in site.person}
        self._sent: list[tuple[str, int]] = []
        self._held: set[tuple[str, str, int]] = set()
        self._summed: set[tuple[int, str, str, str]] = set()
        self._over: set[int] = set()
        self._told_of: dict[int, tuple[Told, ...]] = {}

    def sent(self, end_minute: int) -> Iterator[Reached]:
        """Yield what went before a minute."""
        every = [*self._sent, *((person, at) for person, _, at in self._held)]
        every += [(person, end) for end, _, person, _ in self._summed]
        for person, minute in every:
            if minute < end_minute:
                yield Reached(person, minute)

    def tell(self, unit: _Unit) -> None:
        """Tell a unit step by step, and that it is over to those who were told."""
        gap = _gap_over(self._gaps, unit.members[0].minute)
        told = () if gap is None else self._of_gap(unit, gap)
        told = self._steps(unit, told)
        if unit.group is None:
            # Also who was told before it was set aside or out of service is told that it is over.
            alarm = unit.members[0].alarm
            told = self._told_of[alarm] = (*self._told_of.get(alarm, ()), *told)
        if unit.over is None or not told:
            return
        if unit.group is not None:
            self._group_over(unit.group, told)
            return
        gap = _gap_over(self._gaps, unit.over)
        for name, way in dict.fromkeys((one.person, one.way) for one in told):
            if gap is not None:
                self._summed.add((gap[1], unit.members[0].batch, name, way))
            else:
                self._send(name, way, unit.priority, unit.over + self._told_after)

    def _group_over(self, group: _Group, told: Sequence[Told]) -> None:
        ends = [unit.over for unit in group.rounds]
        if None in ends or id(group) in self._over:
            return
        self._over.add(id(group))
        at = max(end for end in ends if end is not None) + self._told_after
        priority = group.rounds[-1].priority
        if not group.floods:
            last = group.rounds[-1]
            at = max(at, last.since + last.waits + RINGS_HELD_MIN[priority])
        for name, way in dict.fromkeys((one.person, one.way) for one in told):
            self._send(name, way, priority, at)

    def _of_gap(self, unit: _Unit, gap: tuple[int, int]) -> tuple[Told, ...]:
        at = EPOCH + gap[1] * MINUTE
        told = tuple(
            Told(_FIRST_STEP, person.id, way, at, Outcome.ARRIVED)
            for person in who_is_on_duty(self._site, at)
            for way in person.ways
        )
        batch = unit.members[0].batch
        self._summed |= {(gap[1], batch, one.person, one.way) for one in told}
        unit.since = gap[1]
        return told

    def _steps(self, unit: _Unit, told: tuple[Told, ...]) -> tuple[Told, ...]:
        """Owe each step at the minute in which it comes due, all of them arriving."""
        site, priority = self._site, unit.priority
        begun = unit.since if unit.said is None else min(unit.said, unit.since)
        steps = (begun + step.after_min for step in site.steps(priority))
        for minute in sorted({unit.since, *(due for due in steps if due > unit.since)}):
            if unit.until is not None and minute >= unit.until:
                break
            if minute > unit.since and unit.rings_again_at < minute:
                break
            course = Course(
                priority=priority,
                opened_at=EPOCH + begun * MINUTE,
                acknowledged=unit.answered is not None and unit.answered < minute,
                over=unit.over is not None and unit.over < minute,
                told=told,
                first_only=unit.first_only,
                said_at=None if unit.said is None else EPOCH + unit.said * MINUTE,
            )
            at = EPOCH + minute * MINUTE
            for owed in owed_now(site, course, at):
                told += (Told(owed.step, owed.person, owed.way, at, Outcome.ARRIVED),)
                if owed.held_until is not None:
                    self._hold(owed.person, owed.way, (owed.held_until - EPOCH) // MINUTE)
                else:
                    waits = unit.waits if is_first_step(site, priority, owed.step) else 0
                    self._sent.append((owed.person, minute + waits))
        return told

    def _send(self, name: str, way: str, priority: Priority, minute: int) -> None:
        person: Person | None = self._people.get(name)
        if person is None:
            return
        until = held_until(person, priority, EPOCH + minute * MINUTE, self._site.site)
        if until is None:
            self._sent.append((name, minute))
        else:
            self._hold(name, way, (until - EPOCH) // timedelta(minutes=1))

    def _hold(self, name: str, way: str, minute: int) -> None:
        self._held.add((name, way, minute))


def _same(one: Occurrence, other: Occurrence) -> bool:
    return (one.batch, one.limit.condition) == (other.batch, other.limit.condition)


def _gap_over(gaps: Sequence[tuple[int, int]], minute: int) -> tuple[int, int] | None:
    return next((gap for gap in gaps if gap[0] <= minute < gap[1]), None)
