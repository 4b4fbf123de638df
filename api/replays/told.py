"""What a replay comes to, as one object: printed as JSON, handed out, and said on the page."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, NotRequired, TypedDict

from rules.alarm_history import occurrences_of
from rules.alarm_load import alarm_load
from rules.replay import alarms_again
from rules.replay_telling import told_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rules.alarm_history import Occurrence
    from rules.alarm_load import AlarmLoad, Reached
    from rules.replay import BatchTally, Book, Low, Tally


class AlarmTold(TypedDict):
    """One alarm; instants are ISO 8601, UTC, values in the unit of the limit's quantity."""

    batch: str
    condition: str
    stage: str
    priority: str
    opened: str
    ended: str | None
    value: float | None
    worst: float | None
    rang: bool
    acknowledged: str | None


class LowTold(TypedDict):
    """A value and when it was."""

    value: float
    at: str


class BatchTold(TypedDict):
    """One batch: minutes by standing, the least water left, the most that each sum came to."""

    minutes: dict[str, int]
    blind_min: int
    reserve_low_pct: LowTold | None
    doses_most: dict[str, LowTold]


class Told(TypedDict):
    """All that a replay says. `messages` counts them by person, in each way of being answered."""

    start: str
    end: str
    as_it_happened: bool
    alarms: list[AlarmTold]
    batches: dict[str, BatchTold]
    messages: dict[str, dict[str, int]]
    rings: NotRequired[AlarmLoad]


def replayed_values(
    book: Book,
    tally: Tally,
    told_of: tuple[int, int],
    *,
    minutes: range,
    gaps: Sequence[tuple[int, int]],
    lateness_min: int,
    rings: bool,
    as_it_happened: bool,
) -> Told:
    """Return everything that a replay says of the minutes `told_of`, first and end.

    `minutes` are those that were judged.
    """
    first, end = told_of
    unanswered = replace(book, answers=())
    variants = {
        "nobody_answers": occurrences_of(
            book.site, alarms_again(unanswered, tally.conditions, minutes)
        ),
        "as_answered": occurrences_of(book.site, tally.changes),
    }
    if not book.answers:
        del variants["as_answered"]
    reached = {
        name: told_in(
            book.site,
            book.watchlist,
            occurrences,
            end_minute=end,
            lateness_min=lateness_min,
            gaps=gaps,
        )
        for name, occurrences in variants.items()
    }
    real = occurrences_of(book.site, tally.changes)
    told: Told = {
        "start": _instant(first),
        "end": _instant(end),
        "as_it_happened": as_it_happened,
        "alarms": [_alarm(one) for one in real if first <= one.minute < end],
        "batches": {code: _batch(one) for code, one in tally.batches.items()},
        "messages": {
            name: {
                person.id: sum(one.person == person.id and one.minute >= first for one in every)
                for person in book.site.person
            }
            for name, every in reached.items()
        },
    }
    if rings:
        name = "as_answered" if book.answers else "nobody_answers"
        told["rings"] = _load(book, real, reached[name], told_of)
    return told


def _load(
    book: Book,
    occurrences: Sequence[Occurrence],
    reached: Sequence[Reached],
    told_of: tuple[int, int],
) -> AlarmLoad:
    first, end = told_of
    return alarm_load(
        book.site.site,
        occurrences,
        reached,
        people=[one.id for one in book.site.person],
        first_minute=first,
        end_minute=end,
    )


def _alarm(one: Occurrence) -> AlarmTold:
    return {
        "batch": one.batch,
        "condition": one.limit.condition,
        "stage": one.limit.stage,
        "priority": one.priority.value,
        "opened": _instant(one.minute),
        "ended": None if one.over is None else _instant(one.over),
        "value": one.value,
        "worst": one.worst,
        "rang": one.rang,
        "acknowledged": None if one.answered is None else _instant(one.answered),
    }


def _batch(one: BatchTally) -> BatchTold:
    return {
        "minutes": {
            "unwatched" if standing is None else standing.value: minutes
            for standing, minutes in sorted(one.standing_min.items(), key=lambda pair: -pair[1])
        },
        "blind_min": one.blind_min,
        "reserve_low_pct": None if one.reserve_low is None else _low(one.reserve_low),
        "doses_most": {name: _low(most) for name, most in one.doses.items()},
    }


def _low(one: Low) -> LowTold:
    return {"value": round(one.value, 3), "at": _instant(one.minute)}


def _instant(minute: int) -> str:
    return datetime.fromtimestamp(minute * 60, UTC).isoformat()
