"""The cells of a recording as they would have been: each change by its physical sum.

Humidity follows warmth at constant vapour pressure, light the cloth, a bag's air its own line. What
can't be worked out is missing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.air import HIGHEST_C, LOWEST_C, saturation_vapour_pressure_kpa, vapour_pressure_kpa
from rules.cells import MICRO, CellBlock, in_millionths
from rules.felt import felt_values, held_in
from rules.model.batch import COVER_ON, Seen
from rules.model.place import channel_key
from rules.model.quantities import LIGHT_QUANTITIES, Felt, Quantity
from rules.speaking import first_cell, spans_of
from rules.supposing import Hotter, Opened, Shade, Silent, Uncovered, houses_of, uncovered

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.cover import CoverFit
    from rules.felt import Held
    from rules.model.batch import Batch
    from rules.model.place import Position
    from rules.model.site import Site
    from rules.supposing import Supposed

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]


class OutOfReach(ValueError):
    """What is supposed leads out of what the sums hold for; the message says what to do."""


@dataclass
class Cells:
    """Changes cells, block after block in order. `fits` are the lines of covers by batch."""

    supposed: Supposed
    fits: Mapping[str, CoverFit]
    _latest: dict[str, tuple[int, int]] = field(default_factory=dict[str, tuple[int, int]])

    def of(self, site: Site, block: CellBlock) -> CellBlock:
        """Return the cells of a block as they would have been, of the site as it was.

        OutOfReach where the sums do not hold.
        """
        held = held_in(block, self._latest)
        means, present = block.means.copy(), block.present.copy()
        changed = CellBlock(block.first_minute, block.channels, means, present, block.refused)
        match self.supposed:
            case Hotter(by_c):
                self._warm(site, changed, held, np.full(len(means), by_c), None)
            case Shade():
                self._shade(site, changed, held, self.supposed)
            case Opened():
                self._mix(site, changed, held, self.supposed)
            case Silent():
                changed = _silenced(changed, self.supposed)
            case Uncovered():
                pass
        self._latest = {
            key: (int(held.minute[-1, column]), int(held.value[-1, column]))
            for key, column in held.column.items()
            if len(means) and int(held.minute[-1, column]) >= 0
        }
        return changed

    def _warm(
        self, site: Site, block: CellBlock, held: Held, by_c: Floats, only: frozenset[str] | None
    ) -> None:
        """Warm the air each sensor tells, with its humidity at constant vapour pressure.

        Humidity without a temperature of the same sensor to follow becomes missing.
        """
        for sensor in site.sensor:
            if only is not None and sensor.id not in only:
                continue
            warm = [c for c in sensor.channel if c.quantity is Quantity.AIR_TEMPERATURE]
            for channel in sensor.channel:
                key = channel_key(sensor.id, channel.id)
                if key not in block.channels:
                    continue
                column = block.channels.index(key)
                there = block.present[:, column]
                leaf = only is None and channel.quantity is Quantity.LEAF_TEMPERATURE
                if channel.quantity is Quantity.AIR_TEMPERATURE or leaf:
                    new = block.means[:, column] / np.float64(MICRO) + by_c
                    block.means[:, column] = np.where(there, in_millionths(_within(new, there)), 0)
                if channel.quantity is not Quantity.RELATIVE_HUMIDITY:
                    continue
                told = np.zeros(len(there), dtype=np.bool_)
                air = np.zeros(len(there))
                if warm:
                    name = channel_key(sensor.id, warm[0].id)
                    air, told = _fresh(held, name, warm[0].stale_after_min)
                damp = block.means[:, column] / np.float64(MICRO)
                new = _following(damp, air, by_c, there & told)
                kept = there & (told | (by_c == 0.0))
                block.means[:, column] = np.where(kept, in_millionths(new), 0)
                block.present[:, column] = kept

    def _shade(self, site: Site, block: CellBlock, held: Held, supposed: Shade) -> None:
        recorded = {one.id: one.shade_fraction for one in site.house}.get(supposed.house, 0.0)
        passes = (1.0 - supposed.fraction) / (1.0 - recorded)
        minutes = block.first_minute + np.arange(len(block.means), dtype=np.int64)
        for batch in site.batch:
            fit = self.fits.get(batch.code)
            if fit is None or supposed.house not in houses_of(site, batch.code):
                continue
            light, lit = _felt_along(site, batch, Felt.PPFD, held, minutes)
            more = np.where(lit, light * (passes - 1.0) * fit.slope_c_per_umol, 0.0)
            probes = frozenset(
                sensor.id
                for sensor in site.sensor
                if any(one.cover_of == batch.code for one in sensor.position)
            )
            for name in probes:
                sensor = next(one for one in site.sensor if one.id == name)
                under = np.zeros(len(minutes), dtype=np.bool_)
                for one in sensor.position:
                    under |= _rows_of(one, minutes) & (one.cover_of == batch.code)
                self._warm(site, block, held, np.where(under, more, 0.0), frozenset({name}))
        for sensor in site.sensor:
            for channel in sensor.channel:
                if channel.quantity not in LIGHT_QUANTITIES:
                    continue
                column = block.channels.index(channel_key(sensor.id, channel.id))
                under = np.zeros(len(minutes), dtype=np.bool_)
                for one in sensor.position:
                    stands = not one.channels or channel.id in one.channels
                    if stands and _house_of(site, one) == supposed.house:
                        under |= _rows_of(one, minutes)
                dimmed = np.rint(block.means[:, column] * passes).astype(np.int64)
                block.means[:, column] = np.where(under, dimmed, block.means[:, column])

    def _mix(self, site: Site, block: CellBlock, held: Held, supposed: Opened) -> None:
        minutes = block.first_minute + np.arange(len(block.means), dtype=np.int64)
        batch = next((one for one in site.batch if one.code == supposed.batch), None)
        if batch is None:
            return
        ends = [
            one.at
            for one in batch.observation
            if one.at > supposed.at and one.seen in COVER_ON | {Seen.COVER_OFF}
        ]
        open_rows = minutes >= first_cell(supposed.at)
        if ends:
            open_rows &= minutes < first_cell(min(ends))
        if not bool(open_rows.any()):
            return
        bare = uncovered(site, Uncovered(batch.code, supposed.at))
        bared = next(one for one in bare.batch if one.code == batch.code)
        house_t, t_told = _felt_along(bare, bared, Felt.AIR_TEMPERATURE, held, minutes)
        house_h, h_told = _felt_along(bare, bared, Felt.RELATIVE_HUMIDITY, held, minutes)
        bag_t, bag_t_told = _felt_along(site, batch, Felt.AIR_TEMPERATURE, held, minutes)
        bag_h, bag_h_told = _felt_along(site, batch, Felt.RELATIVE_HUMIDITY, held, minutes)
        known = open_rows & t_told & h_told & bag_t_told & bag_h_told
        share = supposed.share
        mixed = (1.0 - share) * bag_t + share * house_t
        safe = np.where(known, mixed, 20.0)
        vapour = (1.0 - share) * _vapour(bag_t, bag_h, known) + share * _vapour(
            house_t, house_h, known
        )
        damp = np.minimum(100.0, 100.0 * vapour / saturation_vapour_pressure_kpa(safe))
        for sensor in site.sensor:
            under = np.zeros(len(minutes), dtype=np.bool_)
            for one in sensor.position:
                under |= _rows_of(one, minutes) & (one.cover_of == batch.code)
            for channel in sensor.channel:
                if channel.quantity is Quantity.AIR_TEMPERATURE:
                    new = safe
                elif channel.quantity is Quantity.RELATIVE_HUMIDITY:
                    new = damp
                else:
                    continue
                column = block.channels.index(channel_key(sensor.id, channel.id))
                rows = under & open_rows
                there = block.present[:, column] & (known | ~rows)
                value = np.where(rows, in_millionths(new), block.means[:, column])
                block.means[:, column] = np.where(there, value, 0)
                block.present[:, column] = there


def _silenced(block: CellBlock, supposed: Silent) -> CellBlock:
    minutes = block.first_minute + np.arange(len(block.means), dtype=np.int64)
    # A value of the minute in which it falls silent may be from before; the next one is not there.
    rows = minutes >= first_cell(supposed.at)
    if supposed.until is not None:
        rows &= minutes < first_cell(supposed.until)
    refused = None if block.refused is None else block.refused.copy()
    for column, key in enumerate(block.channels):
        sensor, _, channel = key.partition("/")
        if sensor == supposed.sensor and supposed.channel in {None, channel}:
            block.present[rows, column] = False
            block.means[rows, column] = 0
            if refused is not None:
                refused[rows, column] = False
    return CellBlock(block.first_minute, block.channels, block.means, block.present, refused)


def _within(value_c: Floats, there: Flags) -> Floats:
    seen = value_c[there]
    if seen.size and (float(seen.max()) > HIGHEST_C or float(seen.min()) < LOWEST_C):
        worst = float(seen.max()) if float(seen.max()) > HIGHEST_C else float(seen.min())
        msg = (
            f"it leads to {worst:.1f} °C, and the sums hold from {LOWEST_C:g} to {HIGHEST_C:g} °C; "
            "suppose less"
        )
        raise OutOfReach(msg)
    return np.where(there, value_c, 0.0)


def _following(damp_pct: Floats, air_c: Floats, by_c: Floats, known: Flags) -> Floats:
    """Return humidity after warming at constant vapour pressure; what is over 100 % is dew."""
    before = np.where(known, air_c, 0.0)
    after = _within(np.where(known, air_c + by_c, 0.0), known)
    ratio = saturation_vapour_pressure_kpa(before) / saturation_vapour_pressure_kpa(after)
    return np.where(known, np.minimum(100.0, damp_pct * ratio), damp_pct)


def _vapour(air_c: Floats, damp_pct: Floats, known: Flags) -> Floats:
    held: Floats = vapour_pressure_kpa(
        np.where(known, air_c, 20.0), np.where(known, np.clip(damp_pct, 0.0, 100.0), 0.0)
    )
    return held


def _fresh(held: Held, key: str, stale_after_min: int) -> tuple[Floats, Flags]:
    """Return what a channel last said in each minute, and whether that is fresh."""
    column = held.column[key]
    at = held.minute[:, column]
    minutes = held.first_minute + np.arange(len(at), dtype=np.int64)
    told = (at >= 0) & (minutes - at <= stale_after_min)
    return held.value[:, column] / np.float64(MICRO), told


def _felt_along(
    site: Site, batch: Batch, felt: Felt, held: Held, minutes: Wholes
) -> tuple[Floats, Flags]:
    """Return what a batch feels over the minutes of a block, span by span."""
    values, told = np.zeros(len(minutes)), np.zeros(len(minutes), dtype=np.bool_)
    spans = spans_of(site, batch, in_force_from=[None])
    for place, span in enumerate(spans):
        end = spans[place + 1].first_minute if place + 1 < len(spans) else int(minutes[-1]) + 1
        low = max(0, span.first_minute - int(minutes[0]))
        high = min(len(minutes), max(0, end - int(minutes[0])))
        if low >= high or felt not in span.speakers:
            continue
        rows = slice(low, high)
        whole, there = felt_values(span.speakers[felt], held, rows)
        values[rows], told[rows] = whole / np.float64(MICRO), there
    return values, told


def _rows_of(position: Position, minutes: Wholes) -> Flags:
    rows = minutes >= first_cell(position.since)
    if position.until is not None:
        rows &= minutes < first_cell(position.until)
    return rows


def _house_of(site: Site, position: Position) -> str | None:
    benches = {one.id: one.house for one in site.bench}
    if position.house is not None:
        return position.house
    if position.bench is not None:
        return benches[position.bench]
    bench = {one.code: one.bench for one in site.batch}.get(position.cover_of or "")
    return None if bench is None else benches[bench]
