"""`graftvigil rejects`: what was refused on arrival, why, and what to do about it."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD
from api.cli.options import take_data

if TYPE_CHECKING:
    import argparse


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "rejects",
        help="list what was refused on arrival, and why",
        description="Lists the newest messages and values that were refused on arrival, each with "
        "what is wrong and what to do. Exit code 1 when there are any.",
    )
    take_data(command)
    command.add_argument("--most", type=int, default=50, metavar="N", help="list at most N")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the rejects; return 1 when there are any."""
    from api.cli.given import readings_file
    from collector.rejects import RejectLog
    from collector.stores.sqlite_file import SqliteFile

    file = SqliteFile(readings_file(arguments.data))
    log = RejectLog(file)
    newest, counts = log.newest(arguments.most), log.counts()
    file.close()
    if arguments.json:
        listed = [
            {
                "at": datetime.fromtimestamp(one.at_ms / 1000, UTC).isoformat(),
                "topic": one.topic,
                "field": one.field,
                "problem": one.problem,
                "fix": one.fix,
                "payload": one.payload.decode("utf-8", "backslashreplace"),
            }
            for one in newest
        ]
        sys.stdout.write(json.dumps({"counts": dict(counts), "newest": listed}, indent=2) + "\n")
    else:
        for one in newest:
            at = datetime.fromtimestamp(one.at_ms / 1000, UTC).isoformat(timespec="seconds")
            said = f"{at} {one.topic}: {one.field}: {one.problem}. {one.fix}"
            sys.stdout.write("".join(c if c.isprintable() else "?" for c in said) + "\n")
        sys.stdout.write(f"{sum(counts.values())} refused since the store was made\n")
    return FOUND_TROUBLE if counts else GOOD
