"""`graftvigil history`: who changed what in the books, from what to what."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING

from api.cli.batches import add_places
from api.cli.main import GOOD, CannotGoOn

if TYPE_CHECKING:
    from api.trail import TrailLine

KINDS = ("batch", "sensor", "person", "swap", "absence")

HISTORY = """\
Prints all that was entered about one batch, sensor or person, the oldest first: when, by whom, from
what to what, and why; of a batch also what was seen, and what was taken back. What the site file
had before the first change stands first.

  graftvigil history batch MG-07
  graftvigil history sensor bag-07 --json
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `history` to the command line."""
    command = subcommands.add_parser(
        "history",
        help="who changed a batch, sensor or person, from what to what",
        description=HISTORY,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("kind", choices=KINDS, help="what it is")
    command.add_argument("name", metavar="NAME", help="its code or id")
    add_places(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the trail of one thing."""
    from api.cli import given
    from api.records.entries import Kind
    from api.records.session import reading
    from api.trail import trail_of

    records = given.records(arguments.data)
    kind, name = Kind(arguments.kind), arguments.name
    try:
        book = given.book(arguments.site, arguments.plans, records)
        with reading(records) as db:
            lines = trail_of(db, kind, name)
    finally:
        records.dispose()
    if not lines and book.now.written(kind, name) is None:
        msg = f'there is no {kind} "{name}" and never was one'
        raise CannotGoOn(msg)
    zone = book.now.site.site.time_zone
    if arguments.json:
        told = [_as_json(line) for line in lines]
        sys.stdout.write(json.dumps({"history": told}, indent=2, ensure_ascii=False) + "\n")
        return GOOD
    for line in lines:
        for said in _lines(line, zone):
            sys.stdout.write("".join(c if c.isprintable() else "?" for c in said) + "\n")
    if not lines:
        sys.stdout.write("nothing entered; it is as the site file has it\n")
    return GOOD


def _lines(line: TrailLine, zone: str) -> list[str]:
    from zoneinfo import ZoneInfo

    at = line.at.astimezone(ZoneInfo(zone)).isoformat(sep=" ", timespec="minutes")
    done = line.done.value.replace("_", " ")
    who = f", {line.by}" if line.by else ""
    note = f" ({line.note})" if line.note else ""
    return [
        f"{at} {done} {line.number}{who}{note}",
        *(f"    {one.field}: {_said(one.was)} -> {_said(one.now)}" for one in line.differences),
    ]


def _said(value: object) -> str:
    return "nothing" if value is None else json.dumps(value, ensure_ascii=False)


def _as_json(line: TrailLine) -> dict[str, object]:
    return {
        "at": line.at.isoformat(),
        "done": line.done.value,
        "number": line.number,
        "by": line.by,
        "note": line.note,
        "differences": [
            {"field": one.field, "was": one.was, "now": one.now} for one in line.differences
        ],
    }
