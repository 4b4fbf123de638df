"""`graftvigil tonight`: the night sheet, printed."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from api.cli.main import GOOD
from api.cli.options import take_data, take_plans, take_reader, take_site

if TYPE_CHECKING:
    import argparse

DESCRIPTION = """\
Prints the sheet of the night ahead: which batches are under cover, what is expected of their air
with how such forecasts did, how long their water lasts, heat tomorrow, blind spots, work in hand,
alarms, checks due, and who is on duty when. With --dawn the night behind: what each batch went
through, what had been foretold and what came, who answered, and what to do first.

It reads the stores as `graftvigil run` keeps them, and changes nothing.

  graftvigil tonight --site site.toml --data graftvigil-data
  graftvigil tonight --dawn --language es
  graftvigil tonight --at 2026-11-15T06:30:00+11:00 --dawn --json
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    from argparse import RawDescriptionHelpFormatter

    command = subcommands.add_parser(
        "tonight",
        help="print what may happen tonight and who goes, or what the night was",
        description=DESCRIPTION,
        formatter_class=RawDescriptionHelpFormatter,
    )
    take_site(command)
    take_plans(command)
    take_data(command)
    command.add_argument("--dawn", action="store_true", help="the night behind, not the one ahead")
    command.add_argument(
        "--at", metavar="INSTANT", help="as of then, with its offset from UTC (default: now)"
    )
    take_reader(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the sheet."""
    from api.cli.stores_open import parts_of
    from api.night_sheet.routes import body_of
    from api.night_sheet.sheets import NightSheets
    from api.pictures.pictures import Pictures
    from api.v1.sight import Sight
    from rules.sheet_times import SheetKind

    parts = parts_of(arguments.site, arguments.plans, arguments.data, at=arguments.at)
    try:
        sight = Sight(parts)
        sheets = NightSheets(parts, sight, Pictures(parts, sight))
        sheet = sheets.sheet(SheetKind.MORNING if arguments.dawn else SheetKind.EVENING)
        told = sheets.told(sheet, language=arguments.language, fahrenheit=arguments.unit == "degF")
    finally:
        parts.records.dispose()
        parts.store.close()
    if arguments.json:
        said = body_of(sheet, told).model_dump(mode="json")
        sys.stdout.write(json.dumps(said, indent=2, ensure_ascii=False) + "\n")
    else:
        sys.stdout.write(told.as_text() + "\n")
    return GOOD
