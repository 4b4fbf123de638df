"""The review of a batch answers why it failed: one line of time, siblings, candidate causes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from api.drawing.day import day_of, instant_of
from api.records.alarm_lists import alarms_between
from api.records.session import reading
from api.v1.lines import Line, Told
from api.v1.stretch import stretch_round
from api.web.held import says_of
from api.web.review_says import (
    answer_says,
    cause_says,
    dated,
    evidence_says,
    exposure_value,
    rank_says,
    take_says,
    untold_says,
    when,
)
from api.web.span_picture import drawn_on_page, span_words
from api.web.words.charts import chart_words
from api.web.words.review import review_words
from rules.exposures import Exposure
from rules.harm import NOTHING
from rules.local_time import local_day
from rules.model.batch import ENDED
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS
from rules.review import OF_AIR, Weight, amount_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from markupsafe import Markup
    from sqlalchemy import Connection

    from api.parts import Parts
    from api.reviewing import Reviewed
    from api.v1.stretch import Stretch
    from api.web.telling import Telling
    from rules.review import Candidate, Review

LANES = (Felt.RELATIVE_HUMIDITY, Felt.AIR_TEMPERATURE, Felt.PPFD, Felt.RESERVE)
MOST_LISTED = 200


@dataclass(frozen=True, slots=True)
class CandidateLines:
    """One candidate in words: what speaks for it and what against."""

    cause: str
    weight: str
    much: bool
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ExposureRow:
    """One exposure beside siblings, in words."""

    what: str
    own: str
    at: str
    middle: str
    place: str


@dataclass(frozen=True, slots=True)
class Lane:
    """One quantity along the line of time."""

    name: str
    drawn: Markup


@dataclass(frozen=True, slots=True)
class ReviewPage:
    """All that a review says."""

    code: str
    kind: str
    title: str
    answer: str
    lines: tuple[str, ...]
    candidates: tuple[CandidateLines, ...]
    others: tuple[CandidateLines, ...]
    untold: tuple[str, ...]
    rows: tuple[ExposureRow, ...]
    siblings: str
    span: str
    lanes: tuple[Lane, ...]
    night: str
    night_lanes: tuple[Lane, ...]
    happened: tuple[tuple[str, str], ...]


def review_page(parts: Parts, found: Reviewed, telling: Telling) -> ReviewPage:
    """Gather what the page says and draws."""
    first, end = found.life.first_minute, found.life.first_minute + found.life.minutes
    night = worst_day_in(found, telling)
    with reading(parts.records) as db:
        lanes = tuple(_lanes(parts, db, found, telling, first, end))
        night_lanes = tuple(_lanes(parts, db, found, telling, *night)) if night else ()
    return replace(told_page(parts, found, telling), lanes=lanes, night_lanes=night_lanes)


def told_page(parts: Parts, found: Reviewed, telling: Telling) -> ReviewPage:
    """Gather what the page says, without its pictures."""
    words, review = review_words(telling.words.code), found.review
    first, end = found.life.first_minute, found.life.first_minute + found.life.minutes
    ranked = [_lines_of(one, telling) for one in review.candidates]
    shown = max(1, sum(one.weight is not Weight.LITTLE for one in review.candidates))
    return ReviewPage(
        code=found.batch.code,
        kind=telling.kind(found.batch),
        title=words.title[review.take.outcome].format(code=found.batch.code),
        answer=answer_says(review, telling),
        lines=tuple(about(found, telling)),
        candidates=tuple(ranked[:shown]),
        others=tuple(ranked[shown:]),
        untold=tuple(untold_says(review, telling)),
        rows=tuple(exposure_rows(review, telling)),
        siblings=siblings_say(review, telling),
        span=span_words(first, end, telling) if first < end else "",
        lanes=(),
        night=_night_words(worst_day_in(found, telling), telling),
        night_lanes=(),
        happened=tuple(happened(parts, found, telling))[:MOST_LISTED],
    )


def about(found: Reviewed, telling: Telling) -> Iterator[str]:
    """Yield the sentences below the answer: how many took, the first sign, the span."""
    words, review = review_words(telling.words.code), found.review
    yield take_says(review, telling)
    if review.sign is None:
        yield words.no_sign
    else:
        yield words.sign.format(when=dated(telling, review.sign.timestamp()))
    if review.end_minute > review.first_minute:
        yield words.span.format(
            start=when(telling, review.first_minute),
            end=when(telling, review.end_minute),
            share=telling.words.number(100.0 * found.review.doubts.seen_share, 0),
        )
    if found.batch.stage[-1].stage not in ENDED:
        yield words.standing_still


def exposure_rows(review: Review, telling: Telling) -> Iterator[ExposureRow]:
    """Yield the exposures that are known, beside those of siblings."""
    words = review_words(telling.words.code)
    for exposure in Exposure:
        if exposure not in review.exposures:
            continue
        own = review.exposures[exposure]
        middle = review.siblings.middle(exposure)
        yield ExposureRow(
            what=words.exposures[exposure],
            own=exposure_value(exposure, own.value, telling),
            at="" if own.minute is None else when(telling, own.minute),
            middle="" if middle is None else exposure_value(exposure, middle, telling),
            place=rank_says(review, exposure, telling),
        )


def siblings_say(review: Review, telling: Telling) -> str:
    """Return which siblings it was held against, or that they are too few."""
    words = review_words(telling.words.code)
    if not review.siblings.count:
        return words.no_siblings
    codes = words.siblings.format(codes=", ".join(review.siblings.codes))
    few = words.few.format(count=review.siblings.count)
    return f"{few} {codes}" if review.siblings.few else codes


def worst_day_in(found: Reviewed, telling: Telling) -> tuple[int, int] | None:
    """Return the noon-to-noon day of the worst minute of the first cause; None where there is none.

    Where the first answer is none of the air, of the cause of the air that most speaks for.
    """
    first = next((one.cause for one in found.review.candidates if one.cause in OF_AIR), None)
    amount = NOTHING if first is None else amount_of(found.review.harms, first)
    if amount.minute is None:
        return None
    day = day_of(instant_of(amount.minute), telling.site.site)
    return day.first_minute, day.end_minute


def _night_words(night: tuple[int, int] | None, telling: Telling) -> str:
    if night is None:
        return ""
    start, end = (local_day(instant_of(minute), telling.site.site) for minute in night)
    words = review_words(telling.words.code)
    day = words.day.format(start=telling.day(start), end=telling.day(end))
    return words.night.format(day=day)


def _lines_of(one: Candidate, telling: Telling) -> CandidateLines:
    words = review_words(telling.words.code)
    said = [(fact.speaks_for, evidence_says(fact, telling)) for fact in one.evidence]
    return CandidateLines(
        cause=telling.words.capital(cause_says(one.cause, telling)),
        weight=words.weights[one.weight],
        much=one.weight is Weight.MUCH,
        speaks_for=tuple(text for speaks_for, text in said if speaks_for),
        speaks_against=tuple(text for speaks_for, text in said if not speaks_for),
    )


def stretches(
    parts: Parts, db: Connection, found: Reviewed, first_minute: int, end_minute: int
) -> Iterator[Stretch]:
    """Yield each quantity that was told at all, along a span, with all that stood round it."""
    now_minute = found.life.first_minute + found.life.minutes
    for felt in LANES:
        line = line_in(found, felt, first_minute, end_minute)
        if line.value.size:
            yield stretch_round(
                parts.book.now,
                db,
                found.batch,
                felt,
                line,
                first_minute=first_minute,
                end_minute=end_minute,
                now_minute=now_minute,
            )


def _lanes(
    parts: Parts,
    db: Connection,
    found: Reviewed,
    telling: Telling,
    first_minute: int,
    end_minute: int,
) -> Iterator[Lane]:
    if first_minute >= end_minute:
        return
    span = span_words(first_minute, end_minute, telling)
    for one in stretches(parts, db, found, first_minute, end_minute):
        name = f"{telling.words.capital(telling.words.felt[one.felt])}, {telling.unit(one.felt)}"
        yield Lane(name, drawn_on_page(one, found.watch, telling, span=span))


def line_in(found: Reviewed, felt: Felt, first_minute: int, end_minute: int) -> Line:
    """Return what a life holds of a quantity over a span, minute by minute."""
    life = found.life
    begin = max(0, first_minute - life.first_minute)
    rows = slice(begin, max(begin, end_minute - life.first_minute))
    if felt is Felt.RESERVE:
        low, value, high = (row[rows] for row in life.reserve)
    else:
        value = life.felt[felt][rows]
        low = high = value
    minutes = life.first_minute + begin + np.arange(value.size, dtype=np.int64)
    seen = np.isfinite(value)
    at = minutes[seen]
    begins = np.ones(at.size, dtype=np.bool_)
    begins[1:] = np.diff(at) > 1
    return Line(
        Told.MINUTES,
        1,
        at * MINUTE_MS,
        value[seen],
        low[seen],
        high[seen],
        begins,
        of_means=False,
    )


def happened(parts: Parts, found: Reviewed, telling: Telling) -> Iterator[tuple[str, str]]:
    """Yield when and what: alarms with who answered after how long, what was seen, stages."""
    words = review_words(telling.words.code)
    first = instant_of(found.life.first_minute)
    end = instant_of(found.life.first_minute + max(1, found.life.minutes))
    told: list[tuple[float, str]] = []
    for one in found.batch.observation:
        if one.at < end:
            note = words.noted.format(words=one.note) if one.note else ""
            parts_of = [telling.words.seen[one.seen], note]
            if one.alive is not None:
                parts_of.insert(1, f"{one.alive} / {one.counted or one.alive}")
            told.append((one.at.timestamp(), " · ".join(part for part in parts_of if part)))
    charted = chart_words(telling.words.code)
    for move in found.batch.stage:
        if move.since < end:
            stage = telling.words.capital(telling.words.stage_names[move.stage])
            told.append((move.since.timestamp(), f"{stage}: {move.because}"))
    for at, off in zip(found.batch.cover_moves(), _alternating(), strict=False):
        if at < end:
            told.append((at.timestamp(), charted.cover_off if off else charted.cover_on))
    with reading(parts.records) as db:
        alarms = alarms_between(db, found.batch.code, first, end)
    for alarm in alarms:
        says = says_of(parts, alarm, telling)
        if alarm.acknowledged_at is not None and alarm.acknowledged_by is not None:
            after_s = int((alarm.acknowledged_at - alarm.opened_at).total_seconds())
            text = words.alarm_answered.format(
                says=says,
                who=telling.person(alarm.acknowledged_by),
                after=telling.words.lasting(max(0, after_s)),
            )
        else:
            text = words.alarm_unanswered.format(says=says)
        told.append((alarm.opened_at.timestamp(), text))
    for at_s, text in sorted(told):
        yield dated(telling, at_s), text


def _alternating() -> Iterator[bool]:
    off = True
    while True:
        yield off
        off = not off
