"""`graftvigil check`: every fault of a site file and its care plans, one line each."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import BAD_INPUT, GOOD
from api.site_files import Nursery, is_plan, read_nursery, read_plan
from api.watch.clock import WallClock

if TYPE_CHECKING:
    from collections.abc import Sized

    from rules.model.site import Site

DESCRIPTION = """\
Read a site file and the care plans beside it, and name everything that is wrong, one line each:
file, line, field, what is wrong, and what to do about it. FILE may also be a single care plan.

Lines that begin with "note:" are not wrong, but worth a second look: a batch that no sensor
speaks for, hours of the week, or of the next four weeks, in which nobody is on duty.

Exit code 0: no faults. 2: faults, or a file that cannot be read.

  graftvigil check site.toml
  graftvigil check site.toml --plans old-plans
  graftvigil check plans/leafy-bag.toml
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `check` to the command line."""
    parser = subcommands.add_parser(
        "check",
        help="name every fault of a site file and its care plans",
        description=DESCRIPTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", type=Path, help="site file, or one care plan")
    parser.add_argument(
        "--plans",
        metavar="FOLDER",
        type=Path,
        help="folder of care plans (default: plans, beside the site file)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object instead")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check what the arguments name, print it, and return the exit code."""
    file: Path = arguments.file
    if is_plan(file):
        plan, faults = read_plan(file)
        plans = {plan.id: plan} if plan is not None else {}
        nursery = Nursery(site=None, plans=plans, faults=faults, notes=())
    else:
        plans_folder = arguments.plans or file.parent / "plans"
        nursery = read_nursery(file, plans_folder, weeks_from=WallClock().now())
    print(_as_json(nursery) if arguments.json else _as_lines(nursery))
    return BAD_INPUT if nursery.faults else GOOD


def _as_json(nursery: Nursery) -> str:
    return json.dumps(
        {
            "good": not nursery.faults,
            "faults": [asdict(fault) for fault in nursery.faults],
            "notes": [asdict(note) for note in nursery.notes],
        },
        indent=2,
        ensure_ascii=False,
    )


def _as_lines(nursery: Nursery) -> str:
    lines = [*map(str, nursery.faults), *(f"note: {note}" for note in nursery.notes)]
    return "\n".join([*lines, _summary(nursery)])


def _summary(nursery: Nursery) -> str:
    notes = _counted(nursery.notes, "note")
    if nursery.faults:
        return f"{_counted(nursery.faults, 'fault')}, {notes}"
    return f"No faults, {notes}: {_contents(nursery.site)}{_counted(nursery.plans, 'care plan')}"


def _contents(site: Site | None) -> str:
    if site is None:
        return ""
    return (
        f"{_counted(site.house, 'house')}, {_counted(site.bench, 'bench', 'benches')}, "
        f"{_counted(site.sensor, 'sensor')}, {_counted(site.batch, 'batch', 'batches')}, "
        f"{_counted(site.person, 'person', 'people')}, "
        f"{_counted(site.lamp, 'lamp') + ', ' if site.lamp else ''}"
    )


def _counted(things: Sized, one: str, many: str = "") -> str:
    return f"{len(things)} {one if len(things) == 1 else many or one + 's'}"
