"""`graftvigil takes`: how many took, by what, and how exposures go with it."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from api.cli.main import GOOD
from api.cli.options import take_data, take_plans, take_site

if TYPE_CHECKING:
    import argparse

DESCRIPTION = """\
How many grafts took, by cultivar, rootstock, method, kind, house, month, and whose initials are on
the label, each with the 95 % interval of its share. Where batches of one row differ by more than
chance, its plants are counted for fewer. Of fewer than 30 plants or 3 batches nothing is said: too
few to say. Rows by initials differ in wood, weather and stocks as well; nothing here sets that
right, and none of it says how well anybody works.

With --exposures, what failed batches went through beside those that took, exposure by exposure:
the difference as Cliff's delta, and the p of a rank test after Holm's correction for all of them.
That two things came together does not show that one brought the other.

  graftvigil takes
  graftvigil takes --exposures --json
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    from argparse import RawDescriptionHelpFormatter

    command = subcommands.add_parser(
        "takes",
        help="say how many grafts took, by what, and what went with it",
        description=DESCRIPTION,
        formatter_class=RawDescriptionHelpFormatter,
    )
    take_site(command)
    take_plans(command)
    take_data(command)
    command.add_argument(
        "--exposures",
        action="store_true",
        help="hold failed batches against those that took; judges all their records again",
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the shares, and the contrasts if asked for."""
    from api.cli import given
    from api.cli.takes_told import exposures_told, take_lines, takes_told

    if arguments.exposures:
        from api.cli.stores_open import parts_of

        parts = parts_of(arguments.site, arguments.plans, arguments.data, at=None)
        try:
            told = takes_told(parts.site)
            told["exposures"] = exposures_told(parts)
        finally:
            parts.records.dispose()
            parts.store.close()
    else:
        site, _ = given.in_force(arguments.site, arguments.plans, arguments.data)
        told = takes_told(site)
    if arguments.json:
        sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
    else:
        sys.stdout.write("\n".join(take_lines(told)) + "\n")
    return GOOD
