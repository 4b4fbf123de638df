"""Says evidence and exposures of a review in a reader's language, with figures and times."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from api.web.words.review import review_words
from rules.evidence import LEAST_SIBLINGS, Fact, worse_percentile
from rules.exposures import UNIT, Exposure
from rules.local_time import to_local
from rules.model.dose import DoseKind
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.web.telling import Telling
    from rules.evidence import Evidence
    from rules.review import Candidate, Cause, Review, Untold

_PERCENT = frozenset({"percentile", "share"})
_HEAT_FACTS = frozenset({Fact.HEAT_SUM, Fact.SUN_HEAT, Fact.COLD_SUM})
_WHOLE = frozenset({"count", "within", "of"})
_MOST = 0.995
DECIMALS = {
    Exposure.DRYING: 2,
    Exposure.WORST_NIGHT: 2,
    Exposure.LOWEST_RESERVE: 0,
    Exposure.DIRECT_SUN: 0,
}


def when(telling: Telling, minute: int) -> str:
    """Return the date and time of a minute, never short of the date: pages are kept for long."""
    return dated(telling, minute * 60.0)


def dated(telling: Telling, at_s: float) -> str:
    """Return the date and time of an instant in seconds since the epoch."""
    at = instant_of(int(at_s // 60))
    return f"{telling.day(to_local(at, telling.site.site).date())} {telling.clock(at)}"


def evidence_says(one: Evidence, telling: Telling) -> str:
    """Return one piece of evidence as a sentence."""
    words = review_words(telling.words.code)
    figures = {name: _figure(one, name, value, telling) for name, value in one.figures.items()}
    at = "" if one.at is None else dated(telling, one.at.timestamp())
    named = one.words
    if one.fact is Fact.CHECKED_LATER:
        channel, _, quantity = one.words.partition(" ")
        named = f"{telling.words.felt[Felt(quantity)]} ({channel})"
    if one.fact is Fact.SIBLINGS_LESS and one.figures["percentile"] >= _MOST:
        return words.siblings_all_less.format(count=figures["count"])
    return words.facts[one.fact].format(at=at, words=named, **figures)


def _figure(one: Evidence, name: str, value: float, telling: Telling) -> str:
    if name in _PERCENT:
        return telling.words.number(100.0 * value, 0)
    if name in _WHOLE:
        return telling.words.number(value, 0)
    if one.fact is Fact.CHECKED_LATER:
        felt = Felt(one.words.partition(" ")[2])
        sign = "+" if value > 0 else "−"
        return f"{sign}{telling.apart(felt, abs(value))}"
    if one.fact in _HEAT_FACTS:
        return telling.total(DoseKind.HEAT_DOSE, value)
    if one.fact in {Fact.HOTTEST_HOUR, Fact.COLDEST_HOUR}:
        return telling.value(Felt.AIR_TEMPERATURE, value)
    minutes = one.fact is Fact.SUN_MINUTES
    whole = minutes or one.fact in {Fact.RESERVE_LOW, Fact.RESERVE_HELD} or name == "seen"
    return telling.words.number(value, 0 if whole else 1)


def cause_says(cause: Cause, telling: Telling) -> str:
    """Return a cause in words."""
    return review_words(telling.words.code).causes[cause]


def answer_says(review: Review, telling: Telling) -> str:
    """Return the sentence that a review begins with."""
    words = review_words(telling.words.code)
    if review.doubts.watched_h <= 0:
        return words.nothing.format(code=review.take.code)
    first: Candidate = review.first
    return words.answer[first.weight].format(cause=cause_says(first.cause, telling))


def take_says(review: Review, telling: Telling) -> str:
    """Return how many took, in words."""
    words, take = review_words(telling.words.code), review.take
    if take.counts:
        last = take.counts[-1]
        return words.taken.format(taken=last.taken, of=last.of, day=telling.day(last.on))
    return words.by_stage.format(of=take.of) if take.by_stage else words.not_counted


def untold_says(review: Review, telling: Telling) -> Iterator[str]:
    """Yield what the record cannot tell."""
    words = review_words(telling.words.code)
    one: Untold
    for one in review.untold:
        fact = telling.words.number(review.untold_facts.get(one, 0.0), 0)
        yield words.untold[one].format(fact=fact)


def exposure_value(exposure: Exposure, value: float, telling: Telling) -> str:
    """Return a figure of an exposure with its unit."""
    if exposure in {Exposure.HOTTEST_HOUR, Exposure.COLDEST_HOUR}:
        return telling.value(Felt.AIR_TEMPERATURE, value)
    if exposure in {Exposure.HEAT, Exposure.COLD}:
        return telling.total(DoseKind.HEAT_DOSE, value)
    number = telling.words.number(value, DECIMALS.get(exposure, 1))
    return f"{number}\N{NO-BREAK SPACE}{UNIT[exposure]}"


def rank_says(review: Review, exposure: Exposure, telling: Telling) -> str:
    """Return where an exposure stands among siblings."""
    words = review_words(telling.words.code)
    known = len(review.siblings.values(exposure))
    rank = worse_percentile(exposure, review.exposures, review.siblings)
    if rank is None:
        return words.rank_none.format(count=known) if known < LEAST_SIBLINGS else ""
    if rank >= _MOST:
        return words.rank_most.format(count=known + 1)
    if rank <= 1.0 - _MOST:
        return words.rank_least.format(count=known)
    return words.rank.format(percentile=telling.words.number(100.0 * rank, 0), count=known)
