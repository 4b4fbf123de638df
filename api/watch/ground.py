"""What the watch stands on: the site, what is judged of it, and who hears of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from rules.conditions import condition_in, houses_of
from rules.escalation import who_is_on_duty
from rules.work_in_hand import suppressed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from rules.conditions import Condition
    from rules.model.people import Person
    from rules.model.site import Site
    from rules.model.work import Work
    from rules.watchlist import Watchlist


@dataclass(frozen=True)
class Ground:
    """The site with its watchlist: people, places and conditions are looked up here.

    `seen_to` are the houses whose batches are watched by whoever stands on it; None: all.
    """

    site: Site
    watchlist: Watchlist
    seen_to: frozenset[str] | None = None

    @cached_property
    def houses(self) -> Mapping[str, str]:
        """The house of each batch by its code."""
        return houses_of(self.site)

    def is_ours(self, batch: str) -> bool:
        """Return whether what happens to a batch is ours to keep, as long as it is on the site."""
        if self.seen_to is None or batch not in self.houses:
            return True
        return house_watched_with(self.site, self.houses, batch) in self.seen_to

    def on_duty(self, at: datetime) -> tuple[Person, ...]:
        """Return who is told of what happens at the instant."""
        return who_is_on_duty(self.site, at)

    def people(self, ids: Iterable[str]) -> tuple[Person, ...]:
        """Return the people of these ids, in this order; those who have left are passed over."""
        known = {person.id: person for person in self.site.person}
        return tuple(known[name] for name in dict.fromkeys(ids) if name in known)

    def condition(self, batch: str, name: str, minute: int) -> Condition | None:
        """Return what a condition was about in a minute; None if nothing judged it then."""
        return condition_in(self.watchlist, self.houses, batch=batch, name=name, minute=minute)

    def suppressing(self, works: Sequence[Work], batch: str, name: str, minute: int) -> Work | None:
        """Return the work by which a condition is suppressed by design in a minute, if any."""
        condition = self.condition(batch, name, minute) if works else None
        return None if condition is None else suppressed(works, condition, minute)


def house_watched_with(site: Site, houses: Mapping[str, str], batch: str) -> str:
    """Return the house that a batch is watched with: its own, or the first if it has none."""
    return houses.get(batch) or site.house[0].id


def named(work: Work) -> str:
    """Return a work as it stands in the record of an alarm: "cover_open MG-07, work 3".

    The pages say it in the reader's language.
    """
    return f"{work.kind.value} {work.place}, work {work.id}"


def work_named(note: str) -> int | None:
    """Return the number of the work that `named` wrote; None for another note.

    >>> work_named("cover_open MG-07, work 3"), work_named("sensor is wet")
    (3, None)
    """
    number = note.rpartition(", work ")[2]
    return int(number) if number != note and number.isascii() and number.isdigit() else None
