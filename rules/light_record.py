"""What a day's readings say of the light: for each light sensor and place, its sum and its sun."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from rules.cells import MICRO, block_of
from rules.felt import felt_values, held_in
from rules.light_day import LightDay, light_days, minutes_of_day
from rules.model.place import channel_key
from rules.model.quantities import LIGHT_QUANTITIES
from rules.sky import (
    clear_sky_ppfd_umol_m2_s,
    clear_sky_share,
    direct_sun_from_umol_m2_s,
    is_direct_sun,
)
from rules.speaking import EPOCH, Source, Speaker, first_cell
from rules.sun import LINKE_TURBIDITY

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from rules.model.place import Channel, Position
    from rules.model.reading import Reading, StoredReading
    from rules.model.site import Site


@dataclass(frozen=True, slots=True)
class ChannelLight:
    """The light that one channel saw in one place on one local day.

    `place` is the id of the bench or house, the code of the batch, or "open_sky"; `shade_fraction`
    that of the cloth above it. `clear_sky_share` is of the whole of the minutes seen; None when
    none were, or only ones too dark to tell.
    """

    channel: str
    place: str
    shade_fraction: float
    light: LightDay
    clear_sky_share: float | None


def light_of_day(
    site: Site,
    day: date,
    readings: Sequence[Reading | StoredReading],
    *,
    linke_turbidity: float = LINKE_TURBIDITY,
) -> tuple[ChannelLight, ...]:
    """Return the light of a local day for every light channel and place in which it stood.

    `readings` are those of the day. A channel's last value speaks on while it is fresh; minutes
    without a fresh value are not seen, and are never filled in.
    """
    minutes = minutes_of_day(site.site, day)
    first = int(minutes[0])
    clear = clear_sky_ppfd_umol_m2_s(site.site, minutes, linke_turbidity=linke_turbidity)
    held = held_in(block_of(site, first, minutes.size, readings), {})
    told: list[ChannelLight] = []
    for key, channel, position in _stood(site, first, minutes.size):
        speaker = Speaker((_source(key, channel, position),), first)
        whole, fresh = felt_values(speaker, held, slice(0, minutes.size))
        fresh &= minutes >= first_cell(position.since)
        if position.until is not None:
            fresh &= minutes < first_cell(position.until)
        ppfd = np.where(fresh, whole / np.float64(MICRO), np.nan)
        place, shade = _under(site, position)
        bound = direct_sun_from_umol_m2_s(clear, shade_fraction=shade)
        (light,) = light_days(site.site, first, ppfd, direct_sun=is_direct_sun(ppfd, bound))
        share = np.nan
        if light.seen_minutes:
            share = clear_sky_share(float(ppfd[fresh].mean()), float(clear[fresh].mean()))
        told.append(ChannelLight(key, place, shade, light, None if np.isnan(share) else share))
    return tuple(told)


def light_channels(site: Site) -> tuple[str, ...]:
    """Return the keys of all channels that measure light, in the order of the site file."""
    return tuple(
        key for key, channel in site.channels.items() if channel.quantity in LIGHT_QUANTITIES
    )


def _stood(site: Site, first: int, minutes: int) -> Iterator[tuple[str, Channel, Position]]:
    start: datetime = EPOCH + timedelta(minutes=first)
    end = start + timedelta(minutes=minutes)
    for sensor in site.sensor:
        for channel in sensor.channel:
            if channel.quantity not in LIGHT_QUANTITIES:
                continue
            for position in sensor.position:
                here = not position.channels or channel.id in position.channels
                past = position.until is not None and position.until <= start
                if here and position.since < end and not past:
                    yield channel_key(sensor.id, channel.id), channel, position


def _source(key: str, channel: Channel, position: Position) -> Source:
    return Source(
        channel=key,
        quantity=channel.quantity,
        light=channel.source,
        stale_after_min=channel.stale_after_min,
        from_minute=first_cell(position.since),
    )


def _under(site: Site, position: Position) -> tuple[str, float]:
    """Return the name of a place and the shade fraction of the house it is in, 0 in the open."""
    shade = {house.id: house.shade_fraction for house in site.house}
    house_of = {bench.id: bench.house for bench in site.bench}
    if position.house is not None:
        return position.house, shade[position.house]
    if position.bench is not None:
        return position.bench, shade[house_of[position.bench]]
    for batch in site.batch:
        if batch.code == position.cover_of:
            return batch.code, shade[house_of[batch.bench]]
    return "open_sky", 0.0
