"""What the quality tests need to know of a site's channels, worked out once."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.cells import MICRO
from rules.doubt import DOUBTS, FIGURES, Doubt, Figures
from rules.model.place import channel_key
from rules.model.quantities import DAYLIGHT, LIGHT_QUANTITIES, Quantity
from rules.runs import NO_BOUND
from rules.speaking import ALWAYS, EPOCH, MINUTE, first_cell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from rules.model.place import Channel, Sensor
    from rules.model.site import Site

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

NOBODY = -1
FOR_EVER = 1 << 40
"""A minute after every other."""


@dataclass(frozen=True, slots=True)
class Stay:
    """Minutes in which a channel keeps its place: `first_minute` until before `end_minute`.

    `place` is "bench:ID", "house:ID", "cover:CODE", "sky", or "" while it stands nowhere.
    """

    first_minute: int
    end_minute: int
    place: str

    @property
    def covered(self) -> bool:
        """Whether it is under a batch's cover."""
        return self.place.startswith("cover:")


@dataclass(frozen=True, slots=True)
class Group:
    """Channels of one quantity that stand in one place; each with the minutes in which it does.

    `apart` is how far they may differ, in millionths; `stays` hold the place in the kit's
    `channels`, first minute, and the minute after the last.
    """

    apart: int
    stays: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, eq=False)
class QualityKit:
    """All channels of a site, each with what is doubted of it. Arrays have an entry per channel.

    Bounds are in millionths, NO_BOUND where the test does not apply. `partner` is the place of the
    air temperature of the same sensor, NOBODY without. `sticks` marks what equal words alone show
    to be stuck, `daylight` light channels whose declared source is the sun or the sky. `humid` are
    the places of the humidities, `humid_stays` the first minutes of their stays and which of these
    are under a cover; `compared` the places of all channels in groups. `checks` are the
    calibrations of each channel: (since, expires) in ms, in order.
    """

    figures: Figures
    channels: tuple[str, ...]
    spike: Wholes
    step: Wholes
    dark: Wholes
    glow: Wholes
    sticks: Flags
    humid: Wholes
    daylight: Flags
    partner: Wholes
    humid_stays: tuple[tuple[Wholes, Flags], ...]
    groups: tuple[Group, ...]
    compared: Wholes
    checks: Mapping[str, tuple[tuple[int, int | None], ...]]


def quality_kit(site: Site, *, figures: Figures = FIGURES) -> QualityKit:
    """Work out what to doubt of every channel of a checked site."""
    owned = tuple((sensor, channel) for sensor in site.sensor for channel in sensor.channel)
    keys = tuple(channel_key(sensor.id, channel.id) for sensor, channel in owned)
    quantities = [channel.quantity for _, channel in owned]
    doubts = [DOUBTS[quantity] for quantity in quantities]
    stays = tuple(stays_of(sensor, channel) for sensor, channel in owned)
    groups = tuple(_groups(quantities, stays))
    light = np.array([one in LIGHT_QUANTITIES for one in quantities], dtype=np.bool_)
    daylight = np.array([channel.source in DAYLIGHT for _, channel in owned], dtype=np.bool_)
    humid = np.array([one is Quantity.RELATIVE_HUMIDITY for one in quantities], dtype=np.bool_)
    sticks = np.array([doubt.sticks for doubt in doubts], dtype=np.bool_)
    return QualityKit(
        figures=figures,
        channels=keys,
        spike=_bounds(doubts, lambda doubt: doubt.spike),
        step=_bounds(doubts, lambda doubt: doubt.step_a_min),
        dark=_bounds(doubts, lambda doubt: doubt.dark),
        glow=_bounds(doubts, lambda doubt: doubt.glow),
        sticks=sticks & ~light & ~humid,
        humid=np.flatnonzero(humid).astype(np.int64),
        daylight=light & daylight,
        partner=_partners(owned),
        humid_stays=tuple(_as_arrays(stays[i]) for i in np.flatnonzero(humid).tolist()),
        groups=groups,
        compared=np.array(
            sorted({one for group in groups for one, _, _ in group.stays}), dtype=np.int64
        ),
        checks={
            key: tuple(sorted(_checks(channel)))
            for key, (_, channel) in zip(keys, owned, strict=True)
            if channel.calibration
        },
    )


def out_of_calibration(kit: QualityKit, channel: str, minute: int) -> bool:
    """Return whether the calibration in force at the start of a minute has expired."""
    checks = kit.checks.get(channel, ())
    at_ms = minute * 60_000
    begun = bisect_right(checks, at_ms, key=lambda check: check[0])
    if begun == 0:
        return False
    expires = checks[begun - 1][1]
    return expires is not None and at_ms >= expires


def stays_of(sensor: Sensor, channel: Channel) -> tuple[Stay, ...]:
    """Return where a channel of a sensor stood in order, from before every minute on."""
    starts = {ALWAYS}
    for position in sensor.position:
        starts.add(first_cell(position.since))
        if position.until is not None:
            starts.add(first_cell(position.until))
    in_order = sorted(starts)
    ends = [*in_order[1:], FOR_EVER]
    found: list[Stay] = []
    for start, end in zip(in_order, ends, strict=True):
        place = "" if start == ALWAYS else _place(sensor, channel, start)
        if found and found[-1].place == place:
            found[-1] = Stay(found[-1].first_minute, end, place)
        else:
            found.append(Stay(start, end, place))
    return tuple(found)


def _place(sensor: Sensor, channel: Channel, minute: int) -> str:
    at = EPOCH + minute * MINUTE
    place = ""
    for position in sensor.position:
        if position.holds(channel.id, at):
            named = (
                ("cover", position.cover_of),
                ("bench", position.bench),
                ("house", position.house),
            )
            place = next((f"{kind}:{name}" for kind, name in named if name is not None), "sky")
    return place


def _as_arrays(stays: Sequence[Stay]) -> tuple[Wholes, Flags]:
    starts = np.array([stay.first_minute for stay in stays], dtype=np.int64)
    return starts, np.array([stay.covered for stay in stays], dtype=np.bool_)


def _groups(quantities: Sequence[Quantity], stays: Sequence[Sequence[Stay]]) -> Iterator[Group]:
    """Yield the channels that can contradict each other: one quantity, one bench or house."""
    together: dict[tuple[Quantity, str], list[tuple[int, int, int]]] = {}
    for place, (quantity, of_one) in enumerate(zip(quantities, stays, strict=True)):
        if DOUBTS[quantity].apart is None:
            continue
        for stay in of_one:
            if stay.place.startswith(("bench:", "house:")):
                entry = (place, stay.first_minute, stay.end_minute)
                together.setdefault((quantity, stay.place), []).append(entry)
    for (quantity, _), entries in together.items():
        apart = DOUBTS[quantity].apart
        if apart is not None and len({place for place, _, _ in entries}) > 1:
            yield Group(round(apart * MICRO), tuple(entries))


def _bounds(doubts: Sequence[Doubt], bound: Callable[[Doubt], float | None]) -> Wholes:
    found = [bound(doubt) for doubt in doubts]
    return np.array(
        [NO_BOUND if one is None else round(one * MICRO) for one in found], dtype=np.int64
    )


def _partners(owned: Sequence[tuple[Sensor, Channel]]) -> Wholes:
    air: dict[str, int] = {}
    for place, (sensor, channel) in enumerate(owned):
        if channel.quantity is Quantity.AIR_TEMPERATURE:
            air.setdefault(sensor.id, place)
    return np.array([air.get(sensor.id, NOBODY) for sensor, _ in owned], dtype=np.int64)


def _checks(channel: Channel) -> Iterator[tuple[int, int | None]]:
    ms = timedelta(milliseconds=1)
    for one in channel.calibration:
        expires = None if one.expires is None else -((EPOCH - one.expires) // ms)
        yield -((EPOCH - one.since) // ms), expires
