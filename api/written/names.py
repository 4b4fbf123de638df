"""Names in a site file: each used once, each pointing at something that is there."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from api.written.sentences import is_secret, meant
from rules.model.batch import Cover
from rules.model.place import as_utc

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from api.written.draft import Draft
    from api.written.toml_text import TomlText, Where
    from rules.model.fault import Fault
    from rules.model.place import Position, Sensor
    from rules.model.plan import CarePlan

_KINDS = {"who": "person", "lead": "person", "cover_of": "batch", "houses": "house"}
"""What a field names, where its own name does not say it."""

USED_ONCE = (
    ("house", "id"),
    ("bench", "id"),
    ("sensor", "id"),
    ("batch", "code"),
    ("person", "id"),
    ("lamp", "id"),
)


def secrets_in(text: TomlText) -> Iterator[tuple[Where, Fault]]:
    """Yield a fault for every field that looks like a secret; its value is never shown."""
    fix = "Keep it out of this file: set it in the environment, as docs/settings.md says."
    for where, value in _texts(text.values, ()):
        name = next(part for part in reversed(where) if isinstance(part, str))
        if is_secret(name, value):
            yield where, text.fault(where, "looks like a secret", fix=fix)


def _texts(value: object, where: Where) -> Iterator[tuple[Where, str]]:
    if isinstance(value, str):
        yield where, value
    elif isinstance(value, dict):
        for name, inside in value.items():
            yield from _texts(inside, (*where, name))
    elif isinstance(value, list):
        for place, inside in enumerate(value):
            yield from _texts(inside, (*where, place))


def doubled_names(draft: Draft) -> Iterator[Fault]:
    """Yield a fault for the second use of every name that may be used once."""
    text = draft.text
    for kind, named_by in USED_ONCE:
        entries = text.value((kind,))
        lists = [((kind, place), named_by) for place in range(_length(entries))]
        yield from _doubled(text, lists)
    for place in range(_length(text.value(("sensor",)))):
        inside: Where = ("sensor", place, "channel")
        if (*inside, 0) not in text.lines:
            continue  # taken over from another sensor, where it is told
        channels = [((*inside, at), "id") for at in range(_length(text.value(inside)))]
        yield from _doubled(text, channels)


def _length(entries: object) -> int:
    return len(entries) if isinstance(entries, list) else 0


def _doubled(text: TomlText, entries: Sequence[tuple[Where, str]]) -> Iterator[Fault]:
    first: dict[str, int] = {}
    for entry, named_by in entries:
        where = (*entry, named_by)
        name = text.value(where)
        if not isinstance(name, str):
            continue
        if name in first:
            problem = f'"{name}" is already the {named_by} of the {entry[-2]} at line {first[name]}'
            yield text.fault(where, problem, fix="Give each one its own.")
        else:
            first[name] = text.line(entry)


def names_that_point_nowhere(
    draft: Draft, *, plans: Mapping[str, CarePlan] | None, known_plans: Collection[str]
) -> Iterator[Fault]:
    """Yield a fault for every mention of something that is not there.

    `plans` are the care plans without faults, None when plans are not to be looked at;
    `known_plans` also names the faulty ones.
    """
    houses, benches = draft.names("house"), draft.names("bench")
    people = draft.names("person")
    for place, bench in draft.benches.items():
        yield from _unknown(draft, ("bench", place, "house"), bench.house, among=houses)
    for place, batch in draft.batches.items():
        yield from _unknown(draft, ("batch", place, "bench"), batch.bench, among=benches)
        if plans is not None:
            yield from _unknown(draft, ("batch", place, "plan"), batch.plan, among=known_plans)
            yield from _misfit(draft, place, plan=plans.get(batch.plan))
    for place, shift in draft.shifts.items():
        yield from _unknown(draft, ("shift", place, "who"), shift.who, among=people)
    lead = draft.text.value(("lead",))
    if isinstance(lead, str):
        yield from _unknown(draft, ("lead",), lead, among=people)
    for place, lamp in draft.lamps.items():
        for at, house in enumerate(lamp.houses):
            yield from _unknown(draft, ("lamp", place, "houses", at), house, among=houses)
    for place, sensor in draft.sensors.items():
        for at, position in enumerate(sensor.position):
            where: Where = ("sensor", place, "position", at)
            yield from _unknown_place(draft, where, position=position)
            yield from _unknown_channels(draft, where, position=position, sensor=sensor)


def _unknown(draft: Draft, where: Where, name: str, *, among: Collection[str]) -> Iterator[Fault]:
    if name not in among:
        field = next(part for part in reversed(where) if isinstance(part, str))
        kind = _KINDS.get(field, field)
        yield draft.text.fault(where, f'there is no {kind} "{name}"', fix=meant(name, among))


def _unknown_place(draft: Draft, where: Where, *, position: Position) -> Iterator[Fault]:
    if position.cover_of is not None:
        codes = draft.names("batch", "code")
        yield from _unknown(draft, (*where, "cover_of"), position.cover_of, among=codes)
        for batch in draft.batches.values():
            if batch.code == position.cover_of and batch.cover is Cover.NONE:
                problem = f'batch "{batch.code}" has no cover for a sensor to be under'
                fix = f'Write bench = "{batch.bench}", or the cover that the batch has.'
                yield draft.text.fault((*where, "cover_of"), problem, fix=fix)
    for name, value in (("bench", position.bench), ("house", position.house)):
        if value is not None:
            yield from _unknown(draft, (*where, name), value, among=draft.names(name))


def _unknown_channels(
    draft: Draft, where: Where, *, position: Position, sensor: Sensor
) -> Iterator[Fault]:
    known = [channel.id for channel in sensor.channel]
    for at, name in enumerate(position.channels):
        if name not in known:
            problem = f'sensor "{sensor.id}" has no channel "{name}"'
            yield draft.text.fault((*where, "channels", at), problem, fix=meant(name, known))


def _misfit(draft: Draft, place: int, *, plan: CarePlan | None) -> Iterator[Fault]:
    if plan is None:
        return
    batch = draft.batches[place]
    where: Where = ("batch", place, "plan")
    fix = "Name the plan made for this kind of batch, or correct the batch."
    if plan.scion is not batch.scion:
        problem = f'plan "{plan.id}" is for {plan.scion} scions, and this batch is {batch.scion}'
        yield draft.text.fault(where, problem, fix=fix)
    if batch.cover not in plan.cover:
        covers = " or ".join(plan.cover)
        problem = f'plan "{plan.id}" is for cover {covers}, and this batch has {batch.cover}'
        yield draft.text.fault(where, problem, fix=fix)


def positions_that_overlap(draft: Draft) -> Iterator[Fault]:
    """Yield a fault wherever one channel of a sensor would speak for two places at once.

    A position without `until` lasts for ever: a probe that was moved needs the end of its old
    position, or it would go on to speak for the batch it has left.
    """
    for place, sensor in draft.sensors.items():
        told: set[int] = set()
        for channel in sensor.channel:
            held = [
                (as_utc(position.since), at)
                for at, position in enumerate(sensor.position)
                if not position.channels or channel.id in position.channels
            ]
            held.sort()
            for (since, at), (next_since, next_at) in pairwise(held):
                until = sensor.position[at].until
                clash = until is None or as_utc(until) > next_since
                if clash and next_at not in told:
                    told.add(next_at)
                    where: Where = ("sensor", place, "position", next_at)
                    line = draft.text.line(("sensor", place, "position", at))
                    problem = (
                        f'channel "{channel.id}" speaks for another place at the same time, '
                        f"by the position at line {line}"
                    )
                    begins = sensor.position[next_at].since
                    fix = f"Write until = {begins.isoformat()} under that one."
                    if as_utc(begins) == since:
                        fix = "Remove one of the two."
                    yield draft.text.fault((*where, "since"), problem, fix=fix)
