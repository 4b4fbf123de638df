"""Kill a store while it packs: what it said was kept is there once, as a row or in a block."""

from __future__ import annotations

import importlib.util
import os
import random
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from collector.stores.blocks import DAY_MS
from collector.stores.sqlite import SqliteStore

pytestmark = pytest.mark.kill

PROCESS = Path(__file__).with_name("packing_process.py")
KILLS = 12


def loaded():
    spec = importlib.util.spec_from_file_location("packing_process", PROCESS)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_packing_killed_at_any_moment_loses_and_doubles_nothing(tmp_path, kill_tally):
    process = loaded()
    moments = random.Random(int(os.environ.get("KILL_SEED", "11")))
    path = tmp_path / "readings.db"
    said = -1
    packed_before = 0
    for _ in range(KILLS):
        # The batch that was being kept when it was killed is sent again, as a broker does.
        child = subprocess.Popen(
            [sys.executable, str(PROCESS), str(path), str(said + 1)],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert child.stdout is not None
        said = int(child.stdout.readline())
        threading.Event().wait(moments.uniform(0.0, 0.4))
        child.kill()
        rest = child.stdout.read().split("\n")[:-1]
        child.stdout.close()
        child.wait(10)
        kill_tally("packing")
        said = int(rest[-1]) if rest else said
        store = SqliteStore(path)
        found = store.since(0, 10**7)
        keys = [(r.channel, r.at_ms) for r in found]
        expected = [
            (r.channel, r.at_ms, r.value) for n in range(said + 1) for r in process.batch_of(n)
        ]
        assert [(r.channel, r.at_ms, r.value) for r in found][: len(expected)] == expected
        assert len(found) - len(expected) in {0, process.BATCH}  # kept, but not said in time
        assert len(set(keys)) == len(keys) == store.count()
        cells = store.coarse(["sky/par", "bag/air"], 0, 2**62, cell_min=1440)
        assert sum(cell.count for cell in cells) == len(keys)
        assert {cell.start_ms % DAY_MS for cell in cells} == {0}
        with store.file.reading() as db:
            packed = db.execute("SELECT sum(readings) FROM block").fetchone()[0] or 0
            assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        store.close()
        assert packed >= packed_before
        packed_before = packed
    assert packed_before > 100
