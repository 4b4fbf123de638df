"""What a condition is about: looked up in what was judged in the minute in which it was said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.model.alarm import Priority
from rules.model.quantities import Felt
from rules.surroundings import INPUTS
from rules.watchlist import BLIND

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rules.model.dose import DoseLimit
    from rules.model.plan import Limit
    from rules.model.site import Site
    from rules.model.words import Side
    from rules.speaking import Span
    from rules.watchlist import Watchlist

FROM_THE_AIR = frozenset({Felt.LEAF_TEMPERATURE, Felt.LEAF_DEFICIT, Felt.HOURS_TO_CRITICAL})
"""What is reckoned minute by minute from the air, where no sensor tells it."""


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition of a batch in one minute.

    `felt` is the quantity it speaks of and `side` the side that is wrong, None for blindness.
    `summed` says that it is a dose. `sensors` are those that speak for the quantity, or for what
    it is reckoned from. `covered` says that the batch is under its cover. `latches` says whether
    its alarm waits for a person once it is over.
    """

    batch: str
    name: str
    house: str
    felt: Felt
    side: Side | None
    summed: bool
    latches: bool
    priority: Priority
    covered: bool
    sensors: frozenset[str]

    @property
    def blind(self) -> bool:
        """Whether it says that the quantity cannot be seen."""
        return self.side is None


def houses_of(site: Site) -> dict[str, str]:
    """Return the house in which each batch stands, by its code."""
    house = {bench.id: bench.house for bench in site.bench}
    return {batch.code: house.get(batch.bench, "") for batch in site.batch}


def condition_in(
    watchlist: Watchlist, houses: Mapping[str, str], *, batch: str, name: str, minute: int
) -> Condition | None:
    """Return a condition by its name as it was judged in a minute; None if nothing judged it."""
    watched = next((one for one in watchlist.batches if one.code == batch), None)
    if watched is None:
        return None
    span = watched.span_at(minute)
    watch = watched.watch_in(span)
    if watch is None:
        return None
    in_house = houses.get(batch, "")
    for felt in watch.vital:
        if name == f"{BLIND}{felt.value}":
            return Condition(
                batch=batch,
                name=name,
                house=in_house,
                felt=felt,
                side=None,
                summed=False,
                latches=True,
                priority=Priority.HIGH,
                covered=span.covered,
                sensors=_sensors_of(span, felt),
            )
    judged: tuple[Limit | DoseLimit, ...] = (*watch.limits, *watch.doses)
    for one in judged:
        if one.id == name:
            return Condition(
                batch=batch,
                name=name,
                house=in_house,
                felt=one.quantity,
                side=one.side,
                summed=one in watch.doses,
                latches=one.latches,
                priority=one.priority,
                covered=span.covered,
                sensors=_sensors_of(span, one.quantity),
            )
    return None


def _sensors_of(span: Span, felt: Felt) -> frozenset[str]:
    """Return the sensors that speak for a quantity, or for what it is reckoned from."""
    spoken: Iterable[Felt] = (felt,)
    if felt in FROM_THE_AIR and felt not in span.speakers:
        spoken = INPUTS
    return frozenset(
        source.channel.partition("/")[0]
        for one in spoken
        if one in span.speakers
        for source in span.speakers[one].sources
    )
