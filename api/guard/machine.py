"""What this machine tells of itself: room on the disk, and how its clock is kept."""

from __future__ import annotations

import ctypes
import os
from collections import deque
from typing import TYPE_CHECKING

from rules.vital_facts import DiskFacts

if TYPE_CHECKING:
    from pathlib import Path

PROBE_FILE = "guard-probe"
_PROBE = b"x" * 4096
PACE_KEPT_S = 24 * 3600.0
PACE_EVERY_S = 300.0
PACE_LEAST_S = 3600.0
"""A pace that was measured over less says nothing: one packed day or one log is no growth."""

_TIME_ERROR = 5
_UNSYNCHRONISED = 0x40


class Disk:
    """Measures the disk that a folder lies on. One thread calls it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._seen: deque[tuple[float, int]] = deque()

    def measure(self, at_s: float) -> DiskFacts | None:
        """Return what is left, and at which pace it shrinks; None if the disk does not say.

        `at_s` is a time that never jumps. Writes a small file and takes it away again.
        """
        try:
            found = os.statvfs(self._folder)
        except OSError:
            return None
        free = found.f_bavail * found.f_frsize
        if not self._seen or at_s - self._seen[-1][0] >= PACE_EVERY_S:
            self._seen.append((at_s, free))
            while at_s - self._seen[0][0] > PACE_KEPT_S:
                self._seen.popleft()
        began_s, free_then = self._seen[0]
        measured_s = at_s - began_s
        loss = (free_then - free) / measured_s if measured_s >= PACE_LEAST_S else None
        trouble = self._write()
        return DiskFacts(
            free=free,
            inodes=found.f_favail if found.f_files else None,
            loss_bytes_s=loss,
            measured_s=measured_s,
            writable=not trouble,
            trouble=trouble,
        )

    def _write(self) -> str:
        """Return why nothing can be written; "" when a file could be."""
        probe = self._folder / PROBE_FILE
        try:
            file = os.open(probe, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            try:
                os.write(file, _PROBE)
                os.fsync(file)
            finally:
                os.close(file)
                probe.unlink()
        except OSError as trouble:
            return trouble.strerror or type(trouble).__name__
        return ""


class _Timex(ctypes.Structure):
    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 256),
    )


def clock_is_set() -> bool | None:
    """Return whether the kernel holds its clock for set by a time server; None: it does not say."""
    try:
        adjtimex = ctypes.CDLL(None, use_errno=True).adjtimex
    except (OSError, AttributeError):
        return None
    asked = _Timex()  # modes 0: reads, changes nothing
    answer = int(adjtimex(ctypes.byref(asked)))
    if answer < 0:
        return None
    return answer != _TIME_ERROR and not asked.status & _UNSYNCHRONISED
