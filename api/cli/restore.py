"""`graftvigil restore`: a backup put in place, all of it or nothing."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_data, take_plans, take_site

if TYPE_CHECKING:
    from api.backup.restoring import Restored

_DESCRIPTION = """\
Restores a backup that `graftvigil backup` made. It is first restored beside, compared, and brought
to the newest form; only what came out whole is put in place. What is there already is not written
over, unless --overwrite is said: then it is set aside, in the data folder. Where
GRAFTVIGIL_RECORDS_URL names a PostgreSQL database, the records go there; it must be empty.

Messages that were owed when the backup was made may have been sent since: they are given up, and
listed as undelivered. --send-owed sends them, where nobody has run since. Everybody signs in again,
and open invitations end. `graftvigil run` then tells from when to when nobody watched.

  graftvigil restore /media/stick/backups/graftvigil-20261129T033000Z --data graftvigil-data
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "restore",
        help="put a backup in place, all of it or nothing",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description=_DESCRIPTION,
    )
    command.add_argument("backup", type=Path, metavar="BACKUP", help="the folder of one backup")
    take_site(command)
    take_plans(command)
    take_data(command)
    command.add_argument("--overwrite", action="store_true", help="set aside what is there already")
    command.add_argument(
        "--send-owed", action="store_true", help="send messages that were owed at the backup"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Restore; return 1 for a damaged backup or when stopped."""
    from api.backup.restoring import Places, restore
    from api.backup.trouble import CannotRestore, Damaged, NoBackup, Stopped
    from api.cli import given
    from api.cli.going_shown import going_shown
    from api.watch.clock import WallClock

    settings = given.settings(arguments.data)
    places = Places(
        data=arguments.data,
        records=settings.records_at,
        site=arguments.site,
        plans=arguments.plans or arguments.site.parent / "plans",
    )
    try:
        with going_shown() as going:
            done = restore(
                arguments.backup,
                places,
                now=WallClock().now(),
                going=going,
                overwrite=arguments.overwrite,
                send_owed=arguments.send_owed,
            )
    except Damaged as trouble:
        sys.stderr.write(f"{arguments.backup} is damaged; nothing was put in place:\n{trouble}\n")
        return FOUND_TROUBLE
    except Stopped:
        sys.stderr.write("Stopped. If `graftvigil run` says so, restore again.\n")
        return FOUND_TROUBLE
    except (NoBackup, CannotRestore) as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    if arguments.json:
        sys.stdout.write(json.dumps(_values(done)) + "\n")
    else:
        sys.stdout.write("".join(f"{line}\n" for line in _lines(done)))
    return GOOD


def _values(done: Restored) -> dict[str, object]:
    right = done.right
    return {
        "as_of": done.tried.manifest.made.isoformat(),
        "readings": done.tried.manifest.readings.count,
        "records_rows": done.tried.manifest.records.rows,
        "messages_given_up": right.given_up,
        "sessions_ended": right.sessions,
        "invitations_ended": right.invitations,
        "tokens_that_count_again": right.tokens,
        "set_aside": None if done.aside is None else str(done.aside),
        "files": [str(one) for one in done.files],
        "archive_not_in_it": done.tried.manifest.archive,
        "notes": list(done.tried.notes),
    }


def _lines(done: Restored) -> list[str]:
    found = _values(done)
    lines = [
        f"Restored as of {found['as_of']}: {found['readings']} readings, {found['records_rows']} "
        "rows of records",
        f"Messages given up, since they may have been sent: {found['messages_given_up']}",
        "Everybody signs in again. Look through the accounts: what was taken from somebody after "
        f"the backup counts again, {found['tokens_that_count_again']} tokens among it",
    ]
    if found["set_aside"]:
        lines.append(f"What was there lies in {found['set_aside']}")
    if found["archive_not_in_it"]:
        lines.append(f"Not in it: what lies in InfluxDB at {found['archive_not_in_it']}")
    lines += [f"Mend: {line}" for line in done.tried.notes]
    lines.append("Set the settings again (settings.env in the backup), then `graftvigil run`")
    return lines
