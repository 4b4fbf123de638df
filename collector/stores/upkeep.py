"""Keeps the readings file small while graftvigil runs: packs past days, gives up old ones."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.stores.base import StoreFailure
from collector.stores.blocks import DAY_MS
from collector.stores.packing import fold_revived, give_up_some, pack_some

if TYPE_CHECKING:
    import threading
    from collections.abc import Callable

    from collector.stores.sqlite_file import SqliteFile

log = logging.getLogger(__name__)

# A UTC day is packed once it has been over for this long, when stragglers have mostly come.
PACK_AFTER_MS = 6 * 3_600_000
BETWEEN_STEPS_S = 0.2
BETWEEN_ROUNDS_S = 600.0


@dataclass(frozen=True, slots=True)
class Tidied:
    """What a round of upkeep did."""

    rows_packed: int
    days_given_up: int


class Upkeep:
    """Works in steps of one small transaction, so that ingest hardly ever waits for it.

    Parameters
    ----------
    raw_days
        Raw readings are given up this many days after their day has ended; 0: never.
    safe_sequence
        Tells up to which sequence readings may be given up: the watch has seen those, and where
        there is an archive, it holds them.
    kept_elsewhere
        An archive goes on keeping what is given up here.
    """

    def __init__(
        self,
        file: SqliteFile,
        *,
        raw_days: int,
        clock_ms: Callable[[], int],
        safe_sequence: Callable[[], int],
        kept_elsewhere: bool,
    ) -> None:
        self._file = file
        self._raw_days = raw_days
        self._clock_ms = clock_ms
        self._safe_sequence = safe_sequence
        self._kept_elsewhere = kept_elsewhere

    def step(self) -> Tidied | None:
        """Do one transaction's work; None when there is nothing to do."""
        now_ms = self._clock_ms()
        packed = pack_some(self._file, before_ms=now_ms - PACK_AFTER_MS)
        if packed:
            return Tidied(packed, 0)
        if not self._raw_days:
            return None
        safe_sequence = self._safe_sequence()
        given_up = give_up_some(
            self._file,
            before_ms=now_ms - self._raw_days * DAY_MS,
            safe_sequence=safe_sequence,
            kept_elsewhere=self._kept_elsewhere,
        )
        folded = fold_revived(self._file, safe_sequence=safe_sequence)
        return Tidied(0, given_up) if given_up or folded else None

    def run(self, stop: threading.Event) -> None:
        """Tidy every ten minutes until `stop`. What fails is logged and tried again next time."""
        while not stop.is_set():
            try:
                self._round(stop)
            except StoreFailure as trouble:
                log.warning("upkeep_put_off cause=%s", trouble)
            except Exception:
                log.exception("upkeep_failed")
            stop.wait(BETWEEN_ROUNDS_S)

    def _round(self, stop: threading.Event) -> None:
        rows = days = 0
        while not stop.is_set() and (done := self.step()) is not None:
            rows += done.rows_packed
            days += done.days_given_up
            stop.wait(BETWEEN_STEPS_S)
        if rows or days:
            log.info("upkeep rows_packed=%d days_given_up=%d", rows, days)
