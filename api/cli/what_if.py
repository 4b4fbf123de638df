"""What `graftvigil replay` can be asked for in several ways at once: --sweep, --plan, --suppose."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import CannotGoOn

if TYPE_CHECKING:
    import argparse

DESCRIPTION = """\
The same record judged in several ways, side by side. It shows the trade and recommends nothing:
how often it would have rung, how long plants were beyond, how long before a loss it was said, and
how many calls no loss came after."""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Add what asks for several ways to the command."""
    group = command.add_argument_group("what if", DESCRIPTION)
    group.add_argument(
        "--sweep",
        action="append",
        default=[],
        metavar="[[PLAN/]STAGE/]LIMIT.FIGURE=FIRST:LAST:STEP",
        help="judge by each of these values of a limit: its bound, deadband, on_delay_min or "
        "off_delay_min; twice for two at once",
    )
    group.add_argument(
        "--plan",
        action="append",
        type=Path,
        default=[],
        metavar="FILE",
        help="judge by this care plan in the place of that with its id; once for each plan",
    )
    group.add_argument(
        "--suppose",
        action="append",
        default=[],
        metavar="CHANGE[,CHANGE]",
        help="judge the record as it would have been: hotter=2 (°C), shade=HOUSE:0.7, "
        "opened=BATCH@INSTANT/0.4, uncovered=BATCH@INSTANT, silent=SENSOR@INSTANT or "
        "silent=SENSOR/CHANNEL@INSTANT/INSTANT; once for each",
    )
    group.add_argument(
        "--batch", action="append", default=[], metavar="CODE", help="look at this batch only"
    )
    group.add_argument(
        "--lost",
        action="append",
        default=[],
        metavar="BATCH@INSTANT",
        help="a batch that was lost, and when; those recorded as failed are known",
    )
    group.add_argument(
        "--within",
        type=float,
        default=48.0,
        metavar="HOURS",
        help="a call so long before a loss counts as one of it, any other as false (default: 48)",
    )
    group.add_argument(
        "--picture", type=Path, metavar="FILE", help="draw it as well, into an .svg or .png"
    )


def is_asked(arguments: argparse.Namespace) -> bool:
    """Return whether the record is to be judged in several ways; CannotGoOn for a mix of both."""
    several = [name for name in ("sweep", "plan", "suppose") if getattr(arguments, name, None)]
    if len(several) > 1:
        msg = f"--{several[0]} and --{several[1]} don't go together; ask one after the other"
        raise CannotGoOn(msg)
    alone = {"--lost": arguments.lost, "--batch": arguments.batch, "--picture": arguments.picture}
    given = [name for name, value in alone.items() if value]
    if given and not several:
        msg = f"{given[0]} goes with --sweep, --plan or --suppose; add one of them"
        raise CannotGoOn(msg)
    if several and (arguments.rings or arguments.minutes is not None):
        unfit = "--rings" if arguments.rings else "--minutes"
        msg = f"{unfit} tells of one way to judge, and --{several[0]} asks for several; drop one"
        raise CannotGoOn(msg)
    if several and not 0 < arguments.within <= 24 * 365:
        msg = f"--within: {arguments.within:g} is not a number of hours; write one as in 48"
        raise CannotGoOn(msg)
    return bool(several)
