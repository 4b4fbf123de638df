"""What the pages and the API work with: built once in assemble, handed to create_app."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from api.alerts.links import Links

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from sqlalchemy import Engine

    from api.settings import Settings
    from api.watch.clock import Clock
    from collector.health import BrokerHealth
    from collector.ingest import Ingest
    from collector.rejects import RejectLog
    from collector.spool import Spool
    from collector.stores.base import ReadingStore
    from rules.evaluator import Watchlist
    from rules.model.plan import CarePlan
    from rules.model.site import Site


@dataclass(frozen=True, slots=True)
class Parts:
    """The running parts.

    `plans` holds all versions of each plan, in order of force. `ingest` takes readings pushed over
    HTTP. `notice`, if given, stands on top of every page, as a demonstration must say that it is
    one. `spool` takes readings on to an archive, where there is one. `broker` tells how messages
    reach us; None where none come by MQTT. `links` reads the links by which people answer from a
    message. `stopping` is set when the process is to end: open event streams then end at once.
    """

    site: Site
    plans: Mapping[str, tuple[CarePlan, ...]]
    watchlist: Watchlist
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
    stopping: threading.Event = field(default_factory=threading.Event)
