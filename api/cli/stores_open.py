"""Opens the stores of a data folder as `graftvigil run` keeps them, for commands that only look."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.cli import given
from api.keeping import store_in
from api.parts import Parts
from api.watch.clock import TurnedClock, WallClock, milliseconds
from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog

if TYPE_CHECKING:
    from pathlib import Path


def parts_of(site_file: Path, plans: Path | None, data: Path, *, at: str | None) -> Parts:
    """Return the parts over stores that may be in use elsewhere, as of `at`, None: now.

    CannotGoOn, with what to do, where something is missing or can't be read.
    """
    given.readings_file(data)
    wall = WallClock()
    clock = wall if at is None else TurnedClock(given.instant(at, "--at"))
    settings = given.settings(data)
    store, _ = store_in(settings, clock)
    records = given.records(data)
    book = given.book(site_file, plans, records)
    rejects = RejectLog(store.file)
    ingest = Ingest(
        Gate(book.now.site.sensor),
        store,
        rejects=rejects,
        together=store.file.writing,
        clock_ms=lambda: milliseconds(clock),
    )
    return Parts(
        book=book,
        store=store,
        rejects=rejects,
        ingest=ingest,
        records=records,
        clock=clock,
        settings=settings,
    )
