"""How long someone waits after attempts that failed. A growing delay with an end, never a lock.

A device on which a person has signed in before is counted by itself, so that a stranger who keeps
guessing the night hand's password shuts out strangers alone.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

    from api.records.sign_ins import Failures

COUNTED_FOR = timedelta(hours=24)
FREE_FOR_A_NAME = 5
FREE_FROM_AN_ADDRESS = 20
FREE_ON_A_DEVICE = 10
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(minutes=15)
_DOUBLINGS = 10


def wait_after(failures: Failures, *, free: int, now: datetime) -> timedelta:
    """Return how long is still to wait; nothing for the first `free` failures.

    A clock that was set back makes nobody wait longer than the longest wait.
    """
    if failures.last_at is None or failures.count < free:
        return timedelta(0)
    doublings = min(failures.count - free, _DOUBLINGS)
    whole = min(FIRST_WAIT * int(2**doublings), LONGEST_WAIT)
    return max(timedelta(0), min(whole, failures.last_at + whole - now))
