"""`graftvigil batches`: all batches as a table for a spreadsheet, and back."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_data

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy import Engine

    from api.batch_table import BatchRow, RowFault
    from api.book import Book
    from api.entering import Kept

BATCHES = """\
Writes every batch in force into a table, a row each, or takes the rows of such a table over. A
row of a known code changes that batch, another enters a new one; no row takes a batch away. All
rows are checked together with everything else, and kept only if none has a fault. What is taken
over counts from the next minute and stands in `graftvigil history`.

The separator, the encoding and a decimal comma are recognised. In the column stages each stage is a
line: its name, since when, and why. A filled-in revision guards what was changed meanwhile.

  graftvigil batches export batches.csv
  graftvigil batches import batches.csv --by wren --dry-run
  graftvigil batches import batches.csv --by wren
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `batches` to the command line."""
    command = subcommands.add_parser(
        "batches",
        help="write all batches into a table, or take a table over",
        description=BATCHES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("what", choices=("export", "import"), help="which way")
    command.add_argument("file", nargs="?", type=Path, metavar="FILE", help="the table")
    command.add_argument("--by", metavar="PERSON", help="who takes the table over; an id")
    command.add_argument("--note", default="", metavar="TEXT", help="kept with every change")
    command.add_argument("--dry-run", action="store_true", help="check only; keep nothing")
    add_places(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def add_places(command: argparse.ArgumentParser) -> None:
    """Add the options that tell where site, plans and records are."""
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


def run(arguments: argparse.Namespace) -> int:
    """Export or import."""
    from api.cli import given

    records = given.records(arguments.data)
    try:
        book = given.book(arguments.site, arguments.plans, records)
        if arguments.what == "export":
            return _export(arguments, book)
        return _import(arguments, book, records)
    finally:
        records.dispose()


def _export(arguments: argparse.Namespace, book: Book) -> int:
    from api.batch_table import table_of
    from api.book import forms_in
    from api.records.entries import Kind

    forms = forms_in(book.now.site, Kind.BATCH)
    if arguments.json:
        sys.stdout.write(json.dumps({"batches": list(forms.values())}, indent=2) + "\n")
        return GOOD
    table = table_of(forms.values())
    if arguments.file is None:
        sys.stdout.write(table.replace("\r\n", "\n"))
        return GOOD
    try:
        # With the mark by which spreadsheets know UTF-8.
        arguments.file.write_bytes(table.encode("utf-8-sig"))
    except OSError as trouble:
        msg = f"{arguments.file} can't be written ({trouble.strerror}). Name another file"
        raise CannotGoOn(msg) from trouble
    sys.stdout.write(f"{len(forms)} batches written into {arguments.file}\n")
    return GOOD


def _import(arguments: argparse.Namespace, book: Book, records: Engine) -> int:
    from api.batch_table import TableRefused, rows_in, told_by_row
    from api.book import forms_in
    from api.entering import Refused, UnknownThing, change
    from api.records.entries import ChangedMeanwhile, Kind
    from api.watch.clock import WallClock

    if arguments.file is None:
        msg = "FILE: is missing; name the table, as in `graftvigil batches import batches.csv`"
        raise CannotGoOn(msg)
    known = [person.id for person in book.now.site.person]
    if arguments.by not in known:
        said = "is missing" if arguments.by is None else f'nobody has the id "{arguments.by}"'
        msg = f"--by: {said}; write one of {', '.join(known)}"
        raise CannotGoOn(msg)
    forms = forms_in(book.now.site, Kind.BATCH)
    rows: Sequence[BatchRow] = ()
    try:
        rows = rows_in(arguments.file, forms)
        kept = change(
            records,
            book,
            [one.change for one in rows],
            by=arguments.by,
            note=arguments.note,
            at=WallClock().now(),
            dry=arguments.dry_run,
        )
    except TableRefused as trouble:
        return _told(trouble.faults, as_json=arguments.json)
    except Refused as trouble:
        return _told(told_by_row(trouble.faults, rows), as_json=arguments.json)
    except (ChangedMeanwhile, UnknownThing) as trouble:
        msg = f"{trouble}. Nothing was kept; export again"
        raise CannotGoOn(msg) from trouble
    except OSError as trouble:
        msg = f"{arguments.file} can't be read ({trouble.strerror}). Name a file that is there"
        raise CannotGoOn(msg) from trouble
    _say(kept, forms, arguments)
    return GOOD


def _told(faults: Sequence[RowFault], *, as_json: bool) -> int:
    if as_json:
        told = [
            {"row": one.row, "column": one.column, "problem": one.problem, "fix": one.fix}
            for one in faults
        ]
        sys.stdout.write(json.dumps({"kept": False, "faults": told}, indent=2) + "\n")
        return FOUND_TROUBLE
    for one in faults:
        sys.stdout.write(_plain(f"{one}") + "\n")
    sys.stdout.write(f"Nothing was kept: {len(faults)} faults.\n")
    return FOUND_TROUBLE


def _say(kept: Sequence[Kept], before: Mapping[str, object], arguments: argparse.Namespace) -> None:
    changed = [one for one in kept if one.number is not None]
    new = [one.change.key for one in changed if one.change.key not in before]
    old = [one.change.key for one in changed if one.change.key in before]
    if arguments.json:
        told = {
            "kept": not arguments.dry_run,
            "new": new,
            "changed": old,
            "unchanged": len(kept) - len(changed),
        }
        sys.stdout.write(json.dumps(told, indent=2) + "\n")
        return
    for word, codes in (("new", new), ("changed", old)):
        for code in codes:
            sys.stdout.write(f"{code}: {word}\n")
    would = "would be " if arguments.dry_run else ""
    sys.stdout.write(
        f"{len(new)} new, {len(old)} {would}changed, {len(kept) - len(changed)} unchanged\n"
    )
    if arguments.dry_run:
        sys.stdout.write("Nothing was kept. Without --dry-run this is taken over.\n")


def _plain(line: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in line)
