"""What was recorded of one batch over its whole life, minute by minute, for looking back on it.

Filled block by block from what a sweep saw, and from whether its sensors spoke at all: a word that
was not believed and a word that never came leave the same hole, and mean different things.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.model.alarm import Priority
from rules.model.dose import DoseKind
from rules.model.plan import Side
from rules.model.quantities import Felt
from rules.sky import clear_sky_by_day_umol_m2_s, direct_sun_from_umol_m2_s
from rules.sun import sun_is_up

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.cells import CellBlock
    from rules.model.place import Place
    from rules.record import BatchRecord
    from rules.speaking import Span
    from rules.watchlist import BatchWatch, StageWatch

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

KEPT = (
    Felt.AIR_TEMPERATURE,
    Felt.RELATIVE_HUMIDITY,
    Felt.VAPOUR_PRESSURE_DEFICIT,
    Felt.PPFD,
    Felt.LEAF_TEMPERATURE,
)


class Bounded(StrEnum):
    """What a care plan says is dangerous, as a review reads it; NaN in `Life` where it says none.

    `dry`: the dryness of the air above which it counts as drying, kPa. `damp`: the humidity below
    which air is called dry, %. `hot`, `leaf_hot`, `cold`: air and leaf, °C. `bright`: PPFD.
    """

    DRY = "dry"
    DAMP = "damp"
    HOT = "hot"
    LEAF_HOT = "leaf_hot"
    COLD = "cold"
    BRIGHT = "bright"


_OF_LIMITS: Mapping[Bounded, tuple[Felt, Side]] = {
    Bounded.HOT: (Felt.AIR_TEMPERATURE, Side.HIGH),
    Bounded.LEAF_HOT: (Felt.LEAF_TEMPERATURE, Side.HIGH),
    Bounded.COLD: (Felt.AIR_TEMPERATURE, Side.LOW),
    Bounded.BRIGHT: (Felt.PPFD, Side.HIGH),
}
"""The gravest limit on each counts: the one furthest out among those of the highest priority."""


@dataclass(frozen=True, slots=True)
class Life:
    """What was recorded of a batch from `first_minute` on, an entry a minute in every array.

    `felt` in each quantity's unit and `reserve` in % (rows: lowest, likely, highest) are NaN where
    not known. `watched`: its stage has limits. `blind`: a vital quantity is missing. `unbelieved`:
    of these minutes, those in which a sensor for it spoke and was not believed. `beyond`: some
    limit was broken. `direct_from`: the light from which on it is direct sun, µmol m⁻² s⁻¹.
    """

    code: str
    first_minute: int
    felt: Mapping[Felt, Floats]
    reserve: Floats
    watched: Flags
    blind: Flags
    unbelieved: Flags
    beyond: Flags
    sun_up: Flags
    direct_from: Floats
    bounds: Mapping[Bounded, Floats]

    @property
    def minutes(self) -> int:
        """How many minutes it holds."""
        return int(self.watched.size)

    def until(self, end_minute: int) -> Life:
        """Return the same life, ended before a minute."""
        rows = slice(0, max(0, min(self.minutes, end_minute - self.first_minute)))
        return Life(
            code=self.code,
            first_minute=self.first_minute,
            felt={felt: values[rows] for felt, values in self.felt.items()},
            reserve=self.reserve[:, rows],
            watched=self.watched[rows],
            blind=self.blind[rows],
            unbelieved=self.unbelieved[rows],
            beyond=self.beyond[rows],
            sun_up=self.sun_up[rows],
            direct_from=self.direct_from[rows],
            bounds={bounded: values[rows] for bounded, values in self.bounds.items()},
        )

    @property
    def seen(self) -> Flags:
        """In which minutes it was watched and could be seen."""
        return self.watched & ~self.blind


class LifeTape:
    """The life of one batch while it is being filled, from a minute until before another."""

    def __init__(
        self, watch: BatchWatch, place: Place, *, first_minute: int, end_minute: int
    ) -> None:
        count = max(0, end_minute - first_minute)
        self.watch = watch
        self.first_minute = first_minute
        self.end_minute = first_minute + count
        self._place = place
        self._felt = {felt: np.full(count, np.nan, dtype=np.float32) for felt in KEPT}
        self._reserve = np.full((3, count), np.nan, dtype=np.float32)
        self._watched = np.zeros(count, dtype=np.bool_)
        self._blind = np.zeros(count, dtype=np.bool_)
        self._unbelieved = np.zeros(count, dtype=np.bool_)
        self._beyond = np.zeros(count, dtype=np.bool_)
        self._bounds = {one: np.full(count, np.nan, dtype=np.float32) for one in Bounded}

    def take(self, block: CellBlock, record: BatchRecord) -> None:
        """Take what one block saw of the batch; what lies outside the life is left."""
        begin = max(block.first_minute, self.first_minute)
        end = min(block.first_minute + len(block.means), self.end_minute)
        if begin >= end:
            return
        here = slice(begin - self.first_minute, end - self.first_minute)
        there = slice(begin - block.first_minute, end - block.first_minute)
        for felt in KEPT:
            if felt in record.felt:
                self._felt[felt][here] = record.felt[felt][there]
        if record.reserve_pct is not None:
            band = record.reserve_pct
            rows = (band.low[there], band.central[there], band.high[there])
            self._reserve[:, here] = np.stack(rows)
        margin = record.margin[there]
        self._beyond[here] = np.nan_to_num(margin, nan=0.0) < 0.0
        for span, first, last in _spans_in(self.watch, begin, end):
            watch = self.watch.watch_in(span)
            if watch is None:
                continue
            own = slice(first - self.first_minute, last - self.first_minute)
            blocks = slice(first - block.first_minute, last - block.first_minute)
            self._watched[own] = True
            for bounded, value in bounds_in(watch).items():
                self._bounds[bounded][own] = value
            for felt in watch.vital:
                told = record.felt.get(felt)
                missing = (
                    np.ones(last - first, dtype=np.bool_)
                    if told is None
                    else np.isnan(told[blocks])
                )
                self._blind[own] |= missing
                self._unbelieved[own] |= missing & _spoke(block, span, felt, blocks)

    def life(self) -> Life:
        """Return what was filled in."""
        minutes = self.first_minute + np.arange(self._watched.size, dtype=np.int64)
        shade = self.watch.versions[-1].kit.shade_fraction
        clear = clear_sky_by_day_umol_m2_s(self._place, minutes)
        return Life(
            code=self.watch.code,
            first_minute=self.first_minute,
            felt={felt: values.astype(np.float64) for felt, values in self._felt.items()},
            reserve=self._reserve.astype(np.float64),
            watched=self._watched,
            blind=self._blind,
            unbelieved=self._unbelieved,
            beyond=self._beyond,
            sun_up=sun_is_up(self._place, minutes),
            direct_from=np.asarray(direct_sun_from_umol_m2_s(clear, shade_fraction=shade)),
            bounds={one: values.astype(np.float64) for one, values in self._bounds.items()},
        )


def bounds_in(watch: StageWatch) -> dict[Bounded, float]:
    """Return what is dangerous by the limits of a stage; what they don't speak of is left out.

    Drying counts above the base of the plan's own drying dose, else above its mildest limit on the
    dryness of the air. Limits that speak only while the film is open are left out.
    """
    found: dict[Bounded, float] = {}
    always = [limit for limit in watch.limits if limit.film is None]
    for bounded, (felt, side) in _OF_LIMITS.items():
        ours = [limit for limit in always if limit.quantity is felt and limit.side is side]
        grave = [one.bound for one in ours if one.priority is Priority.HIGH]
        mild = [one.bound for one in ours if one.priority is Priority.MEDIUM]
        chosen = grave or mild
        if chosen:
            found[bounded] = max(chosen) if side is Side.HIGH else min(chosen)
    bases = [dose.base_kpa for dose in watch.doses if dose.kind is DoseKind.DRYING_DOSE]
    dry = [base for base in bases if base is not None] or [
        one.bound
        for one in always
        if one.quantity is Felt.VAPOUR_PRESSURE_DEFICIT and one.side is Side.HIGH
    ]
    if dry:
        found[Bounded.DRY] = min(dry)
    damp = [
        one.bound
        for one in always
        if one.quantity is Felt.RELATIVE_HUMIDITY and one.side is Side.LOW
    ]
    if damp:
        found[Bounded.DAMP] = max(damp)
    return found


def _spans_in(watch: BatchWatch, begin: int, end: int) -> list[tuple[Span, int, int]]:
    edges = [*(span.first_minute for span in watch.spans), end]
    return [
        (span, max(edges[place], begin), min(edges[place + 1], end))
        for place, span in enumerate(watch.spans)
        if max(edges[place], begin) < min(edges[place + 1], end)
    ]


def _spoke(block: CellBlock, span: Span, felt: Felt, rows: slice) -> Flags:
    """Return in which rows a channel that speaks for a quantity said anything at all."""
    heard = np.zeros(rows.stop - rows.start, dtype=np.bool_)
    speaker = span.speakers.get(felt)
    column = {key: place for place, key in enumerate(block.channels)}
    for source in speaker.sources if speaker is not None else ():
        if source.channel in column:
            at = column[source.channel]
            heard |= block.present[rows, at]
            if block.refused is not None:
                heard |= block.refused[rows, at]
    return heard
