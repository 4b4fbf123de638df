"""Which column belongs to which channel: as told, else by the names in heading and file."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.files.headings import Heading, heading_of, unit_spelt
from collector.files.mapping import LEFT_OUT, ColumnChoice, FileMapping
from collector.files.refusal import FileRefused, Way
from collector.payloads.mapping import ChannelMapping, mapping_of
from rules.model.quantities import MEANINGS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from collector.files.table import Column
    from rules.model.place import Sensor

_MOST_LISTED = 8
_YOU = "you"


@dataclass(frozen=True, slots=True)
class ChannelColumn:
    """A column whose values are kept, the unit they are written in, and how both were found.

    `chosen` says that a person named the unit.
    """

    column: Column
    channel: ChannelMapping
    unit: str
    found_by: str
    unit_by: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A column that is not kept, and why."""

    column: Column
    why: str


@dataclass(frozen=True, slots=True)
class _Known:
    """A sensor with the words it is called by."""

    sensor: Sensor
    channels: tuple[ChannelMapping, ...]
    names: tuple[str, ...]


def words_of(text: str) -> str:
    """Return a text as its words between blanks, so that names can be looked for in it.

    >>> words_of("Bag-07_2026.csv")
    ' bag 07 2026 csv '
    """
    return " " + " ".join(re.findall(r"[^\W_]+", text.casefold())) + " "


class Channels:
    """The channels of a site, to be found by what a file calls them."""

    def __init__(self, sensors: Sequence[Sensor]) -> None:
        self._known = tuple(
            _Known(
                sensor,
                mapping_of(sensor).channels,
                tuple(
                    words_of(name)
                    for name in (sensor.id, sensor.title, sensor.topic.rpartition("/")[2])
                    if len(name) > 1
                ),
            )
            for sensor in sensors
        )
        self.by_key: Mapping[str, ChannelMapping] = {
            channel.key: channel for known in self._known for channel in known.channels
        }

    def columns_in(
        self,
        columns: Sequence[Column],
        mapping: FileMapping,
        *,
        places: Sequence[tuple[str, str]],
        cell_units: Mapping[int, str],
    ) -> tuple[tuple[ChannelColumn, ...], tuple[LeftOut, ...]]:
        """Return the columns that are kept, and the others with the reason.

        Parameters
        ----------
        columns
            Those that hold no instants.
        places
            (what it is, its text): what may name the sensor of the whole file, most telling first.
        cell_units
            The unit that stands beside the figures in the cells, by place of the column.

        Raises FileRefused when a column could be two channels, or names no sensor.
        """
        _check_names(columns, mapping)
        of_file, by = self._named_in(places)
        kept: list[ChannelColumn] = []
        left: list[LeftOut] = []
        homeless: list[tuple[Column, Heading]] = []
        for column in columns:
            heading = heading_of(column.name, column.unit or cell_units.get(column.index, ""))
            choice = chosen_for(column, mapping)
            if choice is not None:
                if choice.channel == LEFT_OUT:
                    left.append(LeftOut(column, "as you said"))
                else:
                    kept.append(self._as_chosen(column, heading, choice))
                continue
            found = self._found(column, heading, of_file, by)
            match found:
                case ChannelColumn():
                    kept.append(found)
                case LeftOut():
                    left.append(found)
                case None:
                    homeless.append((column, heading))
        if homeless and any(one.found_by == _YOU for one in kept):
            # Whoever named some columns has looked at them all; the rest is told as left out.
            left += [LeftOut(column, "nothing names its sensor") for column, _ in homeless]
            homeless = []
        if homeless or not kept:
            raise self._nowhere(homeless, left)
        _refuse_doubles(kept)
        return tuple(kept), tuple(left)

    def _named_in(self, places: Sequence[tuple[str, str]]) -> tuple[tuple[_Known, ...], str]:
        for what, text in places:
            named = self._sensors_in(text)
            if named:
                return named, what
        return (), ""

    def _sensors_in(self, text: str) -> tuple[_Known, ...]:
        """Return the sensors whose name stands in a text, not as part of a longer name in it."""
        words = words_of(text)
        found = [
            (known, max(names, key=len))
            for known in self._known
            if (names := [name for name in known.names if name in words])
        ]
        return tuple(
            known
            for known, name in found
            if not any(name in other and name != other for _, other in found)
        )

    def _found(
        self, column: Column, heading: Heading, of_file: tuple[_Known, ...], by: str
    ) -> ChannelColumn | LeftOut | None:
        if heading.worked_out:
            return LeftOut(column, "worked out by the logger, or no quantity of a site file")
        own = self._sensors_in(column.name)
        sensors, how = (own, "its heading") if own else (of_file, by)
        fitting = list(_fitting(column, heading, sensors, called_by_sensor=bool(own)))
        if heading.clash and fitting:
            raise _misnamed(column, heading.clash, fitting)
        if len(fitting) > 1:
            raise _two_channels(column, fitting)
        if fitting:
            found_by = f"{how} names {fitting[0].key.partition('/')[0]}"
            return _with_unit(column, heading, fitting[0], found_by=found_by)
        if heading.quantities and not sensors:
            return None
        if not heading.quantities:
            return LeftOut(column, "no quantity that is known")
        listed = " or ".join(known.sensor.id for known in sensors)
        wanted = " or ".join(sorted(quantity.value for quantity in heading.quantities))
        return LeftOut(column, f"{listed} has no channel of {wanted}")

    def _as_chosen(self, column: Column, heading: Heading, choice: ColumnChoice) -> ChannelColumn:
        channel = self.by_key.get(choice.channel)
        if channel is None:
            near = [key for key in self.by_key if choice.channel in key] or list(self.by_key)
            problem = f'column "{column.name}": the site has no channel "{choice.channel}"'
            raise FileRefused(problem, f"Write one of {', '.join(near[:_MOST_LISTED])}")
        if choice.unit is None:
            return _with_unit(column, heading, channel, found_by=_YOU)
        known = MEANINGS[channel.quantity].units
        meant = {choice.unit, *unit_spelt(choice.unit)} & known.keys()
        if len(meant) != 1:
            problem = f'column "{column.name}": "{choice.unit}" is not a unit of {channel.quantity}'
            raise FileRefused(problem, f"Write one of {', '.join(known)}")
        return ChannelColumn(column, channel, meant.pop(), _YOU, _YOU, chosen=True)

    def _nowhere(
        self, homeless: Sequence[tuple[Column, Heading]], left: Sequence[LeftOut]
    ) -> FileRefused:
        if homeless:
            named = ", ".join(f'"{column.name}"' for column, _ in homeless[:_MOST_LISTED])
            problem = f"nothing in the file says which sensor column {named} belongs to"
            name, heading = homeless[0][0].name, homeless[0][1]
            fitting = [
                key
                for key, channel in self.by_key.items()
                if channel.quantity in heading.quantities
            ]
        else:
            named = ", ".join(f'"{one.column.name}" ({one.why})' for one in left[:_MOST_LISTED])
            problem = f"no column belongs to a channel of the site; left out: {named or 'none'}"
            name = left[0].column.name if left else "COLUMN"
            fitting = list(self.by_key)
        example = fitting[0] if fitting else "SENSOR/CHANNEL"
        others = f" (or {', '.join(fitting[1:_MOST_LISTED])})" if fitting[1:] else ""
        fix = (
            f'Write --map "{name}={example}"{others}, or --map "{name}=-" to leave it out; '
            "or put the sensor's id into the file's name"
        )
        return FileRefused(problem, fix)


def chosen_for(column: Column, mapping: FileMapping) -> ColumnChoice | None:
    """Return what a person said of a column, by its number or its name."""
    return mapping.column.get(f"#{column.index + 1}") or mapping.column.get(column.name)


def _check_names(columns: Sequence[Column], mapping: FileMapping) -> None:
    known = {column.name for column in columns} | {f"#{one.index + 1}" for one in columns}
    for name in mapping.column:
        if name not in known:
            listed = ", ".join(f'"{column.name}"' for column in columns[:_MOST_LISTED])
            problem = f'the file has no column of values "{name}"'
            raise FileRefused(problem, f"Its columns are {listed}; a number is written as #3")
        same = [column for column in columns if column.name == name]
        if len(same) > 1:
            numbers = " or ".join(f"#{column.index + 1}" for column in same)
            problem = f'{len(same)} columns are called "{name}"'
            raise FileRefused(problem, f"Write {numbers} for the one you mean")


def _fitting(
    column: Column, heading: Heading, sensors: Sequence[_Known], *, called_by_sensor: bool
) -> Iterator[ChannelMapping]:
    """Yield the channels a column can be: the one called like it, else those of its quantity."""
    words = words_of(column.name)
    for known in sensors:
        rest = words
        if called_by_sensor:
            for name in known.names:
                rest = rest.replace(name, " ", 1)
        exact = [
            channel
            for channel in known.channels
            if (rest.strip() and rest == words_of(channel.id)) or column.name == channel.path
        ]
        if exact:
            yield from exact
            continue
        of_kind = [one for one in known.channels if one.quantity in heading.quantities]
        called = [one for one in of_kind if words_of(one.id) in words]
        yield from called or of_kind


def _two_channels(column: Column, fitting: Sequence[ChannelMapping]) -> FileRefused:
    ways = tuple(
        Way(f"{column.name}={channel.key}", f"{channel.quantity} in {channel.unit}", ())
        for channel in fitting[:_MOST_LISTED]
    )
    problem = f'column "{column.name}" could be {len(fitting)} channels'
    return FileRefused(problem, "Choose one with --map", ways)


def _misnamed(column: Column, clash: str, channels: Sequence[ChannelMapping]) -> FileRefused:
    ways = tuple(
        Way(f"{column.name}={channel.key} {unit}", f"{channel.quantity} in {unit}", ())
        for channel in channels
        for unit in MEANINGS[channel.quantity].units
    )
    problem = f'column "{column.name}" is misnamed: {clash}'
    return FileRefused(
        problem, "Look at the logger, then choose a channel and a unit with --map", ways
    )


def _with_unit(
    column: Column, heading: Heading, channel: ChannelMapping, *, found_by: str
) -> ChannelColumn:
    """Return the column with the unit its heading says, else with the one declared."""
    meant = sorted(heading.units & MEANINGS[channel.quantity].units.keys())
    if heading.units and not meant:
        unit = "/".join(sorted(heading.units))
        raise _misnamed(column, f'its unit "{unit}" is none of {channel.quantity}', [channel])
    if meant:
        unit = channel.unit if channel.unit in meant else meant[0]
        return ChannelColumn(column, channel, unit, found_by, "the file", chosen=False)
    return ChannelColumn(column, channel, channel.unit, found_by, "the site file", chosen=False)


def _refuse_doubles(kept: Sequence[ChannelColumn]) -> None:
    by_key: dict[str, list[ChannelColumn]] = {}
    for one in kept:
        by_key.setdefault(one.channel.key, []).append(one)
    for key, several in by_key.items():
        if len(several) > 1:
            numbers = [f"#{one.column.index + 1}" for one in several]
            ways = tuple(
                Way(
                    " ".join(f"{other}=-" for other in numbers if other != number),
                    f'{key} is column {number}, "{one.column.name}"',
                    (),
                )
                for number, one in zip(numbers, several, strict=True)
            )
            problem = f"{len(several)} columns would be channel {key}"
            raise FileRefused(problem, "Leave all but one out, each with its own --map", ways)
