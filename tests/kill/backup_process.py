"""Makes or restores a backup over and over, killed at every point where something is written.

Arguments: "make" or "restore", then a folder that holds a nursery, or a nursery and its backup.
Each try runs in a process of its own that kills itself at the next point; this one then looks at
what is left, and prints it as one line of JSON a try.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from api.assemble import CannotStart, lock
from api.backup.folder import check_sums, kept_in
from api.backup.going import Going
from api.backup.making import Sources, make_backup
from api.backup.restoring import Places, restore
from api.backup.trouble import CannotRestore
from api.backup.trying import try_backup
from api.settings import UNFINISHED_RESTORE

WRITES = {"os.rename", "os.mkdir", "os.rmdir", "os.remove", "shutil.move", "sqlite3.connect"}
NOW = datetime(2026, 11, 14, 15, tzinfo=UTC)


class Killer:
    """Kills the process it is in at the `at`th point, counted from when `after` is written to."""

    def __init__(self, at: int, after: str) -> None:
        self.left = at
        self.counts = not after
        self.after = after

    def step(self) -> None:
        self.left -= self.counts
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    def heard(self, event: str, details: tuple[object, ...]) -> None:
        opened = event == "open" and isinstance(details[2], int) and details[2] & os.O_CREAT
        if event in WRITES or opened:
            self.counts = self.counts or str(details[0]).endswith(self.after)
            self.step()

    def moved(self, _what: str, _done: int, _whole: int) -> None:
        self.step()


def killed_at(at: int, act, *, after: str = "") -> bool:
    """Act in a process of its own that is killed at a point; return whether it came to that."""
    child = os.fork()
    if child == 0:
        killer = Killer(at, after)
        sys.addaudithook(killer.heard)
        act(Going(moved=killer.moved))
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def make(folder: Path) -> None:
    sources = Sources(
        data=folder / "data",
        records=folder / "data" / "records.sqlite",
        site=folder / "site.toml",
        plans=folder / "plans",
        program="0.1.0",
        extra={"settings.env": b"# none\n"},
        secrets=False,
        archive=None,
    )
    backups = folder / "backups"
    at = -1
    while True:
        at += 3
        now = NOW + timedelta(seconds=at)
        cut = killed_at(
            at, lambda going, now=now: make_backup(sources, backups, now=now, going=going)
        )
        kept = kept_in(backups) if backups.exists() else ()
        for one in kept:
            check_sums(one.path, look=lambda: None)
        names = sorted(one.name for one in backups.iterdir()) if backups.exists() else []
        print(json.dumps({"killed": cut, "whole": len(kept), "names": names}), flush=True)
        if not cut:
            place = folder / "place"
            place.mkdir()
            try_backup(kept[-1].path, place, going=Going())
            return
        for one in kept:
            shutil.rmtree(one.path)


def restore_it(folder: Path) -> None:
    """Kill it at two points before anything is put in place, then at each other until the end."""
    for at in (1, 20):
        try_restoring(folder, at, after="")
    at = 1
    while try_restoring(folder, at, after=UNFINISHED_RESTORE):
        at += 2


def try_restoring(folder: Path, at: int, *, after: str) -> bool:
    """Restore, killed at a point, look at what is left, restore again; return if it was cut."""
    (backup,) = (one.path for one in kept_in(folder / "backups"))
    to = folder / "to"
    places = Places(to / "data", to / "data" / "records.sqlite", to / "s.toml", to / "plans")

    def act(going: Going, places: Places = places) -> object:
        return restore(backup, places, now=NOW, going=going, overwrite=False, send_owed=False)

    cut = killed_at(at, act, after=after)
    stores = [
        name for name in ("readings.sqlite", "records.sqlite") if (places.data / name).exists()
    ]
    starts = True
    try:
        lock(places.data).close()
    except CannotStart:
        starts = False
    again = True
    try:
        act(Going())
    except CannotRestore:
        again = False
    print(
        json.dumps({"killed": cut, "stores": stores, "starts": starts, "again": again}),
        flush=True,
    )
    shutil.rmtree(to)
    return cut


if __name__ == "__main__":
    {"make": make, "restore": restore_it}[sys.argv[1]](Path(sys.argv[2]))
