"""Chattering alarms and floods: what is told in one message because it is one thing.

A message that comes nine times is read once, and the tenth, of something else, not at all. So an
alarm that rings again and again is told as one that rings, and many alarms of one house that point
one way are told together. Nothing is dropped: a group lists every one of its alarms, and the first
danger in it is told at once and alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.model.alarm import Priority
from rules.model.quantities import Felt
from rules.model.words import Side

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rules.conditions import Condition

CHATTER_RINGS = 3
"""So many rings within CHATTER_MIN are chattering.

The usual detector is three in a minute, for signals that move in seconds (common practice, not in
the standard itself). Plants are judged once a minute, behind delays of minutes: three in an hour.
"""
CHATTER_MIN = 60

FLOOD_MIN = 10
"""The span over which ANSI/ISA-18.2 and EEMUA 191 count a flood, in minutes."""

MANY = 4
"""So many alarms of one house with one cause within FLOOD_MIN are told together: house rule.

The published flood, more than ten in ten minutes, is counted for someone at a desk all day. Here
one person reads a telephone while walking.
"""

GATHER_MIN = 2
"""A group waits so long for those that follow, in minutes, before its message goes out."""

RINGS_HELD_MIN: Mapping[Priority, int] = MappingProxyType(
    {Priority.HIGH: 10, Priority.MEDIUM: 30, Priority.LOW: 30}
)
"""A message about a chattering alarm stands for so many minutes of it: house rule."""


class Common(StrEnum):
    """What alarms of one house have in common: the direction of what is felt, or blindness."""

    DRY = "dry"
    DAMP = "damp"
    HOT = "hot"
    COLD = "cold"
    BRIGHT = "bright"
    DARK = "dark"
    WINDY = "windy"
    POTS_DRY = "pots_dry"
    POTS_WET = "pots_wet"
    UNSEEN = "unseen"


DIRECTION: Mapping[tuple[Felt, Side], Common] = MappingProxyType(
    {
        (Felt.AIR_TEMPERATURE, Side.HIGH): Common.HOT,
        (Felt.AIR_TEMPERATURE, Side.LOW): Common.COLD,
        (Felt.LEAF_TEMPERATURE, Side.HIGH): Common.HOT,
        (Felt.LEAF_TEMPERATURE, Side.LOW): Common.COLD,
        (Felt.EXPECTED_PEAK, Side.HIGH): Common.HOT,
        (Felt.EXPECTED_PEAK, Side.LOW): Common.COLD,
        (Felt.RELATIVE_HUMIDITY, Side.LOW): Common.DRY,
        (Felt.RELATIVE_HUMIDITY, Side.HIGH): Common.DAMP,
        (Felt.VAPOUR_PRESSURE_DEFICIT, Side.HIGH): Common.DRY,
        (Felt.VAPOUR_PRESSURE_DEFICIT, Side.LOW): Common.DAMP,
        (Felt.LEAF_DEFICIT, Side.HIGH): Common.DRY,
        (Felt.LEAF_DEFICIT, Side.LOW): Common.DAMP,
        (Felt.RESERVE, Side.LOW): Common.DRY,
        (Felt.RESERVE, Side.HIGH): Common.DAMP,
        (Felt.HOURS_TO_CRITICAL, Side.LOW): Common.DRY,
        (Felt.HOURS_TO_CRITICAL, Side.HIGH): Common.DAMP,
        (Felt.PPFD, Side.HIGH): Common.BRIGHT,
        (Felt.PPFD, Side.LOW): Common.DARK,
        (Felt.AIR_SPEED, Side.HIGH): Common.WINDY,
        (Felt.AIR_SPEED, Side.LOW): Common.HOT,
        (Felt.SUBSTRATE_MOISTURE, Side.LOW): Common.POTS_DRY,
        (Felt.SUBSTRATE_MOISTURE, Side.HIGH): Common.POTS_WET,
    }
)
"""Which way each quantity pulls on each side: still air in a house is warm air."""


@dataclass(frozen=True, slots=True)
class Ring:
    """One opening of an alarm, by the number of its change, with what it is about."""

    change_id: int
    alarm_id: int
    minute: int
    condition: Condition


@dataclass(frozen=True, slots=True)
class Flood:
    """Rings of one house with one thing in common.

    `fresh` are those that opened just now, `before` the earlier ones, each in order. `first` is
    the first danger among the fresh ones, which is told alone as well; None if one was told before.
    """

    house: str
    common: Common
    before: tuple[Ring, ...]
    fresh: tuple[Ring, ...]
    first: Ring | None


@dataclass(frozen=True, slots=True)
class Sorted:
    """What is told alone, and what is told together."""

    alone: tuple[Ring, ...]
    floods: tuple[Flood, ...]


def chatters(rings_before: Sequence[int], minute: int) -> bool:
    """Return whether a ring in `minute` is chattering; `rings_before` are the earlier ones' cells.

    >>> chatters([10, 40], 65)
    True
    >>> chatters([5, 40], 65)
    False
    """
    within = sum(minute - CHATTER_MIN < before <= minute for before in rings_before)
    return within + 1 >= CHATTER_RINGS


def common_of(condition: Condition) -> Common:
    """Return what a condition can have in common with others of its house."""
    if condition.side is None:
        return Common.UNSEEN
    return DIRECTION[condition.felt, condition.side]


def shared_sensor(conditions: Sequence[Condition]) -> str | None:
    """Return the one sensor that speaks for all of these; None if it takes several.

    One sensor that is silent is that sensor's fault; several at once are the fault of what they
    share: the hub, the network, the collector.
    """
    if not conditions:
        return None
    shared = conditions[0].sensors
    for one in conditions[1:]:
        shared &= one.sensors
    return min(shared, default=None)


def sorted_rings(fresh: Sequence[Ring], recent: Sequence[Ring]) -> Sorted:
    """Return which of the `fresh` rings, all of one minute, are told alone, and which in floods.

    `recent` are the rings before them, in order; those of the last FLOOD_MIN minutes count towards
    a flood, and are listed in it.
    """
    ours: dict[tuple[str, Common], list[Ring]] = {}
    for ring in fresh:
        ours.setdefault(_key(ring), []).append(ring)
    alone: list[Ring] = []
    floods: list[Flood] = []
    for key, rings in ours.items():
        since = rings[0].minute - FLOOD_MIN
        before = _each_once(
            [ring for ring in recent if _key(ring) == key and since < ring.minute], rings
        )
        if len(before) + len(rings) < MANY:
            alone.extend(rings)
            continue
        told = any(_is_danger(ring) for ring in before)
        first = None if told else next((ring for ring in rings if _is_danger(ring)), None)
        floods.append(Flood(*key, before, tuple(rings), first))
    return Sorted(tuple(alone), tuple(floods))


def _each_once(recent: Sequence[Ring], fresh: Sequence[Ring]) -> tuple[Ring, ...]:
    """Return the earlier rings of other conditions than the fresh ones, the last ring of each."""
    last = {(ring.condition.batch, ring.condition.name): ring for ring in recent}
    for ring in fresh:
        last.pop((ring.condition.batch, ring.condition.name), None)
    return tuple(sorted(last.values(), key=lambda ring: ring.change_id))


def _key(ring: Ring) -> tuple[str, Common]:
    return ring.condition.house, common_of(ring.condition)


def _is_danger(ring: Ring) -> bool:
    return ring.condition.priority is Priority.HIGH
