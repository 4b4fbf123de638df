"""What held for a batch over a span of minutes: its limits as they were then, and what happened.

A limit is that of the version of the plan and of the stage that were in force in each minute,
never that of today.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.day import instant_of
from api.drawing.scale import runs_of
from api.records.alarm_lists import alarms_between
from api.records.tables import as_ms
from api.v1.lines import line_of
from rules.limits import bound_of, bound_table
from rules.model.plan import Side, When
from rules.model.reading import MINUTE_MS, minute_of
from rules.speaking import first_cell
from rules.sun import sun_is_up

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from api.book import InForce
    from api.parts import Parts
    from api.records.alarms import AlarmRecord
    from api.v1.lines import Line
    from api.v1.sight import Sight
    from rules.model.batch import Batch, Observation, Stage
    from rules.model.place import Place
    from rules.model.plan import Limit
    from rules.model.quantities import Felt
    from rules.speaking import Span
    from rules.watchlist import BatchWatch


@dataclass(frozen=True, slots=True)
class LimitHeld:
    """A limit that was in force from a minute until before another, by a plan's version."""

    limit: Limit
    first_minute: int
    end_minute: int
    version: int
    stage: Stage


@dataclass(frozen=True, slots=True)
class Stood:
    """From a minute on a batch stood so: its stage, and whether its cover was on."""

    minute: int
    stage: Stage | None
    covered: bool
    version: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """One quantity of a batch over the minutes from `first_minute` until before `end_minute`.

    `beyond` says for each of `limits` how far each entry of the line lies beyond it; 0 or less
    inside, and where the limit did not speak. `stood` begins with how the batch stood at the start.
    Something could be known from `known_from` until before `known_to`: since the batch has a stage,
    and until now.
    """

    code: str
    felt: Felt
    first_minute: int
    end_minute: int
    known_from: int
    known_to: int
    line: Line
    limits: tuple[LimitHeld, ...]
    beyond: tuple[NDArray[np.float64], ...]
    stood: tuple[Stood, ...]
    observations: tuple[Observation, ...]
    alarms: tuple[AlarmRecord, ...]


def stretch_of(
    parts: Parts,
    sight: Sight,
    db: Connection,
    batch: Batch,
    felt: Felt,
    *,
    first_minute: int,
    end_minute: int,
) -> Stretch:
    """Gather a stretch; ValueError for a span or a quantity that `line_of` denies."""
    book = parts.book.now
    watched = next(one for one in book.watchlist.batches if one.code == batch.code)
    line = line_of(parts, sight, watched, felt, first_minute=first_minute, end_minute=end_minute)
    return stretch_round(
        book,
        db,
        batch,
        felt,
        line,
        first_minute=first_minute,
        end_minute=end_minute,
        now_minute=minute_of(as_ms(parts.clock.now())),
    )


def stretch_round(
    book: InForce,
    db: Connection | None,
    batch: Batch,
    felt: Felt,
    line: Line,
    *,
    first_minute: int,
    end_minute: int,
    now_minute: int,
) -> Stretch:
    """Gather what stood round a line; without records (None) no alarms."""
    watched = next(one for one in book.watchlist.batches if one.code == batch.code)
    versions = [plan.version for plan in book.plans[batch.plan]]
    every = tuple(limits_held(watched, versions, first_minute, end_minute))
    limits = tuple(one for one in every if one.limit.quantity is felt)
    start, end = instant_of(first_minute), instant_of(end_minute)
    names = {one.limit.id for one in limits} | {f"blind.{felt.value}"}
    alarms = () if db is None else alarms_between(db, batch.code, start, end)
    return Stretch(
        code=batch.code,
        felt=felt,
        first_minute=first_minute,
        end_minute=end_minute,
        known_from=min(end_minute, max(first_minute, first_cell(batch.stage[0].since))),
        known_to=max(first_minute, min(end_minute, now_minute)),
        line=line,
        limits=limits,
        beyond=tuple(_beyond(line, one, watched, book.site.site) for one in limits),
        stood=tuple(stood_in(watched, versions, first_minute, end_minute)),
        observations=tuple(_seen_between(batch, start, end)),
        alarms=tuple(one for one in alarms if one.condition in names),
    )


def limits_held(
    watched: BatchWatch, versions: Sequence[int], first_minute: int, end_minute: int
) -> Iterator[LimitHeld]:
    """Yield every limit in force in a span, in one piece as long as it stayed the same."""
    open_now: dict[str, LimitHeld] = {}
    for span, first, end in spans_in(watched, first_minute, end_minute):
        watch, stage = watched.watch_in(span), span.stage
        judged = () if watch is None or stage is None else watch.limits
        here = {limit.id: limit for limit in judged}
        for name, held in list(open_now.items()):
            if here.get(name) != held.limit:
                yield open_now.pop(name)
        for name, limit in here.items():
            known = open_now.get(name)
            if known is not None:
                open_now[name] = replace(known, end_minute=end)
            elif stage is not None:
                open_now[name] = LimitHeld(limit, first, end, versions[span.version], stage)
    yield from open_now.values()


def stood_in(
    watched: BatchWatch, versions: Sequence[int], first_minute: int, end_minute: int
) -> Iterator[Stood]:
    """Yield how a batch stood at the start of a span, and each change of that within it."""
    before: tuple[Stage | None, bool, int] | None = None
    for span, first, _ in spans_in(watched, first_minute, end_minute):
        now = (span.stage, span.covered, versions[span.version])
        if now != before:
            yield Stood(first, *now)
            before = now


def spans_in(
    watched: BatchWatch, first_minute: int, end_minute: int
) -> Iterator[tuple[Span, int, int]]:
    """Yield a batch's spans in the minutes asked for, each with its part of them."""
    edges = [*(span.first_minute for span in watched.spans), end_minute]
    for place, span in enumerate(watched.spans):
        first, end = max(edges[place], first_minute), min(edges[place + 1], end_minute)
        if first < end:
            yield span, first, end


def speaking_spans(
    held: LimitHeld, watched: BatchWatch, place: Place
) -> tuple[tuple[int, int], ...]:
    """Return the minutes in which a limit could speak: by day, by night, while the film is open."""
    minutes = np.arange(held.first_minute, held.end_minute, dtype=np.int64)
    spoke = _speaks(held, watched, place, minutes)
    return tuple((held.first_minute + a, held.first_minute + b) for a, b in runs_of(spoke))


def _speaks(
    held: LimitHeld, watched: BatchWatch, place: Place, minutes: NDArray[np.int64]
) -> NDArray[np.bool_]:
    kit = watched.kit_in(watched.span_at(held.first_minute))
    whole = np.ones(minutes.size, dtype=np.bool_)
    sun_up = whole if held.limit.when is When.ALWAYS else sun_is_up(place, minutes)
    film = kit.film_open(minutes) if held.limit.film is not None else whole
    table = bound_table([bound_of(held.limit)])
    speaking: NDArray[np.bool_] = table.speaking(sun_up=sun_up, film_open=film)[0]
    return speaking


def _beyond(line: Line, held: LimitHeld, watched: BatchWatch, place: Place) -> NDArray[np.float64]:
    high = held.limit.side is Side.HIGH
    how_far = line.high - held.limit.bound if high else held.limit.bound - line.low
    minutes = line.at_ms // MINUTE_MS
    within = (minutes >= held.first_minute) & (minutes < held.end_minute)
    spoke = np.zeros(minutes.size, dtype=np.bool_)
    spoke[within] = _speaks(held, watched, place, minutes[within])
    return np.where(spoke, how_far, -1.0)


def _seen_between(batch: Batch, start: datetime, end: datetime) -> Iterator[Observation]:
    for one in sorted(batch.observation, key=lambda one: one.at):
        if start <= one.at < end:
            yield one
