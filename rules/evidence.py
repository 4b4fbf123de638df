"""What speaks for and against a candidate cause: facts with their figures and their times."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from rules.exposures import NOT_OF_AIR, WORSE, Exposure, hour_means, percentile_among
from rules.model.batch import Seen, Stage
from rules.model.plan import Side
from rules.model.quantities import Felt
from rules.speaking import EPOCH, MINUTE

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime

    from rules.exposures import Measured
    from rules.harm import Amount, Harms
    from rules.hearsay import Doubts
    from rules.life import Life
    from rules.model.batch import Batch

LEAST_SIBLINGS = 4
"""Among fewer taken siblings nothing is compared: house rule."""

WORSE_FROM, NO_WORSE_TO = 0.9, 0.6
MISMATCH = 0.25
"""Diameters that differ by more than this share of the stock's are worth saying: house rule."""

RESERVE_LOW_PCT, RESERVE_FINE_PCT = 35.0, 70.0
SOME = 0.2
"""From this share of enough on, a harm is told of as having been there."""


class Fact(StrEnum):
    """What a piece of evidence says; the words for each stand with the pages."""

    NIGHT_SUM = "night_sum"
    SLOW_SUM = "slow_sum"
    HEAT_SUM = "heat_sum"
    SUN_MINUTES = "sun_minutes"
    SUN_HEAT = "sun_heat"
    COLD_SUM = "cold_sum"
    DRIEST_HOUR = "driest_hour"
    HOTTEST_HOUR = "hottest_hour"
    COLDEST_HOUR = "coldest_hour"
    NONE_OF_IT = "none_of_it"
    NOT_TOLD = "not_told"
    RESERVE_LOW = "reserve_low"
    RESERVE_HELD = "reserve_held"
    SIBLINGS_LESS = "siblings_less"
    SIBLINGS_AS_MUCH = "siblings_as_much"
    BAG_DRY_SEEN = "bag_dry_seen"
    DROOP_SEEN = "droop_seen"
    FILM_SPLIT_SEEN = "film_split_seen"
    LONG_BEFORE = "long_before"
    HOURS_UNSEEN = "hours_unseen"
    MOULD_FIRST = "mould_first"
    MOULD_AFTER = "mould_after"
    NO_MOULD = "no_mould"
    AIR_WITHIN = "air_within"
    AIR_BEYOND = "air_beyond"
    LIKE_SIBLINGS = "like_siblings"
    DIAMETERS = "diameters"
    NEVER_GREW = "never_grew"
    WORDS_UNBELIEVED = "words_unbelieved"
    CHECKED_LATER = "checked_later"
    SEEN_OTHERWISE = "seen_otherwise"
    OUT_OF_CALIBRATION = "out_of_calibration"
    RECORD_WHOLE = "record_whole"


@dataclass(frozen=True, slots=True)
class Evidence:
    """A fact, whether it speaks for its candidate, its figures by name, and when it was."""

    fact: Fact
    speaks_for: bool
    figures: Mapping[str, float] = field(default_factory=dict[str, float])
    at: datetime | None = None
    words: str = ""

    @property
    def of_mould_first(self) -> bool:
        """Whether it says that mould was seen before anything failed."""
        return self.fact is Fact.MOULD_FIRST


@dataclass(frozen=True, slots=True)
class Siblings:
    """Taken batches of the same kind and period, with what each went through in the same days."""

    codes: tuple[str, ...]
    exposures: tuple[Mapping[Exposure, Measured], ...]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.codes)

    @property
    def few(self) -> bool:
        """Whether there are too few to compare with."""
        return self.count < LEAST_SIBLINGS

    def values(self, exposure: Exposure) -> list[float]:
        """Return what is known of one exposure, a value a sibling that has one."""
        return [one[exposure].value for one in self.exposures if exposure in one]

    def middle(self, exposure: Exposure) -> float | None:
        """Return the median; None of none."""
        known = self.values(exposure)
        return float(np.median(known)) if known else None


EVIDENCE_OF: Mapping[str, tuple[Exposure, ...]] = MappingProxyType(
    {
        "dried_at_night": (Exposure.WORST_NIGHT,),
        "slow_drying": (Exposure.DRYING,),
        "cooked": (Exposure.HEAT, Exposure.HOTTEST_HOUR),
        "sun_scald": (Exposure.DIRECT_SUN,),
        "cold": (Exposure.COLD, Exposure.COLDEST_HOUR),
    }
)
"""Which exposures each cause of the air is held against siblings by; the first known counts."""

_SUM = {
    "dried_at_night": Fact.NIGHT_SUM,
    "slow_drying": Fact.SLOW_SUM,
    "cooked": Fact.HEAT_SUM,
    "sun_scald": Fact.SUN_MINUTES,
    "cold": Fact.COLD_SUM,
}
_HOUR = {
    "dried_at_night": Fact.DRIEST_HOUR,
    "slow_drying": Fact.DRIEST_HOUR,
    "cooked": Fact.HOTTEST_HOUR,
    "sun_scald": Fact.HOTTEST_HOUR,
    "cold": Fact.COLDEST_HOUR,
}
_DRYING = frozenset({"dried_at_night", "slow_drying"})


@dataclass(frozen=True, slots=True)
class Stood:
    """Where an exposure stands among taken siblings: its percentile to the worse side, 0 to 1."""

    exposure: Exposure
    own: float
    percentile: float
    count: int

    @property
    def worse(self) -> bool:
        """Whether nearly all siblings had less of it."""
        return self.percentile >= WORSE_FROM

    @property
    def no_worse(self) -> bool:
        """Whether plenty of siblings had as much and took."""
        return self.percentile <= NO_WORSE_TO


def worse_percentile(
    exposure: Exposure, exposures: Mapping[Exposure, Measured], siblings: Siblings
) -> float | None:
    """Return the percentile to the worse side; None where too little is known of one or other."""
    others = siblings.values(exposure)
    if exposure not in exposures or len(others) < LEAST_SIBLINGS:
        return None
    rank = percentile_among(exposures[exposure].value, others)
    if rank is None:
        return None
    return 1.0 - rank if WORSE[exposure] is Side.LOW else rank


def against_siblings(
    held: Sequence[Exposure], exposures: Mapping[Exposure, Measured], siblings: Siblings
) -> Stood | None:
    """Return where the first exposure that can be compared stands; None where none can."""
    for exposure in held:
        rank = worse_percentile(exposure, exposures, siblings)
        if rank is not None:
            known = len(siblings.values(exposure))
            return Stood(exposure, exposures[exposure].value, rank, known)
    return None


def evidence_of_air(
    cause: str,
    amount: Amount,
    batch: Batch,
    life: Life,
    harms: Harms,
    exposures: Mapping[Exposure, Measured],
    siblings: Siblings,
    doubts: Doubts,
) -> tuple[Evidence, ...]:
    """Return what speaks for and against a cause of the air."""
    told: list[Evidence] = []
    if not amount.known:
        told.append(Evidence(Fact.NOT_TOLD, speaks_for=False))
        return tuple(told)
    there = amount.ratio >= SOME
    if there:
        at = None if amount.minute is None else EPOCH + amount.minute * MINUTE
        figures = {"total": amount.total, "enough": amount.enough}
        if cause == "sun_scald" and Exposure.DIRECT_SUN in exposures:
            figures["minutes"] = exposures[Exposure.DIRECT_SUN].value
        told.append(Evidence(_SUM[cause], speaks_for=True, figures=figures, at=at))
        told += _hour(_HOUR[cause], life, amount)
    else:
        figures = {"share": amount.ratio}
        told.append(Evidence(Fact.NONE_OF_IT, speaks_for=False, figures=figures))
    if cause == "sun_scald" and harms.sun_heat_c_h > 0:
        figures = {"total": harms.sun_heat_c_h}
        told.append(Evidence(Fact.SUN_HEAT, speaks_for=True, figures=figures))
    stood = against_siblings(EVIDENCE_OF[cause], exposures, siblings)
    if stood is not None and (stood.worse or (stood.no_worse and there)):
        fact = Fact.SIBLINGS_LESS if stood.worse else Fact.SIBLINGS_AS_MUCH
        figures = {"percentile": stood.percentile, "count": stood.count}
        if there:
            told.append(Evidence(fact, speaks_for=stood.worse, figures=figures))
    if there and cause in _DRYING:
        told += _water(exposures)
    told += _seen_of_drying(batch, life) if cause in _DRYING and there else ()
    if there and doubts.blind_h >= 1.0:
        told.append(Evidence(Fact.HOURS_UNSEEN, speaks_for=False, figures=_unseen(doubts)))
    return tuple(told)


def _hour(fact: Fact, life: Life, amount: Amount) -> Iterator[Evidence]:
    """Yield the worst hour of the time that a harm was added up over."""
    if amount.first_minute is None or amount.end_minute is None:
        return
    felt = Felt.RELATIVE_HUMIDITY if fact is Fact.DRIEST_HOUR else Felt.AIR_TEMPERATURE
    rows = slice(
        max(0, amount.first_minute - life.first_minute - 60), amount.end_minute - life.first_minute
    )
    means = hour_means(life.felt[felt][rows])
    if means.size == 0 or bool(np.all(np.isnan(means))):
        return
    place = int(np.nanargmax(means) if fact is Fact.HOTTEST_HOUR else np.nanargmin(means))
    at = EPOCH + (life.first_minute + rows.start + place) * MINUTE
    yield Evidence(fact, speaks_for=True, figures={"value": float(means[place])}, at=at)


def _water(exposures: Mapping[Exposure, Measured]) -> Iterator[Evidence]:
    lowest = exposures.get(Exposure.LOWEST_RESERVE)
    if lowest is None or lowest.minute is None:
        return
    at = EPOCH + lowest.minute * MINUTE
    figures = {"value": lowest.value}
    if lowest.value <= RESERVE_LOW_PCT:
        yield Evidence(Fact.RESERVE_LOW, speaks_for=True, figures=figures, at=at)
    elif lowest.value >= RESERVE_FINE_PCT:
        yield Evidence(Fact.RESERVE_HELD, speaks_for=False, figures=figures, at=at)


def _seen_of_drying(batch: Batch, life: Life) -> Iterator[Evidence]:
    facts = {
        Seen.BAG_DRY: Fact.BAG_DRY_SEEN,
        Seen.DROOP: Fact.DROOP_SEEN,
        Seen.FILM_SPLIT: Fact.FILM_SPLIT_SEEN,
    }
    end = EPOCH + (life.first_minute + life.minutes) * MINUTE
    told: set[Fact] = set()
    for one in sorted(batch.observation, key=lambda one: one.at):
        fact = facts.get(one.seen)
        if fact is not None and fact not in told and one.at <= end:
            told.add(fact)
            yield Evidence(fact, speaks_for=True, at=one.at)


def evidence_of_mould(batch: Batch, sign: datetime | None) -> tuple[Evidence, ...]:
    """Return when mould was first seen, and whether anything had failed before."""
    seen = sorted(one.at for one in batch.observation if one.seen is Seen.MOULD)
    if not seen:
        return (Evidence(Fact.NO_MOULD, speaks_for=False),)
    before = sign is None or seen[0] <= sign
    fact = Fact.MOULD_FIRST if before else Fact.MOULD_AFTER
    return (Evidence(fact, speaks_for=True, at=seen[0]),)


def evidence_of_fine(
    batch: Batch,
    worst_ratio: float,
    doubts: Doubts,
    exposures: Mapping[Exposure, Measured],
    siblings: Siblings,
) -> tuple[Evidence, ...]:
    """Return what speaks for the air having been fine, as far as it was seen."""
    told: list[Evidence] = []
    hours = {"seen": doubts.watched_h - doubts.blind_h, "share": doubts.seen_share}
    if worst_ratio < SOME:
        told.append(Evidence(Fact.AIR_WITHIN, speaks_for=True, figures=hours))
    else:
        told.append(Evidence(Fact.AIR_BEYOND, speaks_for=False))
    ranks = {
        exposure: rank
        for exposure in Exposure
        if exposure not in NOT_OF_AIR
        and (rank := worse_percentile(exposure, exposures, siblings)) is not None
    }
    if ranks:
        within = sum(rank <= WORSE_FROM for rank in ranks.values())
        figures = {"within": within, "of": len(ranks), "count": siblings.count}
        told.append(
            Evidence(Fact.LIKE_SIBLINGS, speaks_for=2 * within > len(ranks), figures=figures)
        )
    stock, scion = batch.stock_diameter_mm, batch.scion_diameter_mm
    if stock is not None and scion is not None and abs(stock - scion) > MISMATCH * stock:
        told.append(
            Evidence(Fact.DIAMETERS, speaks_for=True, figures={"stock": stock, "scion": scion})
        )
    grew = any(one.seen is Seen.NEW_GROWTH for one in batch.observation)
    grew |= any(move.stage is Stage.NEW_GROWTH for move in batch.stage)
    if not grew:
        told.append(Evidence(Fact.NEVER_GREW, speaks_for=True))
    if doubts.blind_h >= 1.0:
        told.append(Evidence(Fact.HOURS_UNSEEN, speaks_for=False, figures=_unseen(doubts)))
    return tuple(told)


def evidence_of_record(doubts: Doubts) -> tuple[Evidence, ...]:
    """Return what speaks against the record itself, and for it."""
    told: list[Evidence] = []
    if doubts.blind_h >= 1.0:
        told.append(Evidence(Fact.HOURS_UNSEEN, speaks_for=True, figures=_unseen(doubts)))
    if doubts.unbelieved_h >= 0.5:
        figures = {"hours": doubts.unbelieved_h}
        told.append(Evidence(Fact.WORDS_UNBELIEVED, speaks_for=True, figures=figures))
    for shift in doubts.shifted:
        figures = {"by": shift.by}
        told.append(
            Evidence(
                Fact.CHECKED_LATER,
                speaks_for=True,
                figures=figures,
                at=shift.since,
                words=f"{shift.channel} {shift.quantity.value}",
            )
        )
    for one in doubts.gainsaid:
        figures = {"value": one.humidity_pct}
        told.append(Evidence(Fact.SEEN_OTHERWISE, speaks_for=True, figures=figures, at=one.at))
    told += [
        Evidence(Fact.OUT_OF_CALIBRATION, speaks_for=True, words=key) for key in doubts.expired
    ]
    if not told:
        figures = {"share": doubts.seen_share}
        told.append(Evidence(Fact.RECORD_WHOLE, speaks_for=False, figures=figures))
    return tuple(told)


def _unseen(doubts: Doubts) -> dict[str, float]:
    return {"hours": doubts.blind_h, "watched": doubts.watched_h}
