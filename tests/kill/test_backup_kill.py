"""A backup killed anywhere never looks whole when it is not; a restore is never half a nursery."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import insert

from api.backup.going import Going
from api.backup.making import Sources, make_backup
from api.records.session import open_records, writing
from api.records.tables import file_bases
from collector.stores.sqlite import SqliteStore
from rules.model.reading import Reading

pytestmark = pytest.mark.kill

PROCESS = Path(__file__).with_name("backup_process.py")
ROOT = Path(__file__).parents[2]
UNSHARE = ["unshare", "--map-root-user", "--mount", "--", "sh", "-c"]


@pytest.fixture
def nursery(tmp_path) -> Path:
    folder = tmp_path / "nursery"
    shutil.copytree(ROOT / "demo_data" / "plans", folder / "plans")
    shutil.copyfile(ROOT / "demo_data" / "site.toml", folder / "site.toml")
    (folder / "data").mkdir()
    store = SqliteStore(folder / "data" / "readings.sqlite")
    store.keep([Reading("bag-07/air", 1_700_000_000_000 + n, n / 10) for n in range(20_000)])
    store.close()
    records = open_records(folder / "data" / "records.sqlite")
    with writing(records) as db:
        big = os.urandom(5_000_000)
        db.execute(insert(file_bases).values(revision="r", text=big, first_ms=1))
    records.dispose()
    return folder


def tries(what: str, folder: Path) -> list[dict[str, object]]:
    done = subprocess.run(
        [sys.executable, str(PROCESS), what, str(folder)],
        check=True,
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=120,
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_killed_at_any_point_it_is_whole_or_not_there(nursery, kill_tally):
    *killed, last = tries("make", nursery)
    assert len(killed) > 10  # how many points there are depends on how fast the pages are copied
    for one in killed:
        kill_tally("backup")
        assert one["killed"]
        parts = [name for name in one["names"] if name.endswith(".part")]
        assert len(parts) <= 1  # the one before took away what was left
        assert one["whole"] == 0
    assert any(one["names"] for one in killed)
    assert (last["killed"], last["whole"]) == (False, 1)
    assert last["names"] == [name for name in last["names"] if not name.endswith(".part")]


def test_a_restore_killed_at_any_point_is_not_there_or_whole_or_refuses_to_run(nursery, kill_tally):
    for plan in sorted((nursery / "plans").glob("*.toml"))[1:]:
        plan.unlink()  # each is three points more, alike
    sources = Sources(
        data=nursery / "data",
        records=nursery / "data" / "records.sqlite",
        site=nursery / "site.toml",
        plans=nursery / "plans",
        program="0.1.0",
        extra={},
        secrets=False,
        archive=None,
    )
    now = datetime(2026, 11, 14, 15, tzinfo=UTC)
    make_backup(sources, nursery / "backups", now=now, going=Going())
    *killed, last = tries("restore", nursery)
    assert len(killed) > 8
    refused = 0
    for one in killed:
        kill_tally("restore")
        if one["stores"] == ["readings.sqlite", "records.sqlite"] and one["starts"]:
            assert not one["again"]  # it was through
            continue
        assert one["again"]  # nothing is in the way of a second try, which comes through
        assert not (one["stores"] and one["starts"])
        refused += not one["starts"]
    assert refused >= 3
    assert last == {
        "killed": False,
        "stores": ["readings.sqlite", "records.sqlite"],
        "starts": True,
        "again": False,
    }


SCRIPT = """
set -e
mkdir "$1/small" "$1/shut"
mount -t tmpfs -o size=4m none "$1/small"
mount -t tmpfs -o size=64m none "$1/shut"
mkdir "$1/shut/b"
mount -o remount,ro "$1/shut"
cd "$2"
for where in "$1/small/b" "$1/shut/b" "$1/site.toml/b"; do
    code=0
    "$3" -m api.cli backup "$where" --data "$1/data" --site "$1/site.toml" || code=$?
    echo "$code" "$(find "$where" -mindepth 1 2>/dev/null | wc -l)"
done
"""


def test_a_full_disk_and_one_that_takes_no_writing_are_told_with_what_to_do(nursery):
    done = subprocess.run(
        [*UNSHARE, SCRIPT, "sh", str(nursery), str(ROOT), sys.executable],
        check=True,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.stdout.split("\n") == ["2 0", "2 0", "2 0", ""]
    full, shut, wrong = done.stderr.strip().splitlines()
    assert "MB are free. Make room there" in full
    assert "Let graftvigil's user write there" in shut
    assert "folder is named right" in wrong
