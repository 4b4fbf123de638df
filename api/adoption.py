"""A device from the waiting list written into the site file: appended, checked, put in place."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from api.site_files import read_nursery
from rules.model.payload import Payload, Timestamp, topic_of
from rules.model.quantities import LIGHT_QUANTITIES, Quantity

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence
    from datetime import datetime

    from collector.guess import Candidate, Found
    from rules.model.fault import Fault
    from rules.model.site import Site

PLACES = ("cover_of", "bench", "house", "open_sky")
LONGEST_NAME = 40


class CannotAdopt(Exception):
    """Nothing was written; says why and what to do."""


@dataclass(frozen=True, slots=True)
class Adoption:
    """A device as it is to stand in the site file.

    `place`, if given, is one of PLACES with its name (ignored for open_sky), from `since` on.
    """

    name: str
    title: str
    candidate: Candidate
    like: str | None = None
    place: tuple[str, str] | None = None
    since: datetime | None = None


def suggested(candidate: Candidate, site: Site) -> Adoption:
    """Return the adoption of a candidate by its guesses alone, under a name not yet taken."""
    name = _free_name(candidate, {sensor.id for sensor in site.sensor})
    like = sensor_like(candidate, site)
    return Adoption(name=name, title=candidate.device or candidate.topic, candidate=candidate,
                    like=like)  # fmt: skip


def takeable(candidate: Candidate) -> list[tuple[Found, Quantity, str]]:
    """Return the numbers of a candidate that can be adopted, with their quantity and unit."""
    return [
        (one, one.meant.quantity, one.meant.unit)
        for one in candidate.found
        if one.meant.quantity is not None and one.meant.unit is not None
    ]


def sensor_like(candidate: Candidate, site: Site) -> str | None:
    """Return the sensor of the site that sends just such messages, if there is one."""
    if candidate.payload not in (Payload.JSON, Payload.PLAIN):
        return None
    paths = {found.path for found in candidate.found}
    for sensor in site.sensor:
        same = sensor.payload is candidate.payload and sensor.time_path == candidate.time_path
        told = same and sensor.time in (candidate.time, Timestamp.WRITTEN)
        whole = sensor.samples_path is None and sensor.like is None
        if told and whole and {channel.path for channel in sensor.channel} <= paths:
            return sensor.id
    return None


def _free_name(candidate: Candidate, taken: Collection[str]) -> str:
    said = [part for part in re.split(r"[/:]", candidate.device or candidate.topic) if part]
    if candidate.tags:
        said = [value for _, value in candidate.tags]
    # A part with a digit tells devices apart; "state" and the like do not.
    part = next((p for p in reversed(said) if re.search(r"\d", p)), said[-1] if said else "sensor")
    name = re.sub(r"[^A-Za-z0-9_.-]+", "-", part).strip("-._")[:LONGEST_NAME] or "sensor"
    free = name
    number = 2
    while free in taken:
        free = f"{name[: LONGEST_NAME - 4]}-{number}"
        number += 1
    return free


def block_of(adoption: Adoption) -> str:
    """Return the TOML that is appended to the site file. Raises CannotAdopt."""
    candidate = adoption.candidate
    if candidate.payload is None:
        msg = (
            "none of the payloads is recognised in what it sends. Compare it with "
            "docs/collector.md, and write the [[sensor]] by hand"
        )
        raise CannotAdopt(msg)
    lines = ["[[sensor]]", _line("id", adoption.name), _line("title", adoption.title)]
    if adoption.like is not None:
        lines.append(_line("like", adoption.like))
    lines.append(_line("topic", candidate.topic))
    if adoption.like is None:
        lines += _by_guess(candidate)
    if adoption.place is not None and adoption.since is not None:
        kind, named = adoption.place
        lines += ["", "[[sensor.position]]", f"since = {adoption.since.isoformat()}"]
        lines.append("open_sky = true" if kind == "open_sky" else _line(kind, named))
    return "\n".join(lines) + "\n"


def _by_guess(candidate: Candidate) -> Iterator[str]:
    if candidate.payload is not Payload.JSON:
        yield _line("payload", str(candidate.payload))
    if candidate.time is not Timestamp.ARRIVAL:
        yield _line("time", candidate.time)
    if candidate.time_path is not None:
        yield _line("time_path", candidate.time_path)
    if candidate.tags:
        inside = ", ".join(f"{_text(key)} = {_text(value)}" for key, value in candidate.tags)
        yield f"tags = {{ {inside} }}"
    known = takeable(candidate)
    if not known:
        msg = (
            "nothing in it is known for what it measures. Say it with "
            "--as PATH=QUANTITY:UNIT, or write the [[sensor]] by hand"
        )
        raise CannotAdopt(msg)
    names: list[str] = []
    for found, quantity, unit in known:
        names.append(_channel_name(quantity, names))
        yield from ("", "[[sensor.channel]]", _line("id", names[-1]), _line("quantity", quantity))
        yield from (_line("unit", unit), _line("path", found.path))
        if found.measurement is not None:
            yield _line("measurement", found.measurement)
        if found.meant.scale != 1.0:
            yield f"scale = {found.meant.scale}"
        if quantity in LIGHT_QUANTITIES - {Quantity.PPFD}:
            yield _line("source", "sun")


_SHORT = {
    Quantity.AIR_TEMPERATURE: "air",
    Quantity.RELATIVE_HUMIDITY: "humidity",
    Quantity.LEAF_TEMPERATURE: "leaf",
    Quantity.SUBSTRATE_MOISTURE: "substrate",
    Quantity.ILLUMINANCE: "light",
    Quantity.IRRADIANCE: "light",
    Quantity.PPFD: "light",
    Quantity.AIR_SPEED: "wind",
    Quantity.BATTERY: "battery",
}


def _channel_name(quantity: Quantity, taken: Sequence[str]) -> str:
    name = _SHORT[quantity]
    number = 2
    while name in taken:
        name = f"{_SHORT[quantity]}-{number}"
        number += 1
    return name


def _line(field: str, value: str) -> str:
    return f"{field} = {_text(value)}"


def _text(value: str) -> str:
    """Return a TOML string. JSON's escapes are TOML's too; DEL and the like are written out."""
    said = json.dumps(value, ensure_ascii=False)
    return "".join(f"\\u{ord(mark):04x}" if 0x7F <= ord(mark) <= 0x9F else mark for mark in said)


def covered(candidate: Candidate) -> tuple[tuple[str, str], ...]:
    """Return the entries of the waiting list that a candidate is made of."""
    return tuple((one.topic, one.device) for one in candidate.of)


def spoken_topics(candidate: Candidate) -> tuple[str, ...]:
    """Return the topics on which it speaks."""
    if candidate.payload is Payload.PLAIN:
        return tuple(topic_of(candidate.topic, found.path) for found in candidate.found)
    return (candidate.topic,)


def append_to(site_file: Path, block: str, *, plans: Path) -> None:
    """Append a block to the site file, which keeps every byte it had.

    The whole is written beside it, checked as a running graftvigil would read it, and only then
    put in its place. Raises CannotAdopt with the faults when it would not do, and when the file
    has changed meanwhile.
    """
    try:
        real = site_file.resolve(strict=True)
        before = real.read_bytes()
    except OSError as trouble:
        msg = f"{site_file} can't be read ({trouble.strerror}). Name it with --site"
        raise CannotAdopt(msg) from trouble
    feed = b"\r\n" if b"\r\n" in before else b"\n"
    gap = feed if before.endswith(b"\n") or not before else feed + feed
    added = gap + block.encode().replace(b"\n", feed)
    try:
        handle, written = tempfile.mkstemp(dir=real.parent, prefix=f".{real.name}.", suffix=".new")
    except OSError as trouble:
        msg = f"{real.parent} can't be written to ({trouble.strerror}). Let this user write there"
        raise CannotAdopt(msg) from trouble
    beside = Path(written)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(before + added)
            file.flush()
            os.fsync(file.fileno())
        _check(beside, site_file, plans=plans)
        shutil.copymode(real, beside)
        with suppress(OSError):  # only a superuser may give a file to someone else
            owner = real.stat()
            os.chown(beside, owner.st_uid, owner.st_gid)
        if real.read_bytes() != before:
            msg = f"{site_file} was changed by someone else just now. Do it again"
            raise CannotAdopt(msg)
        beside.replace(real)
    except OSError as trouble:
        msg = f"{site_file} can't be written ({trouble.strerror}). Let this user write there"
        raise CannotAdopt(msg) from trouble
    finally:
        beside.unlink(missing_ok=True)
    _sync_folder(real.parent)


def _check(beside: Path, site_file: Path, *, plans: Path) -> None:
    read = read_nursery(beside, plans)
    if read.faults or read.site is None:
        faults: list[Fault] = [
            replace(fault, file=str(site_file)) if fault.file == str(beside) else fault
            for fault in read.faults
        ]
        told = "\n".join(str(fault) for fault in faults)
        msg = f"the site file would have a fault with it, so nothing was written:\n{told}"
        raise CannotAdopt(msg)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
