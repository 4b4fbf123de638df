"""What a limit costs and what it buys, counted over a record: alarms, danger, warning, false calls.

The same counts for every value of a limit, every care plan and every supposed change, so that they
can stand side by side. Nothing here says which is the better one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.alarm_history import limit_named, occurrences_of
from rules.alarm_load import whole_nights
from rules.cells import in_millionths
from rules.limits import Verdict, verdicts
from rules.model.alarm import Priority
from rules.model.batch import Seen, Stage
from rules.model.event import ConditionOpened, StandingChanged
from rules.replay import BatchTally, Tally
from rules.speaking import first_cell
from rules.watchlist import BLIND

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from rules.alarm_history import LimitName, Occurrence
    from rules.model.batch import Batch
    from rules.model.plan import Limit
    from rules.model.site import Site
    from rules.record import BatchRecord
    from rules.replay import Passage
    from rules.watchlist import BatchWatch

Flags = NDArray[np.bool_]

DAY_MIN = 1440

LEAST_LOSSES = 5
"""Of fewer losses no lead time is told for all of them together: house rule, no source."""


@dataclass(frozen=True, slots=True)
class Loss:
    """A batch that was lost, and the minute it is dated by. `named`: by who asks, not recorded."""

    batch: str
    minute: int
    named: bool


@dataclass(frozen=True, slots=True)
class Lead:
    """How long before a loss its first call came, in minutes; None: no call came in time."""

    loss: Loss
    lead_min: int | None


@dataclass(frozen=True, slots=True)
class Trade:
    """What one value, plan or supposed change comes to over the minutes that are told of.

    `calls` are rings of the limits that are looked at, `alarms` those of everything, blindness too;
    `per_night` counts the calls in whole nights, sunset to sunrise, None where the record holds
    none. `beyond_min` adds up, over the batches, the minutes beyond a limit that is looked at, as
    it is in this one; `danger_min` those beyond a high limit of the plan as it stands;
    `unsaid_min` those of them in which no limit that is looked at had said so yet, or any longer.
    `true_calls` came within `within_min` before a loss of their batch; `false_calls` were followed
    by none for as long; of `unsettled_calls` the record ends too soon to tell, and `late_calls`
    came after the loss. `reserve_low_pct` is the least likely reserve of all batches.
    """

    nights: int
    days: float
    calls: int
    alarms: int
    per_night: float | None
    per_day: float
    beyond_min: int
    danger_min: int
    unsaid_min: int
    blind_min: int
    reserve_low_pct: float | None
    leads: tuple[Lead, ...]
    true_calls: int
    false_calls: int
    unsettled_calls: int
    late_calls: int

    @property
    def median_lead_min(self) -> float | None:
        """The middle lead of the losses that were called; None with fewer than LEAST_LOSSES.

        A loss without a call counts as a lead of nothing, so that a limit that misses half of the
        losses is not praised for the other half.
        """
        if len(self.leads) < LEAST_LOSSES:
            return None
        return float(np.median([one.lead_min or 0 for one in self.leads]))


def losses_of(batches: Iterable[Batch]) -> tuple[Loss, ...]:
    """Return the batches recorded as lost: declared failed, or counted with none alive."""
    found: list[Loss] = []
    for batch in batches:
        lost = [first_cell(move.since) for move in batch.stage if move.stage is Stage.FAILED]
        lost += [
            first_cell(one.at)
            for one in batch.observation
            if one.seen is Seen.COUNTED and one.alive == 0 and one.counted > 0
        ]
        if lost:
            found.append(Loss(batch.code, min(lost), named=False))
    return tuple(found)


def beyond_in(
    batch: BatchWatch,
    record: BatchRecord,
    first_minute: int,
    *,
    sun_up: Flags,
    chosen: Callable[[Stage, Limit], bool],
) -> Flags:
    """Return the minutes of a block in which a batch is beyond one of the chosen limits.

    Delays do not count, the part of the day and the film do; what is missing is not beyond.
    """
    minutes = len(sun_up)
    beyond = np.zeros(minutes, dtype=np.bool_)
    for place, span in enumerate(batch.spans):
        end = minutes
        if place + 1 < len(batch.spans):
            end = min(end, batch.spans[place + 1].first_minute - first_minute)
        rows = slice(max(0, span.first_minute - first_minute), max(0, end))
        watch = batch.watch_in(span)
        if watch is None or span.stage is None or rows.start >= rows.stop:
            continue
        grid = first_minute + np.arange(rows.start, rows.stop, dtype=np.int64)
        film_open = batch.kit_in(span).film_open(grid)
        for limit, bound in zip(watch.limits, watch.bounds, strict=True):
            if not chosen(span.stage, limit) or limit.quantity not in record.felt:
                continue
            felt = record.felt[limit.quantity][rows]
            present = ~np.isnan(felt)
            values = in_millionths(np.where(present, felt, 0.0))
            said = verdicts(bound, values, present, sun_up=sun_up[rows], film_open=film_open)
            beyond[rows] |= said == Verdict.BEYOND
    return beyond


def is_danger(_stage: Stage, limit: Limit) -> bool:
    """Return whether a limit is one of danger."""
    return limit.priority is Priority.HIGH


@dataclass
class TradeTally:
    """Counts one value, plan or supposed change in, block after block.

    `looked_at` are the limits whose calls are counted; None: every limit and sum, not blindness.
    """

    site: Site
    told_from: int
    looked_at: frozenset[LimitName] | None
    beyond_min: int = 0
    danger_min: int = 0
    unsaid_min: int = 0
    tally: Tally = field(init=False)
    _open: set[tuple[str, str]] = field(default_factory=set[tuple[str, str]])

    def __post_init__(self) -> None:
        self.tally = Tally(self.told_from)

    def take(
        self, passage: Passage, *, beyond: Mapping[str, Flags], danger: Mapping[str, Flags]
    ) -> None:
        """Count a block in: by batch, where it is beyond what is looked at, and where in danger."""
        skip = min(max(0, self.told_from - passage.first_minute), passage.minutes)
        said = self._said(passage)
        for flags in beyond.values():
            self.beyond_min += int(flags[skip:].sum())
        for code, flags in danger.items():
            self.danger_min += int(flags[skip:].sum())
            self.unsaid_min += int((flags & ~said[code])[skip:].sum())
        self.tally.take(passage)
        # Only what rang is asked for at the end: of a long record, the events are not kept.
        self.tally.conditions.clear()

    def counts(self, limit: LimitName) -> bool:
        """Return whether a condition is one of those looked at."""
        if self.looked_at is None:
            return not limit.condition.startswith(BLIND)
        return limit in self.looked_at

    def _said(self, passage: Passage) -> dict[str, Flags]:
        """Return by batch the minutes of a block in which a limit that is looked at says so."""
        said = {code: np.zeros(passage.minutes, dtype=np.bool_) for code in passage.record.batches}
        since = dict.fromkeys(self._open, passage.first_minute)
        for event in passage.events:
            if isinstance(event, StandingChanged):
                continue
            key = (event.batch, event.condition)
            if isinstance(event, ConditionOpened):
                if self.counts(limit_named(self.site, *key, event.minute)):
                    since[key] = event.minute
            elif key in since:
                self._mark(said, key, since.pop(key), event.minute, passage)
        for key, begun in since.items():
            self._mark(said, key, begun, passage.first_minute + passage.minutes, passage)
        self._open = set(since)
        return said

    @staticmethod
    def _mark(
        said: dict[str, Flags], key: tuple[str, str], begun: int, end: int, passage: Passage
    ) -> None:
        if key[0] in said:
            said[key[0]][begun - passage.first_minute : end - passage.first_minute] = True


def trade_of(
    counted: TradeTally, losses: Sequence[Loss], *, end_minute: int, within_min: int
) -> Trade:
    """Return what was counted, with what became of each call, told until before `end_minute`."""
    first = counted.told_from
    occurrences = occurrences_of(counted.site, counted.tally.changes)
    rang = [one for one in occurrences if one.rang and first <= one.minute < end_minute]
    calls = [one for one in rang if counted.counts(one.limit)]
    nights = whole_nights(counted.site.site, first, end_minute)
    in_night = sum(begin <= one.minute < end for one in calls for begin, end in nights)
    days = (end_minute - first) / DAY_MIN
    lost_at = {one.batch: one.minute for one in losses}
    became = [
        _became(one, lost_at.get(one.batch), end_minute=end_minute, within_min=within_min)
        for one in calls
    ]
    batches: Sequence[BatchTally] = tuple(counted.tally.batches.values())
    lows = [one.reserve_low.value for one in batches if one.reserve_low is not None]
    return Trade(
        nights=len(nights),
        days=days,
        calls=len(calls),
        alarms=len(rang),
        per_night=in_night / len(nights) if nights else None,
        per_day=len(calls) / days,
        beyond_min=counted.beyond_min,
        danger_min=counted.danger_min,
        unsaid_min=counted.unsaid_min,
        blind_min=sum(one.blind_min for one in batches),
        reserve_low_pct=min(lows, default=None),
        leads=tuple(_lead(one, calls, within_min) for one in losses),
        true_calls=became.count("true"),
        false_calls=became.count("false"),
        unsettled_calls=became.count("unsettled"),
        late_calls=became.count("late"),
    )


def _became(call: Occurrence, lost: int | None, *, end_minute: int, within_min: int) -> str:
    if lost is not None and call.minute > lost:
        return "late"
    if lost is not None and lost - call.minute <= within_min:
        return "true"
    # A loss that is known to be further off settles it, however soon the record ends.
    return "false" if lost is not None or end_minute - call.minute >= within_min else "unsettled"


def _lead(loss: Loss, calls: Sequence[Occurrence], within_min: int) -> Lead:
    before = [
        loss.minute - one.minute
        for one in calls
        if one.batch == loss.batch and 0 <= loss.minute - one.minute <= within_min
    ]
    return Lead(loss, max(before, default=None))
