"""What a replay comes to, as one object and as lines for a person."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, NotRequired, TypedDict

from api.cli.rings import load_lines
from api.v1.rings import LoadBody, load_body
from rules.alarm_history import occurrences_of
from rules.alarm_load import alarm_load
from rules.local_time import to_local
from rules.replay import alarms_again
from rules.replay_telling import told_in

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rules.alarm_history import Occurrence
    from rules.alarm_load import Reached
    from rules.model.site import Site
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
    rings: NotRequired[dict[str, object]]


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
        told["rings"] = _load(book, real, reached[name], told_of).model_dump(mode="json")
    return told


def _load(
    book: Book,
    occurrences: Sequence[Occurrence],
    reached: Sequence[Reached],
    told_of: tuple[int, int],
) -> LoadBody:
    first, end = told_of
    load = alarm_load(
        book.site.site,
        occurrences,
        reached,
        people=[one.id for one in book.site.person],
        first_minute=first,
        end_minute=end,
    )
    return load_body(load)


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


def replayed_lines(told: Told, site: Site) -> Iterator[str]:
    """Yield what a replay says as lines; times are those of the site."""

    def local(text: str) -> str:
        return f"{to_local(datetime.fromisoformat(text), site.site):%Y-%m-%d %H:%M}"

    how = "as it happened" if told["as_it_happened"] else "every reading counted"
    yield f"{local(told['start'])} to {local(told['end'])} at the site, {how}"
    yield ""
    alarms = told["alarms"]
    yield f"{len(alarms)} alarms"
    for one in alarms:
        until = "still true" if one["ended"] is None else f"to {local(one['ended'])}"
        worst = "" if one["worst"] is None else f", at worst {one['worst']:.4g}"
        held = "" if one["rang"] else ", held back"
        yield (
            f"  {local(one['opened'])} {until}  {one['batch']}: {one['condition']} "
            f"({one['priority']}){worst}{held}"
        )
    yield ""
    batches = told["batches"]
    for code, batch in batches.items():
        hours = [f"{name} {minutes / 60:.1f} h" for name, minutes in batch["minutes"].items()]
        yield f"{code}: {', '.join(hours)}"
        if batch["reserve_low_pct"] is not None:
            low = batch["reserve_low_pct"]
            yield f"  least water left: {low['value']:.0f} % at {local(low['at'])}"
        for name, most in batch["doses_most"].items():
            yield f"  {name}: {most['value']:.3g} at most, {local(most['at'])}"
    yield ""
    messages = told["messages"]
    for name, people in messages.items():
        said = ", ".join(f"{person} {count}" for person, count in people.items())
        yield f"messages, {name.replace('_', ' ')}: {said}"
    if "rings" in told:
        yield ""
        yield from load_lines(LoadBody.model_validate(told["rings"]), site)
