"""`graftvigil run`: everything in one process, until it is told to stop."""

from __future__ import annotations

import json
import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn

if TYPE_CHECKING:
    import argparse

    from api.assemble import Nursery

SETTABLE = ("site", "plans", "data", "listen", "broker", "built_in_broker", "node", "only")


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "run",
        help="watch the nursery: take readings, judge them, warn people, show pages",
        description="Runs everything in one process: the collector, the watch, the alert service "
        "and the pages. Stops on Ctrl-C or SIGTERM; what was acknowledged is kept.",
    )
    command.add_argument("--site", type=Path, metavar="FILE", help="the site file")
    command.add_argument("--plans", type=Path, metavar="FOLDER", help="the folder of care plans")
    command.add_argument("--data", type=Path, metavar="FOLDER", help="where both stores are kept")
    command.add_argument("--listen", metavar="HOST:PORT", help="where the pages are served")
    command.add_argument("--broker", metavar="URL", help="MQTT broker, as mqtt://host:1883")
    command.add_argument(
        "--built-in-broker",
        metavar="HOST:PORT",
        help="where the built-in broker listens when no broker is named",
    )
    command.add_argument(
        "--node", metavar="NAME", help="this process's name among several over the same records"
    )
    command.add_argument(
        "--only",
        choices=("collector", "watch", "web"),
        help="only take readings (collector), watch without pages, or show pages without watching",
    )
    command.add_argument("--json", action="store_true", help="print where things are as one object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run until told to stop; return 0 after a clean stop."""
    from api.log_lines import write_logs
    from api.settings import SettingsUnusable, load_settings

    given = {name: value for name in SETTABLE if (value := getattr(arguments, name)) is not None}
    if "site" in given and "plans" not in given and "GRAFTVIGIL_PLANS" not in os.environ:
        given["plans"] = given["site"].parent / "plans"
    try:
        settings = load_settings(os.environ, given)
    except SettingsUnusable as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    write_logs(settings.log)

    # Imported only now: the parts take seconds to load, and a wrong setting is told at once.
    from api.assemble import CannotStart, assemble
    from api.watch.clock import WallClock

    try:
        nursery = assemble(settings, WallClock(), notice=None, first_minute=None)
    except CannotStart as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    return serve(nursery, turned_by_hand=False, as_json=arguments.json)


def serve(nursery: Nursery, *, turned_by_hand: bool, as_json: bool) -> int:
    """Start every part, say where it is, and serve pages until told to stop."""
    from api.assemble import CannotStart
    from api.garbage import leave_out_what_is_loaded

    # The web server gives the signal on once it has stopped; the rest is then to end well too.
    signal.signal(signal.SIGTERM, _asked_to_stop)
    try:
        nursery.start(turned_by_hand=turned_by_hand)
    except CannotStart as trouble:
        nursery.stop()
        raise CannotGoOn(str(trouble)) from trouble
    try:
        where = {"pages": nursery.pages_address, "broker": nursery.broker_address}
        code = nursery.offer_set_up() if nursery.parts.settings.shows_pages else None
        if code is not None:
            where["set_up_code"] = code
        if as_json:
            sys.stdout.write(json.dumps(where) + "\n")
        else:
            pages = where["pages"] or "none, as only other parts were asked for"
            sys.stdout.write(f"Pages: {pages}\nMQTT:  {where['broker']}\n")
            if code is not None:
                sys.stdout.write(
                    f"Set up: nobody has an account yet. Open {where['pages']}/set-up and type the "
                    f"code {code}\n"
                )
            for warning in nursery.warnings:
                sys.stdout.write(f"Note:  {warning}\n")
        sys.stdout.flush()
        leave_out_what_is_loaded()
        nursery.serve_pages()
    except CannotStart as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    finally:
        nursery.stop()
    guard = nursery.parts.guard
    return FOUND_TROUBLE if guard is not None and guard.ending.why else GOOD


def _asked_to_stop(_number: int, _frame: object) -> None:
    raise SystemExit(GOOD)
