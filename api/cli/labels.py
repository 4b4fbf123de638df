"""`graftvigil labels`: a PDF of labels for batches, each with a code to scan."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn
from api.cli.options import take_data, take_site

if TYPE_CHECKING:
    import argparse


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "labels",
        help="print labels for batches, with a code that a phone reads",
        description="Writes a PDF with one label a batch: its code, cultivar, rootstock, method, "
        "day, and a square code that leads a phone to the page of the batch. Print at full size.",
    )
    take_site(command)
    take_data(command)
    command.add_argument(
        "--batch",
        action="append",
        metavar="CODE",
        help="a batch; may be given again. Left out: every batch that has not ended",
    )
    command.add_argument("--sheet", default="a4-24", metavar="NAME", help="a4-24 and others")
    command.add_argument("--first", type=int, default=1, metavar="N", help="first free label")
    command.add_argument("--copies", type=int, default=1, metavar="N", help="so many of each")
    command.add_argument("--language", choices=("en", "es"), default="en", help="of the label")
    command.add_argument("--out", type=Path, required=True, metavar="FILE", help="the PDF")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the PDF and say how many labels are in it."""
    from api.cli import given
    from api.labels.drawing import CannotDraw
    from api.labels.sheets import SHEETS
    from api.watch.clock import WallClock
    from api.web.labels_page import labels_pdf
    from api.web.words.languages import LANGUAGES
    from rules.model.batch import ENDED

    if arguments.sheet not in SHEETS:
        msg = f'--sheet: "{arguments.sheet}" is not known; write one of {", ".join(SHEETS)}'
        raise CannotGoOn(msg)
    if arguments.copies < 1:
        msg = f"--copies: {arguments.copies} is not a number of labels; write 1 or more"
        raise CannotGoOn(msg)
    site = given.site_in_force(arguments.site, arguments.data)
    known = {batch.code: batch for batch in site.batch}
    now = WallClock().now()
    wanted = arguments.batch
    if wanted is None:
        wanted = [code for code, one in known.items() if one.stage_at(now) not in ENDED]
    for code in wanted:
        if code not in known:
            msg = f'--batch: "{code}" is not known; write one of {", ".join(known)}'
            raise CannotGoOn(msg)
    try:
        drawn = labels_pdf(
            tuple(known[code] for code in dict.fromkeys(wanted)),
            LANGUAGES[arguments.language],
            sheet=SHEETS[arguments.sheet],
            copies=arguments.copies,
            first_place=arguments.first - 1,
            base_url=given.settings(arguments.data).base_url,
        )
    except CannotDraw as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    try:
        arguments.out.write_bytes(drawn)
    except OSError as trouble:
        msg = f"--out: {arguments.out} can't be written ({trouble.strerror}); name another file"
        raise CannotGoOn(msg) from trouble
    count = len(dict.fromkeys(wanted)) * arguments.copies
    sys.stdout.write(f"{count} labels in {arguments.out}\n")
    return GOOD
