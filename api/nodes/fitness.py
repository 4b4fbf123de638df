"""Whether this node should watch now, or leave it to another that hears and turns as it should."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from api.nodes.sharing import DEAF, STARTING, STUCK

if TYPE_CHECKING:
    from collections.abc import Callable

    from api.watch.clock import Steady

SETTLED_S = 5.0
"""So long after a connection the broker has most likely handed over what waited for us."""

STUCK_AFTER_S = 30.0
"""A watch that has failed, or stood still, for so long is left to another node."""


@dataclass(slots=True)
class Fitness:
    """Looks at what a watch stands on. One thread calls it.

    `hears` tells whether messages reach us and are kept, `done` counts the watch's turns without a
    fault, and cells it closed.
    """

    hears: Callable[[], bool]
    done: Callable[[], int]
    steady: Steady
    _deaf_at_s: float = field(default=0.0)
    _heard: bool = False
    _count: int = -1
    _moved_s: float = field(default=0.0)

    def unfit(self) -> str:
        """Return why this node should not watch now; "" if it may."""
        at_s = self.steady.seconds()
        count = self.done()
        if self._count < 0:
            self._deaf_at_s = at_s
        if count != self._count:
            self._count, self._moved_s = count, at_s
        if not self.hears():
            self._deaf_at_s = at_s
            return DEAF if self._heard else STARTING
        self._heard = True
        if at_s - self._deaf_at_s < SETTLED_S:
            return STARTING
        return STUCK if at_s - self._moved_s > STUCK_AFTER_S else ""
