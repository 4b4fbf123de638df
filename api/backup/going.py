"""How far a backup has come, told to whoever waits; and whether it is to stop."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from api.backup.trouble import Stopped

if TYPE_CHECKING:
    from collections.abc import Callable

_MOST_REST_S = 0.02


def _nobody_waits(_what: str, _done: int, _whole: int) -> None:
    """Stand in where nobody is told."""


@dataclass(frozen=True, slots=True)
class Going:
    """`moved` is told what is done, how much of it and of how much; `stop` ends it when set."""

    stop: threading.Event = field(default_factory=threading.Event)
    moved: Callable[[str, int, int], None] = _nobody_waits

    def look(self) -> None:
        """Raise Stopped if it is to stop."""
        if self.stop.is_set():
            raise Stopped

    def rest(self, took_s: float) -> None:
        """Leave disk and processor to others for as long as the last step took, a little at most.

        Raises Stopped if it is to stop.
        """
        if self.stop.wait(min(took_s, _MOST_REST_S)):
            raise Stopped
