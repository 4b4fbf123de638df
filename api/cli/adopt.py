"""`graftvigil adopt`: who speaks without being in the site file, and how to put one into it."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_data

if TYPE_CHECKING:
    from api.adoption import Adoption
    from collector.guess import Candidate, Found
    from collector.waiting import WaitingList
    from rules.model.site import Site

ADOPT = """\
Without a topic: list the devices that were heard and that no sensor of the site file is, each with
what its numbers probably mean and why. With a topic: append that device to the site file as a
[[sensor]]. Every byte of the file is kept; the whole is checked first, and left alone if it would
have a fault. A running graftvigil takes the new sensor up within seconds.

  graftvigil adopt
  graftvigil adopt valley/bag-09 --dry-run
  graftvigil adopt valley/bag-09 --id bag-09 --cover-of MG-09
  graftvigil adopt shed/packs --device shed:b9: --as shed:b9:x=ppfd:umol/m2/s
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `adopt` to the command line."""
    command = subcommands.add_parser(
        "adopt",
        help="list devices that no sensor is yet, or write one into the site file",
        description=ADOPT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("topic", nargs="?", help="topic of the device; as listed")
    command.add_argument("--device", metavar="NAME", help="which, where several share the topic")
    command.add_argument("--id", metavar="ID", help="of the sensor (default: from the topic)")
    command.add_argument("--title", help="as the pages show it (default: the topic)")
    command.add_argument(
        "--like",
        metavar="ID",
        help="a sensor of the same make, whose fields it takes over (default: one that sends "
        "the same fields, if there is one; none: no sensor)",
    )
    command.add_argument(
        "--only", action="append", metavar="PATH", help="take this number; again for another"
    )
    command.add_argument(
        "--as",
        dest="meant",
        action="append",
        metavar="PATH=QUANTITY:UNIT",
        help="what a number is, where the guess is wrong or none",
    )
    place = command.add_mutually_exclusive_group()
    place.add_argument("--cover-of", metavar="CODE", help="it speaks for this batch's cover")
    place.add_argument("--bench", metavar="ID", help="it speaks for this bench")
    place.add_argument("--house", metavar="ID", help="it speaks for this house")
    place.add_argument("--open-sky", action="store_true", help="it speaks for the open sky")
    command.add_argument("--dry-run", action="store_true", help="print the block; write nothing")
    command.add_argument(
        "--site",
        type=Path,
        default=Path("site.toml"),
        metavar="FILE",
        help="the site file (default: site.toml)",
    )
    command.add_argument(
        "--plans", type=Path, metavar="FOLDER", help="care plans (default: plans, beside the site)"
    )
    take_data(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """List who waits, or adopt one."""
    from api.cli import given
    from collector.guess import candidates
    from collector.stores.sqlite_file import SqliteFile
    from collector.waiting import WaitingList

    file = SqliteFile(given.readings_file(arguments.data))
    try:
        waiting = WaitingList(file)
        listed = [one for one in candidates(waiting.listed()) if not one.adopted]
        if arguments.topic is None:
            return _list(listed, as_json=arguments.json)
        site = given.site(arguments.site)
        adoption = _adoption(arguments, _chosen(arguments, listed), site)
        return _adopt(arguments, adoption, waiting)
    finally:
        file.close()


def _list(listed: list[Candidate], *, as_json: bool) -> int:
    if as_json:
        sys.stdout.write(json.dumps({"waiting": [told(one) for one in listed]}, indent=2) + "\n")
    else:
        for one in listed:
            for line in _lines(one):
                sys.stdout.write("".join(c if c.isprintable() else "?" for c in line) + "\n")
        sys.stdout.write(f"{len(listed)} waiting\n")
    return FOUND_TROUBLE if listed else GOOD


def told(one: Candidate) -> dict[str, object]:
    """Return a candidate as the API and --json tell it."""
    from collector.meanings import WHY_SAID
    from collector.rejects import readable

    return {
        "topic": one.topic,
        "device": one.device or None,
        "payload": None if one.payload is None else str(one.payload),
        "time": str(one.time),
        "time_path": one.time_path,
        "first_heard": _instant(one.first_ms),
        "last_heard": _instant(one.last_ms),
        "messages": one.count,
        "sample": readable(one.sample),
        "numbers": [
            {
                "path": found.path,
                "value": found.value,
                "quantity": found.meant.quantity and str(found.meant.quantity),
                "unit": found.meant.unit,
                "scale": found.meant.scale,
                "why": [WHY_SAID[why] for why in found.meant.why],
            }
            for found in one.found
        ],
    }


def _lines(one: Candidate) -> list[str]:
    from collector.rejects import readable

    named = f" --device {one.device}" if one.device else ""
    payload = str(one.payload) if one.payload else "not recognised"
    lines = [
        f"{one.topic}{named}: {payload}, {one.count} heard, last {_instant(one.last_ms)}",
        f"    {readable(one.sample)}",
    ]
    return [*lines, *(f"    {_said(found)}" for found in one.found)]


def _said(found: Found) -> str:
    from collector.meanings import WHY_SAID

    meant = found.meant
    why = ", ".join(WHY_SAID[one] for one in meant.why)
    if meant.quantity is None or meant.unit is None:
        return f"{found.path} = {found.value:g}: left out; {why}"
    scale = "" if meant.scale == 1.0 else f" x {meant.scale:g}"
    return f"{found.path} = {found.value:g}{scale}: {meant.quantity} in {meant.unit}; {why}"


def _instant(at_ms: int) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(at_ms / 1000, UTC).isoformat(timespec="seconds")


def _chosen(arguments: argparse.Namespace, listed: list[Candidate]) -> Candidate:
    on_topic = [one for one in listed if one.topic == arguments.topic]
    if arguments.device is not None:
        on_topic = [one for one in on_topic if one.device == arguments.device]
    if not on_topic:
        device = f" with device {arguments.device}" if arguments.device else ""
        msg = f"nobody waits on {arguments.topic}{device}. `graftvigil adopt` lists who does"
        raise CannotGoOn(msg)
    if len(on_topic) > 1:
        names = ", ".join(one.device or "(none)" for one in on_topic)
        msg = f"several share that topic; name one with --device: {names}"
        raise CannotGoOn(msg)
    return on_topic[0]


def _adoption(arguments: argparse.Namespace, candidate: Candidate, site: Site) -> Adoption:
    from api.adoption import PLACES, suggested
    from api.watch.clock import WallClock

    candidate = _as_told(arguments, candidate)
    adoption = suggested(candidate, site)
    by_hand = bool(arguments.only or arguments.meant)
    like = adoption.like if arguments.like is None else arguments.like
    adoption = replace(
        adoption,
        name=arguments.id or adoption.name,
        title=arguments.title or adoption.title,
        like=None if like == "none" or (by_hand and arguments.like is None) else like,
    )
    named = next((name for name in PLACES if getattr(arguments, name)), None)
    if named is not None:
        value = getattr(arguments, named)
        place = (named, "" if value is True else str(value))
        now = WallClock().now().replace(microsecond=0)
        adoption = replace(adoption, place=place, since=now)
    return adoption


def _as_told(arguments: argparse.Namespace, candidate: Candidate) -> Candidate:
    """Return the candidate with what was said of its numbers by hand."""
    from api.cli.given import word
    from collector.meanings import Meant
    from rules.model.quantities import MEANINGS, Quantity

    found = {one.path: one for one in candidate.found}
    for said in arguments.meant or ():
        path, _, meaning = said.rpartition("=")
        named, _, unit = meaning.partition(":")
        if path not in found:
            msg = f'--as: it sends no number at "{path}"; there are {", ".join(found)}'
            raise CannotGoOn(msg)
        quantity = word(named, Quantity, "--as")
        if unit not in MEANINGS[quantity].units:
            units = ", ".join(MEANINGS[quantity].units)
            msg = f'--as: "{unit}" is no unit of {quantity}; write one of {units}'
            raise CannotGoOn(msg)
        found[path] = replace(found[path], meant=Meant(quantity, unit, 1.0, ()))
    for path in arguments.only or ():
        if path not in found:
            msg = f'--only: it sends no number at "{path}"; there are {", ".join(found)}'
            raise CannotGoOn(msg)
    kept = [one for path, one in found.items() if not arguments.only or path in arguments.only]
    return replace(candidate, found=tuple(kept))


def _adopt(arguments: argparse.Namespace, adoption: Adoption, waiting: WaitingList) -> int:
    from api.adoption import CannotAdopt, append_to, block_of, covered
    from api.watch.clock import WallClock, milliseconds

    plans = arguments.plans or arguments.site.parent / "plans"
    try:
        block = block_of(adoption)
        if not arguments.dry_run:
            append_to(arguments.site, block, plans=plans)
    except CannotAdopt as trouble:
        msg = str(trouble)
        raise CannotGoOn(msg) from trouble
    if not arguments.dry_run:
        waiting.note_adopted(covered(adoption.candidate), at_ms=milliseconds(WallClock()))
    if arguments.json:
        said = {"written": not arguments.dry_run, "id": adoption.name, "block": block}
        sys.stdout.write(json.dumps(said) + "\n")
        return GOOD
    sys.stdout.write(block)
    if arguments.dry_run:
        sys.stdout.write(
            f"Nothing was written. Without --dry-run this goes into {arguments.site}.\n"
        )
    else:
        sys.stdout.write(
            f"Written into {arguments.site}. A running graftvigil takes it up within seconds.\n"
        )
    return GOOD
