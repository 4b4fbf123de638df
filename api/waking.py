"""Wakes a part once a minute. It keeps no jobs: what is owed is worked out each time."""

from __future__ import annotations

import logging
from datetime import UTC
from typing import TYPE_CHECKING

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger

if TYPE_CHECKING:
    from collections.abc import Callable

log = logging.getLogger(__name__)

EVERY_S = 60


class Waking:
    """Calls `turn` at once and then every so many seconds, never twice at a time.

    `what` names what is woken, in the log.

    A turn that fails is logged; the next one tries again. Where the machine slept through several
    calls, one is made. UTC, so that no change of the site's clock matters.
    """

    def __init__(self, turn: Callable[[], object], *, what: str, every_s: int = EVERY_S) -> None:
        self._turn = turn
        self._what = what
        # Its own log would name each call; what comes of them is logged here.
        logging.getLogger("apscheduler").setLevel(logging.WARNING)
        self._scheduler = BackgroundScheduler(timezone=UTC)
        self._scheduler.add_job(
            self._look,
            IntervalTrigger(seconds=every_s, timezone=UTC),
            id=what,
            coalesce=True,
            max_instances=1,
            misfire_grace_time=None,
        )

    def start(self) -> None:
        """Begin: the first call is made from the scheduler's own thread at once."""
        self._scheduler.add_job(self._look, id=f"{self._what}-at-once", misfire_grace_time=None)
        self._scheduler.start()

    def stop(self) -> None:
        """End, once a call that runs has returned."""
        if self._scheduler.running:
            self._scheduler.shutdown(wait=True)

    def _look(self) -> None:
        try:
            self._turn()
        except Exception:
            log.exception("%s_failed", self._what)
