"""Files before they are replayed: which column speaks for what, and what a person corrects."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.web.words.replay import replay_words
from collector.files.telling import safe, said_time
from collector.files.times import instant_time
from rules.model.quantities import MEANINGS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from api.replays.looking import Look
    from api.web.telling import Telling
    from rules.model.site import Site

LEFT_OUT = "-"
SAID = ("zone", "date_order", "decimal", "separator", "header_line", "time", "missing", "sheet")
_SEVERAL = re.compile(r"(#\d+=-)( #\d+=-)*")
MOST_COLUMNS = 60


@dataclass(frozen=True, slots=True)
class ColumnRow:
    """A column of a file: what it speaks for as found, what a person said, its first values.

    `found` is the channel as found, "" for none; `said` and `unit_said` are what was chosen.
    """

    number: int
    name: str
    found: str
    found_by: str
    unit_found: str
    said: str
    unit_said: str
    units: tuple[str, ...]
    values: str


@dataclass(frozen=True, slots=True)
class ShownFile:
    """A file as the page shows it. `ways` are (option, meaning) to choose from."""

    place: int
    name: str
    read_as: str
    time_in: str
    rows: str
    problem: str
    ways: tuple[tuple[str, str], ...]
    columns: tuple[ColumnRow, ...]
    said: Mapping[str, str]
    channels: tuple[str, ...]


def shown_files(looks: Sequence[Look], site: Site, telling: Telling) -> tuple[ShownFile, ...]:
    """Return files as they are shown before they are used."""
    return tuple(_shown(place, one, site, telling) for place, one in enumerate(looks))


def options_in(fields: Mapping[str, str], place: int, look: Look) -> tuple[str, ...]:
    """Return what a person chose for a file, as options of `--map`, from the fields of the form.

    A chosen way comes last and outranks what was said of its columns elsewhere in the form.
    """
    options = [
        f"{key}={typed}" for key in SAID if (typed := fields.get(f"f{place}{key}", "").strip())
    ]
    chosen = {
        number: option
        for number in range(1, len(look.columns) + 1)
        if (option := _choice(fields, place, number))
    }
    for way in _parts(fields.get(f"f{place}way", "")):
        key, _, value = way.rpartition("=")
        named = [one.index + 1 for one in look.columns if one.name == key]
        if key.startswith("#") and key[1:].isdigit():
            chosen[int(key[1:])] = value
        elif len(named) == 1:
            chosen[named[0]] = value
        elif key:
            options = [one for one in options if not one.startswith(f"{key}=")]
            options.append(way)
    return (*options, *(f"#{number}={value}" for number, value in sorted(chosen.items())))


def _choice(fields: Mapping[str, str], place: int, number: int) -> str:
    channel = fields.get(f"f{place}c{number}", "").strip()
    unit = fields.get(f"f{place}u{number}", "").strip()
    if not channel and unit:
        channel = fields.get(f"f{place}d{number}", "").strip()
    if not channel:
        return ""
    return f"{channel} {unit}" if unit and channel != LEFT_OUT else channel


def _parts(way: str) -> list[str]:
    """Return the options of a way: some leave several columns out at once."""
    if not way:
        return []
    return way.split(" ") if _SEVERAL.fullmatch(way) else [way]


def _shown(place: int, look: Look, site: Site, telling: Telling) -> ShownFile:
    words = replay_words(telling.words.code)
    said = _said(look.given.options)
    detection, refusal = look.detection, look.refusal
    read_as = time_in = rows = problem = ""
    if detection is not None:
        timing = detection.timing
        read_as = words.read_as.format(
            said=safe(", ".join(f"{what} {how}" for what, how in detection.table.said))
        )
        names = ", ".join(f"“{safe(one.name)}”" for one in timing.columns)
        time_in = words.time_in.format(
            names=names, zone=safe(timing.zone_name), how=said_time(detection)
        )
        first, last = (
            "–" if ms is None else telling.time(instant_time(ms))
            for ms in (detection.first_ms, detection.last_ms)
        )
        rows = words.rows_from_to.format(first=first, last=last)
    elif refusal is not None:
        # The fix names an option of the command; here it is chosen in the form below.
        fix = words.choose_below if look.columns and "--map" in refusal.fix else refusal.fix
        problem = safe(f"{refusal.problem}. {fix}")
    return ShownFile(
        place=place,
        name=safe(look.name),
        read_as=read_as,
        time_in=time_in,
        rows=rows,
        problem=problem,
        ways=tuple(
            (way.option, safe(" · ".join((way.means, *way.shown))))
            for way in (() if refusal is None else refusal.ways)
        ),
        columns=tuple(_rows(look, said, site)),
        said={key: said.get(key, "") for key in SAID},
        channels=tuple(site.channels),
    )


def _said(options: Sequence[str]) -> dict[str, str]:
    """Return what options say, by their key; a value may hold a sign of equality, a key may too."""
    said: dict[str, str] = {}
    for one in options:
        key, _, value = one.partition("=")
        if key not in SAID:
            key, _, value = one.rpartition("=")
        said[key] = value
    return said


def _rows(look: Look, said: Mapping[str, str], site: Site) -> list[ColumnRow]:
    detection = look.detection
    found = {one.column.index: one for one in detection.columns} if detection else {}
    left = {one.column.index: one for one in detection.left_out} if detection else {}
    of_time = {one.index for one in detection.timing.columns} if detection else set[int]()
    shown = [] if detection is None else detection.shown
    kept = list(found)
    rows: list[ColumnRow] = []
    for column in look.columns[:MOST_COLUMNS]:
        if column.index in of_time:
            continue
        one = found.get(column.index)
        channel, _, unit = said.get(f"#{column.index + 1}", "").partition(" ")
        quantity = one.channel.quantity if one is not None else None
        if quantity is None and channel in site.channels:
            quantity = site.channels[channel].quantity
        if one is not None:
            at = kept.index(column.index) + 1
            values = [row[at] for row in shown]
        else:
            values = [
                str(row.cells[column.index])
                for row in look.first_rows
                if column.index < len(row.cells) and row.cells[column.index] is not None
            ]
        out = left.get(column.index)
        rows.append(
            ColumnRow(
                number=column.index + 1,
                name=safe(column.name),
                found="" if one is None else one.channel.key,
                found_by=safe(one.found_by if one is not None else out.why if out else ""),
                unit_found="" if one is None else one.unit,
                said=channel,
                unit_said=unit,
                units=tuple(_units(quantity)),
                values=safe(", ".join(values))[:80],
            )
        )
    return rows


def _units(quantity: object) -> Sequence[str]:
    if quantity is None:
        return sorted({unit for meaning in MEANINGS.values() for unit in meaning.units})
    return list(next(one.units for name, one in MEANINGS.items() if name == quantity))
