"""Sensor Measurement Lists in JSON (RFC 8428): packs resolved, and their records given to channels.

Only the plain JSON form is read: no CBOR, XML or EXI, and no streams.
"""

from __future__ import annotations

import re
from math import isfinite
from typing import TYPE_CHECKING, NamedTuple

from pydantic_core import from_json

from collector.payloads.mapped_json import not_a_number
from collector.payloads.mapping import MOST_SAMPLES, SPELLINGS, Decoded, Refusal, Sample, shown
from collector.rejects import Kind
from rules.model.payload import Timestamp
from rules.model.quantities import MEANINGS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from collector.payloads.mapping import ChannelMapping, SensorMapping

VERSION = 10
ABSOLUTE_FROM_S = 2**28
"""Times below this many seconds count from the arrival of the message (section 4.5.3)."""

# How the registry of section 12.1, and of RFC 8798 for units with a prefix, writes our units.
# "%" is a ratio of 0 to 1 there, for historical reasons; "%RH" and "/100" are percentages.
UNITS: Mapping[str, frozenset[str]] = {
    "degC": frozenset({"Cel"}),
    "K": frozenset({"K"}),
    "%RH": frozenset({"%RH"}),
    "%": frozenset({"/100"}),
    "fraction": frozenset({"/", "%"}),
    "lx": frozenset({"lx"}),
    "W/m2": frozenset({"W/m2"}),
    "m/s": frozenset({"m/s"}),
    "km/h": frozenset({"km/h"}),
    "V": frozenset({"V"}),
    "mV": frozenset({"mV"}),
}
_REGISTERED = frozenset({word for words in UNITS.values() for word in words})

_TEXTS = ("bn", "bu", "n", "u", "vs", "vd")
_NUMBERS = ("bt", "bv", "bs", "t", "ut", "v", "s")
_VALUES = ("v", "vb", "vs", "vd")
_KNOWN = frozenset({*_TEXTS, *_NUMBERS, "vb", "bver"})
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_MOST_SECONDS = 1e12


class Record(NamedTuple):
    """A resolved record. `time_s` is as in the pack: below 2**28 it counts from the arrival.

    `value` is None when the record holds a sum alone.
    """

    name: str
    unit: str | None
    time_s: float
    value: object
    sum_s: float | None


class NotSenML(Exception):
    """The pack breaks a rule; says where, what and the way out."""

    def __init__(self, place: str, details: str, fix: str) -> None:
        super().__init__(details)
        self.place = place
        self.details = details
        self.fix = fix


def resolved(payload: bytes) -> list[Record]:
    """Return the records of a pack with all base fields applied, in the order of the pack.

    Raises NotSenML when a rule is broken; then no record of the pack may be used.
    """
    try:
        pack = from_json(payload, allow_inf_nan=False)
    except ValueError as err:
        fix = "Have the sensor send one SenML pack a message, in UTF-8"
        where = "payload"
        raise NotSenML(where, str(err), fix) from None
    if type(pack) is not list or not pack:
        fix = 'Have it send a list of records, as in [{"n":"shed:air","u":"Cel","v":21.5}]'
        details = "the list is empty" if pack == [] else f"the message is {shown(pack)}"
        where = "payload"
        raise NotSenML(where, details, fix)
    if len(pack) > MOST_SAMPLES:
        details = f"{len(pack)} records; at most {MOST_SAMPLES} are read"
        where = "payload"
        raise NotSenML(where, details, "Have the sensor send fewer at a time")
    return list(_records(pack))


def _records(pack: list[object]) -> Iterator[Record]:
    base: dict[str, object] = {}
    version: object = None
    for place, one in enumerate(pack):
        if type(one) is not dict:
            details = f"record {place + 1} is {shown(one)}"
            raise NotSenML(str(place), details, "Have it send an object for every record")
        _check(one, place)
        if "bver" in one:
            if version is not None and one["bver"] != version:
                details = "bver differs within the pack"
                where = f"{place}.bver"
                raise NotSenML(where, details, "Have it send one version in all records")
            version = one["bver"]
        base.update({label: one[label] for label in ("bn", "bt", "bu", "bv", "bs") if label in one})
        values = [label for label in _VALUES if label in one]
        if len(values) > 1:
            details = f"record {place + 1} has {' and '.join(values)}"
            raise NotSenML(str(place), details, "Have it send one value in a record")
        if not values and "s" not in one:
            if not one.keys() & {"n", "u", "t", "ut"}:
                continue  # it only sets the base for the records after it
            if "bv" not in base and "bs" not in base:
                details = f"record {place + 1} has no value"
                raise NotSenML(str(place), details, "Have it send a value in every record")
        yield _record(one, base, place)


def _record(one: dict[str, object], base: dict[str, object], place: int) -> Record:
    name = f"{base.get('bn', '')}{one.get('n', '')}"
    if not _NAME.fullmatch(name):
        details = (
            f"the name of record {place + 1} is {shown(name)}"
            if name
            else f"record {place + 1} has no name"
        )
        fix = "A name has letters, digits and - : . / _ and begins with a letter or digit"
        where = f"{place}.n"
        raise NotSenML(where, details, fix)
    unit = one.get("u", base.get("bu"))
    value = next((one[label] for label in _VALUES if label in one), None)
    if "bv" in base and ("v" in one or (value is None and "s" not in one)):
        value = _sum(base["bv"], one.get("v"))
    total = None
    if "s" in one or "bs" in base:
        total = _sum(base.get("bs"), one.get("s"))
    time_s = _sum(base.get("bt"), one.get("t"))
    if not isfinite(time_s) or abs(time_s) > _MOST_SECONDS:
        details = f"the time of record {place + 1} is beyond all measure"
        where = f"{place}.t"
        raise NotSenML(where, details, "See to the sensor's clock")
    return Record(name, str(unit) if unit is not None else None, time_s, value, total)


def _check(one: dict[str, object], place: int) -> None:
    """Raise NotSenML when a field is not of its type, or must be understood and is not."""
    for label, value in one.items():
        where = f"{place}.{label}"
        if label.endswith("_"):
            details = f'the field "{label}" must be understood, and is not'
            raise NotSenML(where, details, "Have the sensor send plain SenML, as of RFC 8428")
        if label not in _KNOWN:
            continue
        if label in _TEXTS:
            good, wanted = type(value) is str, "a text"
        elif label == "vb":
            good, wanted = type(value) is bool, "true or false"
        else:
            good, wanted = type(value) is int or type(value) is float, "a number"
        if not good:
            details = f"{label} is {shown(value)}, not {wanted}"
            raise NotSenML(where, details, f"Have the sensor send {wanted} as {label}")
        if label == "bver" and not (type(value) is int and 1 <= value <= VERSION):
            details = f"bver is {shown(value)}; versions up to {VERSION} are understood"
            raise NotSenML(where, details, "Have the sensor send plain SenML, as of RFC 8428")


def _sum(base: object, own: object) -> float:
    """Return base plus own, in which a missing one counts as zero."""
    total = 0.0
    for part in (base, own):
        if type(part) is int or type(part) is float:
            try:
                total += part
            except OverflowError:
                total = float("inf")
    return total


class SenmlPack:
    """Reads the packs on one topic for all the sensors that speak there."""

    def __init__(self, mappings: Sequence[SensorMapping]) -> None:
        self._mappings = tuple(mappings)
        self._named: dict[str, list[tuple[SensorMapping, ChannelMapping]]] = {}
        for mapping in mappings:
            for channel in mapping.channels:
                self._named.setdefault(channel.path, []).append((mapping, channel))

    @property
    def sensors(self) -> tuple[SensorMapping, ...]:
        """The sensors that speak on the topic."""
        return self._mappings

    def read(self, payload: bytes) -> Decoded:
        """Return what the records say; a pack that breaks a rule is refused as a whole."""
        try:
            records = resolved(payload)
        except NotSenML as wrong:
            sensor = self._mappings[0].id if len(self._mappings) == 1 else ""
            refusal = Refusal(wrong.place, Kind.NOT_SENML, wrong.details, wrong.fix, sensor)
            return Decoded((), (refusal,))
        gathered = _Gathered(max((record.time_s for record in records), default=0.0))
        refusals: list[Refusal] = []
        unclaimed: dict[str, None] = {}
        misfits: list[tuple[str, Refusal]] = []
        taken: set[str] = set()
        for record in records:
            named = self._named.get(record.name)
            if named is None:
                unclaimed[device_in(record.name)] = None
                continue
            fitting = [pair for pair in named if _unit_fits(pair[1], record.unit)]
            for mapping, channel in fitting:
                taken.add(record.name)
                if type(record.value) is int or type(record.value) is float:
                    gathered.add(mapping, channel, record.value, time_s=record.time_s)
                else:
                    refusals.append(_no_value(mapping, channel, record))
            if not fitting:
                misfits.append((record.name, _wrong_unit(named, record)))
        # One name may carry several quantities, told apart by their units: what else it carries
        # than what is declared is no fault as long as what is declared comes too.
        refusals += [refusal for name, refusal in misfits if name not in taken]
        if not records:
            fix = "Have the sensor send a value in every pack"
            refusals.append(Refusal("payload", Kind.NOT_SENML, "the pack holds no value", fix))
        return Decoded(gathered.samples, refusals, tuple(unclaimed))


def device_in(name: str) -> str:
    """Return the part of a name that names the device: all up to its last mark of division.

    >>> device_in("urn:dev:ow:10e2073a01080063:temp"), device_in("door")
    ('urn:dev:ow:10e2073a01080063:', 'door')
    """
    cut = max(name.rfind(mark) for mark in ":/")
    return name[: cut + 1] or name


class _Gathered:
    """Samples made of records: those of one sensor at one time are one sample."""

    def __init__(self, newest_s: float) -> None:
        self.samples: list[Sample] = []
        self._newest_s = newest_s
        self._open: dict[tuple[str, float], list[tuple[ChannelMapping, int | float]]] = {}

    def add(
        self, mapping: SensorMapping, channel: ChannelMapping, value: float, *, time_s: float
    ) -> None:
        values = self._open.get((mapping.id, time_s))
        if values is None or any(known is channel for known, _ in values):
            values = self._open[mapping.id, time_s] = []
            self.samples.append(self._sample(mapping, time_s, values))
        values.append((channel, value))

    def _sample(
        self,
        mapping: SensorMapping,
        time_s: float,
        values: list[tuple[ChannelMapping, int | float]],
    ) -> Sample:
        if time_s < ABSOLUTE_FROM_S:
            return Sample(mapping, None, values, round(time_s * 1000))
        if mapping.time is Timestamp.ARRIVAL:
            # The device's clock is not trusted, yet the steps between its records are.
            return Sample(mapping, None, values, round((time_s - self._newest_s) * 1000))
        return Sample(mapping, round(time_s * 1000), values)


def _unit_fits(channel: ChannelMapping, said: str | None) -> bool:
    """Return whether a record says the declared unit; one that says none leaves it to the file."""
    if said is None:
        return True
    if said in UNITS.get(channel.unit, ()):
        return True
    if said in _REGISTERED:
        return False  # "%" must never be taken as makers write it elsewhere
    return said == channel.unit or said in SPELLINGS[channel.unit]


def _wrong_unit(named: Sequence[tuple[SensorMapping, ChannelMapping]], record: Record) -> Refusal:
    mapping, channel = named[0]
    details = f'the message says {shown(record.unit)}, the site file "{channel.unit}"'
    fitting = next(
        (
            unit
            for unit in MEANINGS[channel.quantity].units
            if record.unit in UNITS.get(unit, ()) or record.unit == unit
        ),
        None,
    )
    fix = (
        f'Write unit = "{fitting}" for channel {channel.id}'
        if fitting
        else (f"Set the sensor to send {channel.unit}")
    )
    if record.unit == "%":
        fix = (
            'In SenML "%" is a ratio of 0 to 1: have it send "%RH" or "/100" with a percentage; '
            f'if it does send a ratio, write unit = "fraction" for channel {channel.id}'
        )
    return Refusal(channel.path, Kind.WRONG_UNIT, details, fix, mapping.id)


def _no_value(mapping: SensorMapping, channel: ChannelMapping, record: Record) -> Refusal:
    if record.value is not None:
        return not_a_number(mapping, channel, record.value)
    fix = "Have the sensor send a value (v) with the sum"
    details = "the record has a sum (s) and no value"
    return Refusal(channel.path, Kind.NOT_NUMBER, details, fix, mapping.id)
