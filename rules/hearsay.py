"""What speaks against the record itself: hours unseen, words not believed, checks that came later.

And what people saw with their own eyes that the sensors did not say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rules.life import Bounded
from rules.model.batch import Seen
from rules.model.quantities import MEANINGS, Felt, Quantity
from rules.speaking import EPOCH, MINUTE

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from rules.life import Life
    from rules.model.batch import Batch
    from rules.model.calibration import Calibration
    from rules.model.place import Channel
    from rules.model.site import Site
    from rules.watchlist import BatchWatch

DECISIVE_D = 10
"""What went before the first sign by more than so many days counts for less: house rule."""

DAMP_SURELY_PCT = 3.0
"""So much above the dry limit a reading says damp in spite of its own error: house rule."""

NEAR_MIN = 20
"""A reading so near to what a person saw speaks of the same air."""

WORTH_SAYING = {Quantity.RELATIVE_HUMIDITY: 3.0, Quantity.AIR_TEMPERATURE: 1.0}
"""A later check that moves readings by less, in % or °C, is the ordinary error of a sensor."""


@dataclass(frozen=True, slots=True)
class Shifted:
    """A check from `since` on moved a channel by `by` in our unit, at what it had been reading.

    `by` below 0: the truth had been lower than what was read.
    """

    channel: str
    quantity: Quantity
    since: datetime
    by: float


@dataclass(frozen=True, slots=True)
class Gainsaid:
    """A person found the bag dry while its air read damp: when, and the humidity then, %."""

    at: datetime
    humidity_pct: float


@dataclass(frozen=True, slots=True)
class Doubts:
    """What speaks against a record, over the days before the first sign.

    `watched_h`, `blind_h` and, of these, `unbelieved_h` are hours. `expired` are channels whose
    calibration had run out.
    """

    watched_h: float
    blind_h: float
    unbelieved_h: float
    shifted: tuple[Shifted, ...]
    gainsaid: tuple[Gainsaid, ...]
    expired: tuple[str, ...]

    @property
    def seen_share(self) -> float:
        """The share of the watched hours that could be seen; 0 where nothing was watched."""
        return 0.0 if self.watched_h <= 0 else 1.0 - self.blind_h / self.watched_h


def doubts_of(site: Site, batch: Batch, watch: BatchWatch, life: Life) -> Doubts:
    """Return what speaks against a life, which ends with the first sign or with the record."""
    first = max(0, life.minutes - DECISIVE_D * 1440)
    rows = slice(first, life.minutes)
    end_minute = life.first_minute + life.minutes
    told = {
        source.channel
        for span in watch.spans
        if span.first_minute < end_minute and span.stage is not None
        for felt in (Felt.AIR_TEMPERATURE, Felt.RELATIVE_HUMIDITY)
        if felt in span.speakers
        for source in span.speakers[felt].sources
    }
    channels = [(key, site.channels[key]) for key in sorted(told)]
    return Doubts(
        watched_h=float(life.watched[rows].sum()) / 60,
        blind_h=float(life.blind[rows].sum()) / 60,
        unbelieved_h=float(life.unbelieved[rows].sum()) / 60,
        shifted=tuple(one for key, channel in channels for one in _shifts(key, channel, life)),
        gainsaid=tuple(_gainsaid(batch, life)),
        expired=tuple(key for key, channel in channels if _expired(channel, end_minute)),
    )


def _shifts(key: str, channel: Channel, life: Life) -> Iterator[Shifted]:
    """Yield what later checks moved, each held against the calibration before it."""
    if channel.quantity not in WORTH_SAYING:
        return
    felt = Felt(channel.quantity.value)
    values = life.felt[felt]
    if bool(np.all(np.isnan(values))):
        return
    typical = float(np.nanmedian(values))
    in_order = sorted(channel.calibration, key=lambda one: one.since)
    before: Calibration | None = None
    began = EPOCH + life.first_minute * MINUTE
    for one in in_order:
        if one.since > began:
            by = _moved(channel, before, one, typical)
            if abs(by) >= WORTH_SAYING[channel.quantity]:
                yield Shifted(key, channel.quantity, one.since, by)
        before = one


def _moved(channel: Channel, old: Calibration | None, new: Calibration, typical: float) -> float:
    """Return by how much a new calibration moves what read `typical` by the old one."""
    unit = MEANINGS[channel.quantity].units[channel.unit]
    declared = (typical - unit.offset) / unit.scale
    gain, offset = (1.0, 0.0) if old is None else old.line()
    raw = (declared - offset) / gain
    new_gain, new_offset = new.line()
    return (raw * new_gain + new_offset - declared) * unit.scale


def _expired(channel: Channel, end_minute: int) -> bool:
    at = EPOCH + end_minute * MINUTE
    now = channel.calibration_at(at)
    return now is not None and now.is_out(at)


def _gainsaid(batch: Batch, life: Life) -> Iterator[Gainsaid]:
    damp = life.bounds[Bounded.DAMP]
    for one in sorted(batch.observation, key=lambda one: one.at):
        if one.seen is not Seen.BAG_DRY:
            continue
        place = (one.at - EPOCH) // MINUTE - life.first_minute
        rows = slice(max(0, place - NEAR_MIN), max(0, place))
        read = life.felt[Felt.RELATIVE_HUMIDITY][rows]
        if read.size == 0 or bool(np.all(np.isnan(read))):
            continue
        mean = float(np.nanmean(read))
        dry_below = float(np.nanmax(damp[rows], initial=-np.inf))
        if dry_below > 0.0 and mean >= dry_below + DAMP_SURELY_PCT:
            yield Gainsaid(one.at, mean)
