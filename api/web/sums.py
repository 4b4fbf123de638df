"""The sums of a batch beside their bounds: how much so far, since when, what of it was not seen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from api.web.estimates import LEAF, is_reckoned
from rules.local_time import to_local
from rules.model.dose import Per

if TYPE_CHECKING:
    from api.web.telling import Telling
    from rules.evaluator import BatchOutlook
    from rules.outlook import DoseNow


@dataclass(frozen=True, slots=True)
class SumRow:
    """A dose limit as a row. `wrong` is "", "low" or "high".

    `again`: the row above has the same sum.
    """

    what: str
    again: bool
    need: str
    total: str
    wrong: str
    counted: str


def sum_rows(seen: BatchOutlook | None, telling: Telling) -> tuple[SumRow, ...]:
    """Return a row for every dose limit of the batch's stage."""
    if seen is None:
        return ()
    return tuple(
        _row(one, seen, telling, again=place > 0)
        for alike in same_sums(seen)
        for place, one in enumerate(alike)
    )


def same_sums(seen: BatchOutlook) -> tuple[tuple[DoseNow, ...], ...]:
    """Return the doses of a batch, those that add up the same side by side, in the plan's order."""
    alike: dict[tuple[object, ...], list[DoseNow]] = {}
    for one in seen.doses:
        dose = one.dose
        key = (dose.kind, dose.quantity, dose.per, dose.when, dose.threshold, dose.beyond)
        alike.setdefault(key, []).append(one)
    return tuple(tuple(doses) for doses in alike.values())


def sum_of(one: DoseNow, telling: Telling) -> str:
    """Return the sum so far with its unit."""
    if one.total is None:
        return telling.words.sum_not_yet
    return telling.total(one.dose.kind, one.total)


def sum_since(one: DoseNow, telling: Telling) -> str:
    """Return since when it runs: "since midnight", or the day the stage, or counting, began."""
    if one.since_minute is None:
        return ""
    at = instant_of(one.since_minute)
    local = to_local(at, telling.site.site)
    today = to_local(telling.now, telling.site.site).date()
    if one.dose.per is Per.LOCAL_DAY and one.whole and local.date() == today:
        return telling.words.since_midnight
    if local.time() == time(0):
        return telling.words.counted_since(telling.day(local.date()))
    return telling.words.counted_since(telling.time(at))


def _row(one: DoseNow, seen: BatchOutlook, telling: Telling, *, again: bool) -> SumRow:
    words = telling.words
    counted = [sum_since(one, telling)]
    if one.total is not None and one.dose.per is Per.LOCAL_DAY and not one.whole:
        counted.append(words.sum_begun_late)
    if one.unseen_min:
        counted.append(words.not_seen_for(words.lasting(one.unseen_min * 60)))
    what = telling.summed(one.dose)
    if one.dose.quantity in LEAF and is_reckoned(seen):
        what = f"{what} ({words.reckoned})"
    return SumRow(
        what=what,
        again=again,
        need=telling.need(one.dose),
        total=sum_of(one, telling),
        wrong=one.dose.side.value if one.raised else "",
        counted="; ".join(part for part in counted if part),
    )
