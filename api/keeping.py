"""How readings are kept: the store and its archive, their upkeep, and the folder for files."""

from __future__ import annotations

import logging
import os
from typing import TYPE_CHECKING

from api.alerts.buttons import secrets_in
from api.alerts.reach import reach_in
from api.records.session import reading
from api.records.watch import load_position
from api.settings import READINGS_FILE
from api.watch.clock import milliseconds
from collector.files.drop import DropFolder
from collector.files.load import FileLoader
from collector.spool import Spool
from collector.stores.base import StoreFailure
from collector.stores.influx import InfluxStore
from collector.stores.influx_archive import InfluxAddress, InfluxArchive
from collector.stores.sqlite import SqliteStore
from collector.stores.upkeep import Upkeep

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy import Engine

    from api.alerts.buttons import Buttons
    from api.alerts.channels import Channels
    from api.book import InForce
    from api.parts import Parts
    from api.settings import Settings
    from api.watch.clock import Clock
    from collector.ingest import Ingest
    from collector.stores.base import ReadingStore
    from rules.model.site import Site

log = logging.getLogger(__name__)

PULSE_TAKEN_MS = 6 * 3600 * 1000
_NO_LIMIT = 2**63 - 1


def store_in(settings: Settings, clock: Clock) -> tuple[SqliteStore | InfluxStore, Spool | None]:
    """Return the store of readings, and what takes them on where there is an archive."""
    local = SqliteStore(settings.data / READINGS_FILE)
    if settings.store == "sqlite":
        return local, None
    secret = settings.influx_token
    archive = InfluxArchive(
        InfluxAddress(
            url=settings.influx_url,
            bucket=settings.influx_bucket,
            organisation=settings.influx_organisation,
            token=None if secret is None else secret.get_secret_value(),
        )
    )
    spool = Spool(local, archive, clock_ms=lambda: milliseconds(clock))
    return InfluxStore(local, archive), spool


def upkeep_of(
    store: SqliteStore | InfluxStore,
    records: Engine,
    spool: Spool | None,
    *,
    settings: Settings,
    clock_ms: Callable[[], int],
    seen_up_to: Callable[[], int] | None,
) -> Upkeep:
    """Return what packs past days; it gives up only what watch and archive have taken in.

    `seen_up_to` tells how far a watch has seen this file that shares its records with others; None:
    the records tell it.
    """
    return Upkeep(
        store.file,
        raw_days=settings.raw_days,
        clock_ms=clock_ms,
        safe_sequence=lambda: min(
            seen_by_watch(records) if seen_up_to is None else seen_up_to(),
            _NO_LIMIT if spool is None else spool.archived_up_to(),
        ),
        kept_elsewhere=spool is not None,
    )


def seen_by_watch(records: Engine) -> int:
    """Return the sequence up to which the watch has seen readings; 0 before its first start."""
    with reading(records) as db:
        position = load_position(db)
    return 0 if position is None else position.sequence


def drop_folder_of(
    parts: Parts, store: SqliteStore | InfluxStore, *, clock_ms: Callable[[], int]
) -> DropFolder | None:
    """Return the watched folder for files that loggers wrote; None where none is set."""
    folder = parts.settings.drop
    if folder is None:
        return None
    loader = FileLoader(
        store, together=store.file.writing, clock_ms=clock_ms, rest=parts.stopping.wait
    )
    return DropFolder(
        folder,
        parts.site.sensor,
        loader,
        site_zone=parts.site.site.time_zone,
        rejects=parts.rejects,
    )


def followers_of(
    ingest: Ingest, buttons: Buttons, channels: Channels, drop: DropFolder | None
) -> list[Callable[[InForce], None]]:
    """Return what tells a new state of the book to those who do not look into it themselves."""

    def to_the_gate(new: InForce) -> None:
        ingest.gate = ingest.gate.with_sensors(new.site.sensor)

    def to_the_ways(new: InForce) -> None:
        channels.reach = reach_in(os.environ, new.site)

    def to_the_buttons(new: InForce) -> None:
        buttons.secrets = secrets_in(os.environ, new.site)

    def to_the_folder(new: InForce) -> None:
        if drop is not None:
            drop.sensors, drop.site_zone = new.site.sensor, new.site.site.time_zone

    return [to_the_gate, to_the_ways, to_the_buttons, to_the_folder]


def take_the_pulse(ingest: Ingest, store: ReadingStore, site: Site, *, now_ms: int) -> None:
    """Let the newest hours tell how often each channel speaks: a restart forgets nothing."""
    try:
        heard = store.span(sorted(site.channels), now_ms - PULSE_TAKEN_MS, now_ms)
    except StoreFailure as trouble:
        log.warning("pulse_unknown why=%s", trouble)
        return
    ingest.pulses.note((one.channel, one.at_ms) for one in heard)
