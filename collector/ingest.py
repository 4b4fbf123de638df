"""Keep, then acknowledge: a batch of messages is on disk before anybody says it was received."""

from __future__ import annotations

import threading
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from collector.gate import Heard, Message
from collector.health import IngestHealth
from collector.presence import PresenceLog
from collector.pulse import Pulses
from collector.rejects import kind_of
from collector.stores.base import StoreFailure
from collector.waiting import WaitingList

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from contextlib import AbstractContextManager

    from collector.gate import Gate
    from collector.rejects import RejectLog
    from collector.stores.base import ReadingStore
    from rules.model.reading import Reject

__all__ = ["Ingest", "Message", "Taken"]


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a batch: how many readings were kept, and what was refused."""

    kept: int
    rejects: tuple[Reject, ...]


class Ingest:
    """Takes messages from any thread. `together` opens a transaction that store and log share."""

    def __init__(
        self,
        gate: Gate,
        store: ReadingStore,
        *,
        rejects: RejectLog,
        together: Callable[[], AbstractContextManager[object]],
        clock_ms: Callable[[], int],
    ) -> None:
        self.gate = gate
        self._store = store
        self._rejects = rejects
        self.presence = PresenceLog(rejects.file)
        self.waiting = WaitingList(rejects.file)
        self.pulses = Pulses()
        self._together = together
        self._clock_ms = clock_ms
        self._health = IngestHealth()
        self._health_lock = threading.Lock()

    def take(self, messages: Sequence[Message]) -> Taken:
        """Return once everything the messages say is on disk; only then acknowledge them.

        Bad messages become rejects and never raise. Raises StoreFailure when the store refuses:
        then nothing was kept, nothing may be acknowledged, and the same batch is to be tried again.
        """
        heard = Heard()
        judge = self.gate.judge
        for message in messages:
            judge(message, heard)
        try:
            with self._together():
                self._store.keep(heard.readings)
                self._rejects.add(heard.rejects)
                self.presence.add(heard.presence)
                self.waiting.add(heard.unclaimed)
        except StoreFailure as err:
            self._note_failure(str(err))
            raise
        self.pulses.note((reading.channel, reading.at_ms) for reading in heard.readings)
        self.pulses.note_clocks(heard.clocks)
        oldest_ms = min((message.arrived_ms for message in messages), default=self._clock_ms())
        self._note_commit(len(messages), heard, oldest_ms=oldest_ms)
        return Taken(len(heard.readings), tuple(heard.rejects))

    def health(self) -> IngestHealth:
        """Return the counts since the start, and whether the store refuses at present."""
        return self._health

    def _note_failure(self, failure: str) -> None:
        with self._health_lock:
            since = self._health.failing_since_ms
            since = self._clock_ms() if since is None else since
            self._health = replace(self._health, failing_since_ms=since, failure=failure)

    def _note_commit(self, messages: int, heard: Heard, *, oldest_ms: int) -> None:
        now_ms = self._clock_ms()
        with self._health_lock:
            refused = self._health.refused
            if heard.rejects:
                refused = Counter(refused) + Counter(map(kind_of, heard.rejects))
            self._health = IngestHealth(
                messages=self._health.messages + messages,
                readings=self._health.readings + len(heard.readings),
                rejects=self._health.rejects + len(heard.rejects),
                refused=refused,
                commits=self._health.commits + 1,
                last_commit_ms=now_ms,
                lag_ms=max(0, now_ms - oldest_ms) if messages else self._health.lag_ms,
            )
