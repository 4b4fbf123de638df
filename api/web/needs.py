"""What a batch needs beside what it has: a row for each limit of its stage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from api.v1.foresight import watched
from api.web.estimates import felt_text
from api.web.pictures import worst_by_night
from rules.model.plan import FilmState, When
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.v1.far_back import FarBack
    from api.v1.sight import SpanRecord
    from api.web.batch_day import BatchDay
    from api.web.pictures import DayPicture
    from api.web.telling import Telling
    from rules.evaluator import BatchOutlook, Judged
    from rules.model.plan import Limit

BY_DAY = frozenset({Felt.PPFD, Felt.EXPECTED_PEAK})
"""Quantities whose night says nothing."""


@dataclass(frozen=True, slots=True)
class NeedRow:
    """A limit beside now, last night's worst and the worst since grafting.

    `wrong` is "", "low" or "high". Of the worst since grafting nothing is called wrong: in an
    earlier stage other limits held.

    `again`: the row above speaks of the same quantity.
    """

    what: str
    again: bool
    need: str
    now: str
    now_wrong: str
    worst: str
    worst_wrong: str
    ever: str
    read: str


@dataclass(frozen=True, slots=True)
class LookedBack:
    """What rows look back on: the last night, the day from the last noon on, and all before."""

    last_night: DayPicture
    today: SpanRecord
    far: FarBack


def need_rows(shown: BatchDay, back: LookedBack) -> tuple[NeedRow, ...]:
    """Return a row for each limit, those of one quantity under one another."""
    seen = shown.seen
    if seen is None:
        return ()
    by_felt: dict[Felt, list[Judged]] = {}
    for one in seen.judged:
        by_felt.setdefault(one.limit.quantity, []).append(one)
    return tuple(
        _row(one, seen, shown, back, again=place > 0)
        for judged in by_felt.values()
        for place, one in enumerate(judged)
    )


def _row(
    one: Judged, seen: BatchOutlook, shown: BatchDay, back: LookedBack, *, again: bool
) -> NeedRow:
    limit, telling = one.limit, shown.telling
    words = telling.words
    side = limit.side.value
    value = words.not_seen
    if one.value is not None:
        value = felt_text(limit.quantity, one.value, seen, telling)
        if not one.speaks:
            value = f"{value} ({_silent(one, telling.words.not_judged_now, shown)})"
    worst, worst_wrong = _worst(one, shown, back.last_night)
    read = words.no_reading
    now = seen.felt.get(limit.quantity)
    if now is not None and now.channel is None:
        read = words.reckoned
    elif now is not None and now.age_min is not None:
        read = telling.minutes_ago(now.age_min)
    read = "; ".join((read, *_doubts(seen, limit.quantity, telling)))
    return NeedRow(
        what=words.felt[limit.quantity],
        again=again,
        need=telling.need(limit),
        now=value,
        now_wrong=side if one.margin is not None and one.margin < 0 else "",
        worst=worst,
        worst_wrong=worst_wrong,
        ever=_ever(limit, shown, back),
        read=read,
    )


def _doubts(seen: BatchOutlook, felt: Felt, telling: Telling) -> Iterator[str]:
    """Yield what speaks against the newest word of a quantity."""
    belief, words = seen.belief_in(felt), telling.words
    if belief.failed is not None:
        yield words.not_believed(words.doubts[belief.failed])
    if belief.suspect is not None:
        yield words.suspect(words.doubts[belief.suspect])
    if belief.out_of_calibration:
        yield words.calibration_over


def _silent(one: Judged, by_hour: str, shown: BatchDay) -> str:
    """Say why a limit does not speak now: the film holds, or it is not its part of the day."""
    waits = one.limit.film is FilmState.OPEN and not shown.film_is_open()
    return shown.telling.words.film_holds if waits else by_hour


def _worst(one: Judged, shown: BatchDay, last_night: DayPicture) -> tuple[str, str]:
    """Return the worst of last night, and the side on which it was wrong, if it was."""
    limit, telling = one.limit, shown.telling
    words = telling.words
    if limit.when is When.DAY or limit.quantity in BY_DAY:
        return words.not_at_night, ""
    record = last_night.batches.get(shown.batch.code)
    if record is None:
        return words.not_seen, ""
    found = worst_by_night(
        record,
        last_night.day,
        shown.parts.site.site,
        limit,
        film_open=shown.film_open(last_night.day),
    )
    if found is None:
        return words.not_seen, ""
    value, minute = found
    side = limit.side.value
    beyond = value < limit.bound if side == "low" else value > limit.bound
    shown_value = telling.value(limit.quantity, value)
    if shown_value != words.no_end:
        shown_value = f"{shown_value}, {telling.clock(instant_of(minute))}"
    return shown_value, side if beyond else ""


def _ever(limit: Limit, shown: BatchDay, back: LookedBack) -> str:
    """Return the worst since grafting with its time, of what sensors told."""
    telling = shown.telling
    batch = watched(shown.parts.watchlist, shown.batch.code)
    if batch is None:
        return telling.words.not_seen
    if not back.far.can_tell(batch, limit):
        return telling.words.not_kept
    found = back.far.worst(shown.batch, batch, limit, back.today)
    if found is None:
        return telling.words.not_seen
    return f"{telling.value(limit.quantity, found.value)}, {telling.time(instant_of(found.minute))}"
