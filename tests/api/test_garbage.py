"""Python's garbage collector in a long run: what was loaded is left alone, new rings are not."""

from __future__ import annotations

import json
import subprocess
import sys

TRIED = """
import gc, json, weakref

import api.book
from api.garbage import NEW_OBJECTS, leave_out_what_is_loaded


class Ring:
    def __init__(self):
        self.itself = self


before = len(gc.get_objects())
leave_out_what_is_loaded()
left = len(gc.get_objects())
rings = [weakref.ref(Ring()) for _ in range(2 * NEW_OBJECTS)]
kept = sum(ring() is not None for ring in rings)
print(json.dumps([before, left, gc.get_freeze_count(), kept]))
"""


def test_what_is_loaded_is_walked_through_no_more_and_new_rings_are_still_let_go():
    # In a process of its own: what is left out can't be told apart again afterwards.
    told = subprocess.run([sys.executable, "-c", TRIED], capture_output=True, check=True, text=True)
    before, left, frozen, kept = json.loads(told.stdout)
    assert before > 30_000
    assert left < before / 100
    assert frozen > 0.9 * before
    assert 0 < kept < 25_000, "rings go round by round, not only at the end"
