"""Messages pushed over HTTP: kept before the answer is given."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.gate import Message

if TYPE_CHECKING:
    from collector.ingest import Ingest
    from rules.model.reading import Reject


@dataclass(frozen=True, slots=True)
class Pushed:
    """What became of one pushed message: readings kept, and what in it was refused."""

    kept: int
    rejects: tuple[Reject, ...]


def take_pushed(
    ingest: Ingest, topic: str, *, payload: bytes, arrived_ms: int, only: str | None
) -> Pushed:
    """Keep what a pushed message says and return what became of it; the answer may then be given.

    `only`: the one sensor the sender may speak for, None for every one.
    Raises StoreFailure when the store refuses: answer 503, and the device sends again.
    """
    taken = ingest.take([Message(topic, payload, arrived_ms, only=only)])
    return Pushed(taken.kept, taken.rejects)
