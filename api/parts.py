"""What the pages and the API work with: built once in assemble, handed to create_app."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from api.alerts.links import Links

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from sqlalchemy import Engine

    from api.alerts.lamp_trials import LampTrials
    from api.backup.schedule import ScheduledBackups
    from api.book import Book
    from api.guard.service import Guard
    from api.nodes.leases import Leases
    from api.settings import Settings
    from api.watch.clock import Clock
    from api.watch.pace import Pace
    from collector.health import BrokerHealth
    from collector.ingest import Ingest
    from collector.rejects import RejectLog
    from collector.spool import Spool
    from collector.stores.base import ReadingStore
    from rules.evaluator import Watchlist
    from rules.model.plan import CarePlan
    from rules.model.site import Site


def _nothing_to_refresh() -> None:
    """Stand in where the book is kept by nobody."""


@dataclass(frozen=True, slots=True)
class Parts:
    """The running parts.

    `book` holds site, plans and watchlist; whoever needs more than one of them at once takes
    `book.now` and keeps to it. `refresh` takes up at once what was entered or written just now.
    `ingest` takes readings pushed over HTTP. `notice`, if given, stands on top of every page, as a
    demonstration must say that it is one. `spool` takes readings on to an archive, where there is
    one. `broker` tells how messages reach us; None where none come by MQTT. `links` reads the
    links by which people answer from a message. `guard` looks after the tool itself; None where
    nobody does. `backups` makes them each day; None where no folder is set. `leases` are this
    process's among several; None where it is alone. `pace` counts how long minutes take to be
    judged; None: nobody counts. `lamp_trials` lights a lamp at a person's wish; None: none can be.
    `stopping` is set when the process is to end: open event streams then end at once.
    """

    book: Book
    store: ReadingStore
    rejects: RejectLog
    ingest: Ingest
    records: Engine
    clock: Clock
    settings: Settings
    notice: str | None = None
    spool: Spool | None = None
    broker: Callable[[], BrokerHealth] | None = None
    links: Links = field(default_factory=Links.of_this_process)
    guard: Guard | None = None
    backups: ScheduledBackups | None = None
    leases: Leases | None = None
    pace: Pace | None = None
    lamp_trials: LampTrials | None = None
    stopping: threading.Event = field(default_factory=threading.Event)
    refresh: Callable[[], object] = _nothing_to_refresh

    @property
    def site(self) -> Site:
        """The site in force now."""
        return self.book.now.site

    @property
    def plans(self) -> Mapping[str, tuple[CarePlan, ...]]:
        """All versions of each plan in force now, in order of force."""
        return self.book.now.plans

    @property
    def watchlist(self) -> Watchlist:
        """What is judged by the book in force now."""
        return self.book.now.watchlist
