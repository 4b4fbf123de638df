"""Why a batch may have failed: candidate causes with what speaks for and against each, in order.

Association is never called cause: what the air did, what people saw and what taken siblings stood
are set beside each other, by a rule that docs/review.md states. That the air was fine, as far as
seen, is a candidate like any other, and so is that the record could not know. Nothing here asks
who grafted.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from rules.evidence import (
    EVIDENCE_OF,
    Evidence,
    Siblings,
    against_siblings,
    evidence_of_air,
    evidence_of_fine,
    evidence_of_mould,
    evidence_of_record,
)
from rules.exposures import exposures_of
from rules.harm import harms_of, night_part
from rules.take import Outcome

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from rules.exposures import Exposure, Measured
    from rules.harm import Amount, Harms
    from rules.hearsay import Doubts
    from rules.life import Life
    from rules.model.batch import Batch
    from rules.take import Take


class Cause(StrEnum):
    """What may have ended a batch. Equal scores stand in this order."""

    DRIED_AT_NIGHT = "dried_at_night"
    SLOW_DRYING = "slow_drying"
    COOKED = "cooked"
    SUN_SCALD = "sun_scald"
    COLD = "cold"
    MOULD = "mould"
    AIR_FINE = "air_fine"
    COULD_NOT_KNOW = "could_not_know"


OF_AIR = (
    Cause.DRIED_AT_NIGHT,
    Cause.SLOW_DRYING,
    Cause.COOKED,
    Cause.SUN_SCALD,
    Cause.COLD,
)


class Weight(StrEnum):
    """How much speaks for a candidate, in words."""

    MUCH = "much"
    SOME = "some"
    LITTLE = "little"


MUCH_FROM, SOME_FROM = 0.5, 0.25
SEEN_ENOUGH = 0.8
"""With fewer of the decisive hours seen, nothing has more than some weight."""

FINE = 0.45
MOULD_FIRST, MOULD_AFTER = 0.6, 0.15
STOOD_WORSE, STOOD_NO_WORSE = 1.25, 0.5
BLIND_HALF_H = 36.0
GAINSAID = 0.4
SHIFT_HALF = {"relative_humidity": 6.0, "air_temperature": 3.0}
"""House rules: see docs/review.md for what each does."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One cause, how much speaks for it from 0 to 1, and what does and does not."""

    cause: Cause
    score: float
    weight: Weight
    evidence: tuple[Evidence, ...]


class Untold(StrEnum):
    """What a record cannot tell; the words say why."""

    BLIND = "blind"
    NO_LIGHT = "no_light"
    NO_WATER = "no_water"
    NO_BOUND = "no_bound"
    FEW_SIBLINGS = "few_siblings"
    NOT_COUNTED = "not_counted"
    NO_RECORD = "no_record"
    HANDS_AND_ROOTS = "hands_and_roots"


@dataclass(frozen=True, slots=True)
class Review:
    """All that looking back on a batch comes to, from `first_minute` until before `end_minute`.

    `sign` is when something was first written down that tells of plants failing; None: nothing
    was, and the record is looked at to its end. `lone` holds the batch's own exposures, `among`
    the percentile, 0 to 1 to the worse side, among `siblings`.
    """

    take: Take
    first_minute: int
    end_minute: int
    sign: datetime | None
    candidates: tuple[Candidate, ...]
    exposures: Mapping[Exposure, Measured]
    siblings: Siblings
    harms: Harms
    doubts: Doubts
    untold: tuple[Untold, ...]
    untold_facts: Mapping[Untold, float] = field(default_factory=dict["Untold", float])

    @property
    def first(self) -> Candidate:
        """What most speaks for."""
        return self.candidates[0]

    @property
    def failed(self) -> bool:
        """Whether the batch failed, by count or by what a person declared."""
        return self.take.outcome is Outcome.FAILED


def review_of(
    batch: Batch,
    take: Take,
    life: Life,
    *,
    sign: datetime | None,
    siblings: Siblings,
    doubts: Doubts,
) -> Review:
    """Return the review of a batch from its life, which ends with the sign or with the record."""
    exposures = exposures_of(life)
    harms = harms_of(life)
    score = _scores(batch, harms, siblings, doubts, exposures, sign=sign)
    ranked = sorted(Cause, key=lambda cause: (-score[cause], list(Cause).index(cause)))
    found = [
        Candidate(
            cause,
            score[cause],
            weight_of(score[cause], seen_share=doubts.seen_share, cause=cause),
            _evidence(cause, batch, life, harms, exposures, siblings, doubts, sign=sign),
        )
        for cause in ranked
    ]
    untold, facts = _untold(life, harms, take, siblings, doubts)
    return Review(
        take=take,
        first_minute=life.first_minute,
        end_minute=life.first_minute + life.minutes,
        sign=sign,
        candidates=tuple(found),
        exposures=exposures,
        siblings=siblings,
        harms=harms,
        doubts=doubts,
        untold=untold,
        untold_facts=facts,
    )


def weight_of(score: float, *, seen_share: float, cause: Cause) -> Weight:
    """Return how much speaks for a candidate; hours unseen take from every other than themselves.

    >>> weight_of(0.7, seen_share=0.5, cause=Cause.COOKED)
    <Weight.SOME: 'some'>
    """
    if score < SOME_FROM:
        return Weight.LITTLE
    sure = seen_share >= SEEN_ENOUGH or cause is Cause.COULD_NOT_KNOW
    return Weight.MUCH if score >= MUCH_FROM and sure else Weight.SOME


def amount_of(harms: Harms, cause: Cause) -> Amount:
    """Return how much of a cause of the air there was; KeyError for one that is not of the air."""
    return {
        Cause.DRIED_AT_NIGHT: harms.nights,
        Cause.SLOW_DRYING: harms.slow,
        Cause.COOKED: harms.heat,
        Cause.SUN_SCALD: harms.sun,
        Cause.COLD: harms.cold,
    }[cause]


def _scores(
    batch: Batch,
    harms: Harms,
    siblings: Siblings,
    doubts: Doubts,
    exposures: Mapping[Exposure, Measured],
    *,
    sign: datetime | None,
) -> dict[Cause, float]:
    score: dict[Cause, float] = {}
    for cause in OF_AIR:
        stood = against_siblings(EVIDENCE_OF[cause], exposures, siblings)
        factor = 1.0 if stood is None else STOOD_WORSE if stood.worse else 1.0
        factor = STOOD_NO_WORSE if stood is not None and stood.no_worse else factor
        score[cause] = min(0.97, alone_of(harms, cause) * factor)
    none_of_air = 1.0
    for cause in OF_AIR:
        none_of_air *= 1.0 - score[cause]
    doubt = doubt_of(doubts)
    mould = [one for one in evidence_of_mould(batch, sign) if one.speaks_for]
    base = MOULD_FIRST if any(one.of_mould_first for one in mould) else MOULD_AFTER
    score[Cause.MOULD] = (base if mould else 0.0) * (1.0 - max(score[one] for one in OF_AIR))
    score[Cause.COULD_NOT_KNOW] = doubt
    fine = FINE * doubts.seen_share * none_of_air * (1.0 - doubt)
    score[Cause.AIR_FINE] = fine
    return score


def alone_of(harms: Harms, cause: Cause) -> float:
    """Return the score that the amount of a harm gives by itself, 0 to 1.

    What dried at night and what dried slowly add up, for they empty the same scion; what they come
    to is shared between them by `night_part`.
    """
    if cause in {Cause.DRIED_AT_NIGHT, Cause.SLOW_DRYING}:
        nights = night_part(harms)
        part = nights if cause is Cause.DRIED_AT_NIGHT else 1.0 - nights
        return part * share_of(harms.nights.ratio + harms.slow.ratio)
    return share_of(amount_of(harms, cause).ratio)


def share_of(ratio: float) -> float:
    """Return the score of so much of what is called enough: half at enough, never quite 1.

    >>> [share_of(ratio) for ratio in (0.0, 1.0, 3.0)]
    [0.0, 0.5, 0.9]
    """
    return ratio * ratio / (1.0 + ratio * ratio)


def doubt_of(doubts: Doubts) -> float:
    """Return how much speaks for the record not having known, 0 to 1, each doubt by itself."""
    clear = BLIND_HALF_H / (BLIND_HALF_H + doubts.blind_h)
    for shift in doubts.shifted:
        half = SHIFT_HALF[shift.quantity.value]
        clear *= 1.0 - share_of(abs(shift.by) / half)
    for _ in doubts.gainsaid[:2]:
        clear *= 1.0 - GAINSAID
    return 1.0 - clear


def _evidence(
    cause: Cause,
    batch: Batch,
    life: Life,
    harms: Harms,
    exposures: Mapping[Exposure, Measured],
    siblings: Siblings,
    doubts: Doubts,
    *,
    sign: datetime | None,
) -> tuple[Evidence, ...]:
    if cause in OF_AIR:
        amount = amount_of(harms, cause)
        return evidence_of_air(cause.value, amount, batch, life, harms, exposures, siblings, doubts)
    if cause is Cause.MOULD:
        return evidence_of_mould(batch, sign)
    if cause is Cause.AIR_FINE:
        ratios = [amount_of(harms, one).ratio for one in OF_AIR]
        return evidence_of_fine(batch, max(ratios), doubts, exposures, siblings)
    return evidence_of_record(doubts)


def _untold(
    life: Life, harms: Harms, take: Take, siblings: Siblings, doubts: Doubts
) -> tuple[tuple[Untold, ...], dict[Untold, float]]:
    found: list[Untold] = []
    facts: dict[Untold, float] = {}

    def say(untold: Untold, fact: float = 0.0) -> None:
        found.append(untold)
        facts[untold] = fact

    if doubts.watched_h <= 0:
        say(Untold.NO_RECORD)
    elif doubts.blind_h >= 1.0:
        say(Untold.BLIND, doubts.blind_h)
    if not harms.sun.known:
        say(Untold.NO_LIGHT)
    if not bool(np.isfinite(life.reserve[1]).any()):
        say(Untold.NO_WATER)
    if not all(amount_of(harms, cause).known for cause in (Cause.COOKED, Cause.COLD)):
        say(Untold.NO_BOUND)
    if siblings.few:
        say(Untold.FEW_SIBLINGS, siblings.count)
    if take.taken is None:
        say(Untold.NOT_COUNTED)
    say(Untold.HANDS_AND_ROOTS)
    return tuple(found), facts
