"""Which channel speaks for a batch, in every minute.

Under a cover only a probe under that very cover can tell the air; light, wind and soil are told
from the nearest place that has a sensor. Open sky speaks for no batch.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from rules.model.batch import Stage
from rules.model.place import Channel, Position, channel_key
from rules.model.quantities import Felt, LightSource, Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from rules.model.batch import Batch
    from rules.model.site import Site

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
ALWAYS = -(1 << 40)
"""A minute before every other."""

UNDER_COVER, ON_BENCH, IN_HOUSE = range(3)
"""How near a place is to the batch: the nearer speaks first."""

COVERED_AIR = frozenset({Felt.AIR_TEMPERATURE, Felt.RELATIVE_HUMIDITY, Felt.LEAF_TEMPERATURE})

DIRECT: Mapping[Felt, tuple[Quantity, ...]] = {
    Felt.AIR_TEMPERATURE: (Quantity.AIR_TEMPERATURE,),
    Felt.RELATIVE_HUMIDITY: (Quantity.RELATIVE_HUMIDITY,),
    Felt.PPFD: (Quantity.PPFD, Quantity.ILLUMINANCE, Quantity.IRRADIANCE),
    Felt.LEAF_TEMPERATURE: (Quantity.LEAF_TEMPERATURE,),
    Felt.AIR_SPEED: (Quantity.AIR_SPEED,),
    Felt.SUBSTRATE_MOISTURE: (Quantity.SUBSTRATE_MOISTURE,),
}
"""What each felt quantity is read from, the better one first; the deficit is worked out."""


@dataclass(frozen=True, slots=True)
class Source:
    """A channel while it stands in one place.

    `from_minute` is the first cell in which it stood there: a value from before speaks for
    another place and is never held over. `light` is what lights a light sensor.
    """

    channel: str
    quantity: Quantity
    light: LightSource | None
    stale_after_min: int
    from_minute: int


@dataclass(frozen=True, slots=True)
class Speaker:
    """The sources of one felt quantity: one, or temperature and humidity for the deficit.

    `since_minute` is the first cell from which these have spoken without a break.
    """

    sources: tuple[Source, ...]
    since_minute: int


@dataclass(frozen=True, slots=True)
class Span:
    """Minutes in a row in which a batch keeps its stage, its cover, its plan and its speakers.

    `version` counts the versions of the batch's plan in order of force. `house_air` tells the air
    outside the cover; None without a cover, or where no sensor does.
    """

    first_minute: int
    stage: Stage | None
    version: int
    covered: bool
    speakers: Mapping[Felt, Speaker]
    house_air: Source | None


def first_cell(at: datetime) -> int:
    """Return the first cell that lies wholly after an aware instant, in which a change counts.

    >>> first_cell(datetime(1970, 1, 1, 0, 5, tzinfo=UTC))
    5
    >>> first_cell(datetime(1970, 1, 1, 0, 5, 1, tzinfo=UTC))
    6
    """
    return -((EPOCH - at) // MINUTE)


def spans_of(
    site: Site, batch: Batch, *, in_force_from: Sequence[datetime | None]
) -> tuple[Span, ...]:
    """Return the spans of a batch in order; the first reaches back for ever.

    `in_force_from` holds the instants from which each version of its plan holds, in order; the
    first holds before its own, too.
    """
    begins = [first_cell(at) if at is not None else ALWAYS for at in in_force_from]
    positions = tuple(_positions_near(site, batch))
    starts = {ALWAYS}
    starts.update(first_cell(move.since) for move in batch.stage)
    starts.update(first_cell(move) for move in batch.cover_moves())
    starts.update(begins[1:])
    for near in positions:
        starts.add(first_cell(near.position.since))
        if near.position.until is not None:
            starts.add(first_cell(near.position.until))
    spans: list[Span] = []
    for start in sorted(starts):
        at = EPOCH + start * MINUTE if start > ALWAYS else None
        before: Mapping[Felt, Speaker] = spans[-1].speakers if spans else {}
        stage = batch.stage_at(at) if at is not None else None
        covered = batch.covered_at(at) if at is not None else False
        near_now = [near for near in positions if at is not None and near.holds(at)]
        chosen = _chosen(near_now, covered=covered)
        speakers = {
            felt: Speaker(sources, _unbroken_since(before.get(felt), sources, start))
            for felt, sources in chosen.items()
        }
        version = max(0, bisect_right(begins[1:], start))
        house_air = _house_air(near_now) if covered else None
        spans.append(Span(start, stage, version, covered, speakers, house_air))
    return tuple(spans)


def span_at(spans: Sequence[Span], minute: int) -> Span:
    """Return the span that holds a minute."""
    return spans[bisect_right(spans, minute, key=lambda span: span.first_minute) - 1]


def _unbroken_since(before: Speaker | None, sources: tuple[Source, ...], start: int) -> int:
    same = before is not None and before.sources == sources
    return before.since_minute if same and before is not None else start


@dataclass(frozen=True, slots=True)
class _Near:
    """A channel in a position from which it may speak for the batch."""

    rank: int
    order: int
    sensor: str
    channel: Channel
    position: Position

    def holds(self, at: datetime) -> bool:
        return self.position.holds(self.channel.id, at)

    def source(self) -> Source:
        return Source(
            channel=channel_key(self.sensor, self.channel.id),
            quantity=self.channel.quantity,
            light=self.channel.source,
            stale_after_min=self.channel.stale_after_min,
            from_minute=first_cell(self.position.since),
        )


def _positions_near(site: Site, batch: Batch) -> Iterator[_Near]:
    house = {bench.id: bench.house for bench in site.bench}.get(batch.bench)
    order = 0
    for sensor in site.sensor:
        for channel in sensor.channel:
            order += 1
            for position in sensor.position:
                rank = _rank(position, batch, house)
                speaks = not position.channels or channel.id in position.channels
                if rank is not None and speaks:
                    yield _Near(rank, order, sensor.id, channel, position)


def _rank(position: Position, batch: Batch, house: str | None) -> int | None:
    if position.cover_of is not None:
        return UNDER_COVER if position.cover_of == batch.code else None
    if position.bench is not None:
        return ON_BENCH if position.bench == batch.bench else None
    if position.house is not None:
        return IN_HOUSE if position.house == house else None
    return None


def _chosen(near: Sequence[_Near], *, covered: bool) -> dict[Felt, tuple[Source, ...]]:
    """Return the sources of each felt quantity that some channel can speak for."""
    chosen: dict[Felt, tuple[Source, ...]] = {}
    kept: dict[Felt, list[_Near]] = {}
    for felt, quantities in DIRECT.items():
        only_under = covered and felt in COVERED_AIR
        ranked = [
            (one.rank, quantities.index(one.channel.quantity), one.order, one)
            for one in near
            if one.channel.quantity in quantities and (one.rank == UNDER_COVER or not only_under)
        ]
        if ranked:
            kept[felt] = [one for _, _, _, one in sorted(ranked, key=lambda able: able[:3])]
            chosen[felt] = (kept[felt][0].source(),)
    pair = _pair(kept.get(Felt.AIR_TEMPERATURE, ()), kept.get(Felt.RELATIVE_HUMIDITY, ()))
    if pair is not None:
        chosen[Felt.VAPOUR_PRESSURE_DEFICIT] = pair
    return chosen


def _house_air(near: Sequence[_Near]) -> Source | None:
    """Return who tells the air outside the cover."""
    outside = [
        (one.rank, one.order, one)
        for one in near
        if one.rank != UNDER_COVER and one.channel.quantity is Quantity.AIR_TEMPERATURE
    ]
    return min(outside, key=lambda able: able[:2])[2].source() if outside else None


def _pair(temperature: Sequence[_Near], humidity: Sequence[_Near]) -> tuple[Source, Source] | None:
    """Return temperature and humidity for the deficit: of one place, and of one sensor if any."""
    for rank in (UNDER_COVER, ON_BENCH, IN_HOUSE):
        warm = [one for one in temperature if one.rank == rank]
        damp = [one for one in humidity if one.rank == rank]
        for one in warm:
            for other in damp:
                if one.sensor == other.sensor:
                    return one.source(), other.source()
        if warm and damp:
            return warm[0].source(), damp[0].source()
    if temperature and humidity:
        return temperature[0].source(), humidity[0].source()
    return None
