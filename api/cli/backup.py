"""`graftvigil backup`: one folder with everything in it, made while the nursery is watched."""

from __future__ import annotations

import argparse
import json
import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_data, take_plans, take_site

if TYPE_CHECKING:
    from api.backup.going import Going
    from api.backup.manifest import Manifest

_DESCRIPTION = """\
Makes a backup of everything in a new folder in FOLDER, named by its time in UTC, while `graftvigil
run` goes on: readings, records with photos, site file, care plans, settings. It is whole or it is
not there. The records may lie in PostgreSQL; in the backup they are a file. What went on to
InfluxDB is backed up there by its own tool.

With --check, FOLDER is such a backup, or a folder of backups of which the newest is taken. It is
really restored into a fresh place, and what comes out is compared. Exit code 1: it is damaged.

A backup holds names, addresses, hashed passwords, photos. Passwords and tokens in settings are
left out unless --with-secrets asks for them. docs/backup.md says where to put it.

  graftvigil backup --site site.toml --data graftvigil-data /media/stick/backups
  graftvigil backup --check /media/stick/backups
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "backup",
        help="back up everything while it runs, or try whether a backup is whole",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description=_DESCRIPTION,
    )
    command.add_argument("folder", type=Path, metavar="FOLDER", help="folder of backups")
    take_site(command)
    take_plans(command)
    take_data(command)
    command.add_argument("--check", action="store_true", help="try a backup; make none")
    command.add_argument(
        "--with-secrets",
        action="store_true",
        help="write passwords and tokens of the settings into it too",
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


@dataclass(frozen=True, slots=True)
class _Found:
    """What was made or tried; `damage` is None for one just made. `manifest` None: damaged."""

    backup: Path
    manifest: Manifest | None
    damage: tuple[str, ...] | None
    notes: tuple[str, ...] = ()


def run(arguments: argparse.Namespace) -> int:
    """Make a backup, or try one; return 1 for a damaged one or when stopped."""
    from api.backup.trouble import Stopped
    from api.cli.going_shown import going_shown

    try:
        with going_shown() as going:
            found = _check(arguments, going) if arguments.check else _make(arguments, going)
    except Stopped:
        sys.stderr.write("Stopped. Nothing is left of it.\n")
        return FOUND_TROUBLE
    if arguments.json:
        sys.stdout.write(json.dumps(_values(found)) + "\n")
    else:
        sys.stdout.write("".join(f"{line}\n" for line in _lines(found)))
    return FOUND_TROUBLE if found.damage else GOOD


def _make(arguments: argparse.Namespace, going: Going) -> _Found:
    from api.backup.making import make_backup, sources_of
    from api.backup.manifest import manifest_of
    from api.backup.settings_kept import SettingUnreadable
    from api.backup.trouble import BackupFailed
    from api.cli import given
    from api.watch.clock import WallClock

    plans = arguments.plans or arguments.site.parent / "plans"
    settings = given.settings(arguments.data).model_copy(
        update={"site": arguments.site, "plans": plans}
    )
    try:
        sources = sources_of(settings, os.environ, with_secrets=arguments.with_secrets)
        made = make_backup(sources, arguments.folder, now=WallClock().now(), going=going)
    except (BackupFailed, SettingUnreadable) as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    return _Found(made, manifest_of(made), None)


def _check(arguments: argparse.Namespace, going: Going) -> _Found:
    import tempfile

    from api.backup.folder import kept_in
    from api.backup.trouble import CannotRestore, Damaged, NoBackup
    from api.backup.trying import try_backup

    backup = arguments.folder
    try:
        if kept := kept_in(backup):
            backup = kept[-1].path
        with tempfile.TemporaryDirectory(prefix="graftvigil-check-") as place:
            tried = try_backup(backup, Path(place), going=going)
    except Damaged as trouble:
        return _Found(backup, None, trouble.findings)
    except (NoBackup, CannotRestore) as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    except OSError as trouble:
        msg = (
            f"{trouble.filename or backup}: {trouble.strerror}. See that it is there, and that "
            "there is room where it is tried (TMPDIR names another place)"
        )
        raise CannotGoOn(msg) from trouble
    return _Found(backup, tried.manifest, (), tried.notes)


def _values(found: _Found) -> dict[str, object]:
    told: dict[str, object] = {"backup": str(found.backup)}
    if found.damage is not None:
        told["damage"] = list(found.damage)
    if found.manifest is None:
        return told
    records, readings = found.manifest.records, found.manifest.readings
    return told | {
        "made_at": found.manifest.made.isoformat(),
        "program": found.manifest.program,
        "records": {
            "kept_in": records.kept_in,
            "form": records.revision,
            "rows": records.rows,
            "owed_messages": records.owed,
        },
        "readings": {
            "count": readings.count,
            "last_sequence": readings.last_sequence,
            "newest_ms": readings.newest_ms,
        },
        "secrets": found.manifest.secrets,
        "archive_not_in_it": found.manifest.archive,
        "notes": list(found.notes),
    }


def _lines(found: _Found) -> list[str]:
    if found.manifest is None:
        return [
            f"{found.backup} is damaged. Take an older one, and try it first:",
            *(f"  {line}" for line in found.damage or ()),
        ]
    manifest = found.manifest
    lines = [
        f"{found.backup}: {'made' if found.damage is None else 'whole: restored and compared'}",
        f"  {manifest.readings.count} readings, {manifest.records.rows} rows of records, as of "
        f"{manifest.made.isoformat(timespec='seconds')}",
    ]
    if manifest.archive:
        lines.append(f"  not in it: what lies in InfluxDB at {manifest.archive}")
    if manifest.secrets:
        lines.append("  it holds passwords and tokens: keep it as you keep those")
    if found.notes:
        lines.append("  its site file or plans had faults when it was made:")
    return lines + [f"    {line}" for line in found.notes]
