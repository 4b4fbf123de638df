"""A recording as it would have been otherwise: hotter, in other shade, a bag open, a probe dead.

Each change goes through a physical sum where one applies. Where none does it is a guess, and says
so with its reason. What can't be worked out is missing: a batch is then blind, never steady.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.model.batch import COVER_ON, Cover, Observation, Seen
from rules.model.quantities import Felt
from rules.speaking import first_cell, spans_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from datetime import datetime

    from rules.cover import CoverFit
    from rules.model.batch import Batch
    from rules.model.place import Position, Sensor
    from rules.model.site import Site

MOST_HOTTER_C = 15.0
"""A change of the hour, not of the climate: house rule."""


@dataclass(frozen=True, slots=True)
class Hotter:
    """All air, and every leaf that is measured, warmer by so many °C; less than 0: cooler."""

    by_c: float


@dataclass(frozen=True, slots=True)
class Shade:
    """A house under another cloth: the share of outside light that it stops."""

    house: str
    fraction: float


@dataclass(frozen=True, slots=True)
class Opened:
    """A cover opened at an instant, so much of it standing open: more than 0, less than 1."""

    batch: str
    at: datetime
    share: float


@dataclass(frozen=True, slots=True)
class Uncovered:
    """A cover taken off at an instant."""

    batch: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Silent:
    """A sensor, or one channel of it, that says nothing from an instant until another, if any."""

    sensor: str
    channel: str | None
    at: datetime
    until: datetime | None


Supposed = Hotter | Shade | Opened | Uncovered | Silent


@dataclass(frozen=True, slots=True)
class Grounds:
    """How a change was worked out, in words; `guess`: no sum of ours tells it."""

    words: str
    guess: bool


def refusal(supposed: Supposed, site: Site) -> str | None:
    """Return why a change can't be supposed, field first, with what to do; None: it can."""
    match supposed:
        case Hotter(by_c):
            if not abs(by_c) <= MOST_HOTTER_C:
                return f"hotter: {by_c:g} °C is too much; write no more than {MOST_HOTTER_C:g}"
        case Shade(house, fraction):
            known = {one.id: one.shade_fraction for one in site.house}
            if house not in known:
                return f'shade: "{house}" is no house of the site; there are {", ".join(known)}'
            if not 0.0 <= fraction < 1.0:
                return f"shade: {fraction:g} is no shade fraction; write it from 0 to below 1"
            if known[house] >= 1.0:
                return f"shade: {house} lets no light in at all; correct its shade_fraction first"
        case Opened(batch, at, share):
            if not 0.0 < share < 1.0:
                return (
                    f"opened: {share:g} is no share of a cover; write more than 0 and less than 1, "
                    "or uncovered= for a cover that is off"
                )
            return _no_cover(site, "opened", batch, at) or _no_house_air(site, batch, at)
        case Uncovered(batch, at):
            return _no_cover(site, "uncovered", batch, at)
        case Silent(sensor, channel, at, until):
            found = {one.id: one for one in site.sensor}
            if sensor not in found:
                return f'silent: "{sensor}" is no sensor of the site; there are {", ".join(found)}'
            channels = [one.id for one in found[sensor].channel]
            if channel is not None and channel not in channels:
                return f'silent: {sensor} has no channel "{channel}"; it has {", ".join(channels)}'
            if until is not None and until <= at:
                return f"silent: {sensor} ends before it begins; write the earlier instant first"
    return None


def _no_cover(site: Site, field_name: str, code: str, at: datetime) -> str | None:
    batch = next((one for one in site.batch if one.code == code), None)
    if batch is None:
        listed = ", ".join(one.code for one in site.batch)
        return f'{field_name}: "{code}" is no batch of the site; there are {listed}'
    if batch.cover is Cover.NONE:
        return f"{field_name}: {code} has no cover; name a batch with one"
    if not batch.covered_at(at):
        return f"{field_name}: the cover of {code} is off by then; name an earlier instant"
    return None


def _no_house_air(site: Site, code: str, at: datetime) -> str | None:
    around = _around(uncovered(site, Uncovered(code, at)), code, first_cell(at))
    if Felt.AIR_TEMPERATURE not in around or Felt.RELATIVE_HUMIDITY not in around:
        return (
            f"opened: no sensor tells temperature and humidity of the house of {code}, so nothing "
            "says what air would mix in; suppose silent= for its probe instead"
        )
    return None


def grounds_of(
    supposed: Supposed, site: Site, *, fits: Mapping[str, CoverFit]
) -> tuple[Grounds, ...]:
    """Return how a change is worked out. `fits` are the lines of covers, by batch, as learnt."""
    match supposed:
        case Hotter():
            return (
                Grounds("humidity follows at constant vapour pressure", guess=False),
                Grounds("bags and leaves warm by as much as the house", guess=True),
                Grounds("a bag that is wet inside would stay damper than this", guess=True),
            )
        case Shade(house):
            under = [one.code for one in site.batch if one.cover is not Cover.NONE]
            ours = [code for code in under if house in houses_of(site, code)]
            learnt = [code for code in ours if code in fits]
            thin = [code for code in ours if code not in fits]
            said = [Grounds("light in proportion to what the cloth lets in", guess=False)]
            if learnt:
                said.append(
                    Grounds(f"bag air by the line of each bag: {', '.join(learnt)}", guess=False)
                )
            if thin:
                listed = ", ".join(thin)
                said.append(
                    Grounds(f"bag air as recorded, no line is learnt yet: {listed}", guess=True)
                )
            said.append(Grounds("house air and measured leaves as recorded", guess=True))
            return tuple(said)
        case Opened():
            return (
                Grounds(
                    "bag and house air mixed by the share that is open; nothing measured says how "
                    "fast a bag airs",
                    guess=True,
                ),
            )
        case Uncovered(batch, at):
            around = _around(uncovered(site, supposed), batch, first_cell(at))
            told = Felt.AIR_TEMPERATURE in around and Felt.RELATIVE_HUMIDITY in around
            air = "feels the air of the house from then on"
            if not told:
                air = (
                    "no sensor tells all of the air of the house, so it can't be seen from then on"
                )
            return (
                Grounds(air, guess=False),
                Grounds("a leaf that was in a bag is not hardened as the sums take it", guess=True),
            )
        case Silent():
            return (Grounds("what is not told is missing, and never filled in", guess=False),)


def site_supposed(supposed: Supposed, site: Site) -> Site:
    """Return the site as it would have been."""
    match supposed:
        case Shade(house, fraction):
            houses = tuple(
                one.model_copy(update={"shade_fraction": fraction}) if one.id == house else one
                for one in site.house
            )
            return site.model_copy(update={"house": houses})
        case Opened(batch, at, share):
            seen = Observation(at=at, seen=Seen.COVER_OPENED, share=share, note="supposed")
            return _with_batch(site, batch, lambda one: _seeing(one, seen, one.observation))
        case Uncovered():
            return uncovered(site, supposed)
        case Hotter() | Silent():
            return site


def uncovered(site: Site, supposed: Uncovered) -> Site:
    """Return the site with a cover off, and its probe speaking for nobody: it tells bag air."""
    at = supposed.at
    seen = Observation(at=at, seen=Seen.COVER_OFF, note="supposed")
    moves = COVER_ON | {Seen.COVER_OFF}

    def bared(one: Batch) -> Batch:
        return _seeing(one, seen, [o for o in one.observation if o.at < at or o.seen not in moves])

    sensors = tuple(
        sensor.model_copy(update={"position": tuple(_told_until(sensor, supposed.batch, at))})
        for sensor in site.sensor
    )
    return _with_batch(site.model_copy(update={"sensor": sensors}), supposed.batch, bared)


def _told_until(sensor: Sensor, batch: str, at: datetime) -> Iterator[Position]:
    for one in sensor.position:
        if one.cover_of != batch or (one.until is not None and one.until <= at):
            yield one
        elif one.since < at:
            yield one.model_copy(update={"until": at})


def _with_batch(site: Site, code: str, change: Callable[[Batch], Batch]) -> Site:
    changed = tuple(change(one) if one.code == code else one for one in site.batch)
    return site.model_copy(update={"batch": changed})


def _seeing(batch: Batch, seen: Observation, others: Iterable[Observation]) -> Batch:
    return batch.model_copy(update={"observation": (*others, seen)})


def _around(site: Site, code: str, minute: int) -> frozenset[Felt]:
    batch = next(one for one in site.batch if one.code == code)
    spans = [
        span for span in spans_of(site, batch, in_force_from=[None]) if span.first_minute <= minute
    ]
    return frozenset(spans[-1].speakers)


def houses_of(site: Site, code: str) -> frozenset[str]:
    """Return the house of a batch; empty where the site does not know it."""
    benches = {one.id: one.house for one in site.bench}
    return frozenset(benches[one.bench] for one in site.batch if one.code == code)
