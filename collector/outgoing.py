"""What we publish ourselves: kept for the one thread that speaks with the broker, told what became.

Nothing waits here for a broker that is away: what is said later would no longer be true. Whoever
publishes asks what became of it, and says anew what holds by then.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from enum import StrEnum


class Fate(StrEnum):
    """What became of something that was published."""

    UNDER_WAY = "under_way"
    ACCEPTED = "accepted"
    LOST = "lost"


@dataclass(slots=True)
class Outgoing:
    """A retained message of ours, of QoS 1. `trouble` says why it is lost, in words for a person.

    One thread moves `fate` on, once; others only look.
    """

    topic: str
    payload: bytes
    fate: Fate = Fate.UNDER_WAY
    trouble: str = ""

    def accept(self) -> None:
        """Keep that the broker has it."""
        self.fate = Fate.ACCEPTED

    def lose(self, trouble: str) -> None:
        """Keep that the broker does not have it, or is not known to have it."""
        self.trouble = trouble
        self.fate = Fate.LOST


@dataclass(slots=True)
class OutTray:
    """Hands messages from any thread to the one that speaks with the broker."""

    _waiting: list[Outgoing] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def put(self, one: Outgoing) -> None:
        """Leave a message to be sent."""
        with self._lock:
            self._waiting.append(one)

    def take(self) -> list[Outgoing]:
        """Return all that waits, in order, and keep nothing."""
        if not self._waiting:
            return []
        with self._lock:
            taken, self._waiting = self._waiting, []
        return taken

    def lose_all(self, trouble: str) -> None:
        """Give up what waits: there is nobody to send it to."""
        for one in self.take():
            one.lose(trouble)
