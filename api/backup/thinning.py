"""Which of many backups are kept: the last of each day, week and month for so many of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Sequence
    from datetime import date

    from api.backup.folder import Kept


@dataclass(frozen=True, slots=True)
class Thinning:
    """Of how many days, weeks and months the last backup is kept. Common practice, no source."""

    days: int
    weeks: int
    months: int


def spared(
    backups: Sequence[Kept], thinning: Thinning, day_of: Callable[[Kept], date]
) -> frozenset[Kept]:
    """Return the backups to be kept; the newest is always among them.

    Days, weeks (from Monday on) and months that have no backup do not count: after a time without
    any, the old ones are still there.
    """
    newest_first = sorted(backups, key=lambda one: one.at, reverse=True)
    kept = set(newest_first[:1])
    periods: tuple[tuple[int, Callable[[date], Hashable]], ...] = (
        (thinning.days, lambda day: day),
        (thinning.weeks, lambda day: day.isocalendar()[:2]),
        (thinning.months, lambda day: (day.year, day.month)),
    )
    for most, period_of in periods:
        seen: dict[Hashable, Kept] = {}
        for one in newest_first:
            seen.setdefault(period_of(day_of(one)), one)
        kept |= set(list(seen.values())[:most])
    return frozenset(kept)
