"""Builds every part from the settings; nothing else does. Parts get what they need as arguments.

One file because the order in which parts are made, started and ended is read, and mended, together.
"""

from __future__ import annotations

import fcntl
import importlib.metadata
import logging
import os
import socket
import threading
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import uvicorn
from sqlalchemy.exc import SQLAlchemyError

from api.accounts.set_up import offer_code
from api.alerts.buttons import Buttons, IngestWithButtons, secrets_in
from api.alerts.channels import Channels
from api.alerts.lamp_trials import LampTrials, broker_to_try, named_broker
from api.alerts.lamps import Lamps
from api.alerts.links import KeyReadable, Links
from api.alerts.reach import reach_in
from api.alerts.service import AlertService
from api.backup.schedule import ScheduledBackups
from api.bookkeeping import Bookkeeping, FilesFaulty
from api.guard.build import guard_of
from api.guard.facts import Body, Turning
from api.keeping import drop_folder_of, followers_of, store_in, take_the_pulse, upkeep_of
from api.night_sheet.sheets import NightSheets
from api.nodes.build import leases_of
from api.nodes.leases import NameTaken
from api.parts import Parts
from api.pictures.pictures import Pictures
from api.records.accounts import any_password
from api.records.session import cause_of, open_records, reading
from api.settings import RECORDS_FILE, UNFINISHED_RESTORE
from api.site_files import read_files, site_in
from api.v1.sight import Sight
from api.waking import Waking
from api.watch.clock import SteadyClock, milliseconds
from api.watch.held_houses import HeldHouses
from api.watch.loop import Watch
from api.watch.pace import Pace
from api.web.app import create_app
from api.web.guard import LOOPBACK
from api.web.server import PageServer, Unserved
from collector.broker import BrokerCannotListen, EmbeddedBroker
from collector.files.drop import DropFolder
from collector.gate import Gate
from collector.mqtt import MqttCollector, filters_for
from collector.rejects import RejectLog
from collector.settings import BrokerAddress, ListenAddress, broker_address, listen_address
from collector.stores.base import StoreFailure
from collector.stores.upkeep import Upkeep

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import TextIO

    from api.nodes.leases import Leases
    from api.settings import Settings
    from api.watch.clock import Clock
    from rules.model.fault import Fault

log = logging.getLogger(__name__)

BROKER_ANSWERS_WITHIN_S = 5.0

OUR_DISTRIBUTION = "graftvigil"
OUR_PACKAGES = ("rules", "collector", "api")


class CannotStart(Exception):
    """Something outside the program keeps it from starting; the message says what to do."""


class FaultyFiles(CannotStart):
    """The site file, a care plan or what people entered has faults."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def refuse_foreign_packages() -> None:
    """Raise CannotStart when another distribution provides a package of one of our names."""
    provided = importlib.metadata.packages_distributions()
    for package in OUR_PACKAGES:
        others = sorted(set(provided.get(package, ())) - {OUR_DISTRIBUTION})
        if others:
            msg = (
                f"the installed distribution {others[0]} also provides a package called "
                f"{package}, and a wrong one must never judge a plant. Give graftvigil a virtual "
                "environment of its own"
            )
            raise CannotStart(msg)


def lock(data: Path) -> TextIO:
    """Return the held lock of a data folder; raise CannotStart when another process holds it."""
    try:
        data.mkdir(parents=True, exist_ok=True)
        held = (data / "lock").open("a+", encoding="utf-8")
    except OSError as trouble:
        msg = (
            f"{data} can't be written ({trouble.strerror}). Let graftvigil's user write there, or "
            "name another folder with --data"
        )
        raise CannotStart(msg) from trouble
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as trouble:
        held.close()
        msg = f"{data} is in use by another graftvigil. Stop that one, or name another with --data"
        raise CannotStart(msg) from trouble
    if (data / UNFINISHED_RESTORE).exists():
        held.close()
        msg = f"{data}: a restore was cut off in the middle. Run `graftvigil restore` again"
        raise CannotStart(msg)
    return held


class Nursery:
    """A whole running graftvigil. `start` and `stop` may each be called once.

    `parts` is what the pages work with; `watch`, `alerts` and `upkeep` can also be turned by hand,
    as a recording played through does.
    """

    def __init__(
        self,
        parts: Parts,
        watch: Watch,
        alerts: AlertService,
        collector: EmbeddedBroker | MqttCollector,
        *,
        upkeep: Upkeep,
        drop: DropFolder | None,
        bookkeeping: Bookkeeping,
        held: TextIO,
        sight: Sight,
        sheets: NightSheets,
        leases: Leases | None,
        lamps: Lamps,
    ) -> None:
        self.parts = parts
        self.lamps = lamps
        self.bookkeeping = bookkeeping
        self.watch = watch
        self.alerts = alerts
        self.upkeep = upkeep
        self.sheets = sheets
        self.leases = leases
        self._sight = sight
        self._wakings = [Waking(self._turn_sheets, what="sheets")]
        if parts.backups is not None:
            self._wakings.append(Waking(parts.backups.turn, what="backups"))
        self._collector = collector
        self._held = held
        self._stop = parts.stopping
        self._threads = [
            threading.Thread(target=bookkeeping.run, args=(self._stop,), name="book"),
            threading.Thread(target=watch.run, args=(self._stop,), name="watch"),
            threading.Thread(target=upkeep.run, args=(self._stop,), name="upkeep"),
        ]
        if parts.settings.sees_to_houses:
            self._threads.append(
                threading.Thread(target=alerts.run, args=(self._stop,), name="alerts")
            )
            # Apart from messages: a mail server that hangs keeps no lamp dark.
            self._threads.append(
                threading.Thread(target=lamps.run, args=(self._stop,), name="lamps")
            )
        if leases is not None:
            self._threads.append(
                threading.Thread(target=leases.run, args=(self._stop,), name="leases")
            )
        if parts.spool is not None:
            self._threads.append(
                threading.Thread(target=parts.spool.run, args=(self._stop,), name="spool")
            )
        if drop is not None:
            self._threads.append(
                threading.Thread(target=drop.run, args=(self._stop,), name="drop-folder")
            )
        self._collecting = False
        self._pages: socket.socket | None = None
        if parts.guard is not None:
            parts.guard.threads = tuple(self._threads)
            self._threads += parts.guard.own_threads(self._stop)

    @property
    def built_in_broker(self) -> tuple[str, int]:
        """Where the built-in broker listens, once started; CannotStart when there is none."""
        if not isinstance(self._collector, EmbeddedBroker):
            msg = "the built-in broker is not in use: a broker is named in the settings"
            raise CannotStart(msg)
        return listen_address(self.parts.settings.built_in_broker).host, self._collector.port

    @property
    def broker_address(self) -> str:
        """Where readings come in, to be shown."""
        if isinstance(self._collector, EmbeddedBroker):
            host, port = self.built_in_broker
            return f"mqtt://{host}:{port}"
        named = broker_address(self.parts.settings.broker, password=None)
        return f"{'mqtts' if named.tls else 'mqtt'}://{named.host}:{named.port}"

    @property
    def pages_address(self) -> str:
        """Where the pages are, once started."""
        if self._pages is None:
            return ""
        host, port = self._pages.getsockname()[:2]
        return f"http://{host}:{port}"

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a person should know of this set-up before trusting it."""
        said = []
        settings = self.parts.settings
        if settings.accounts == "off":
            said.append("accounts are off: whoever is at this machine may do everything")
        elif not settings.listens_here_only and not settings.base_url.startswith("https://"):
            said.append(
                "the pages are open to others without encryption: whoever is on the same network "
                "can read along, passwords too. docs/accounts.md shows how to put a TLS proxy in "
                "front"
            )
        if isinstance(self._collector, EmbeddedBroker):
            if listen_address(settings.built_in_broker).host not in LOOPBACK:
                said.append(
                    "the built-in broker is open to others without a password: whoever is on the "
                    "same network can send readings that count. Keep it on 127.0.0.1"
                )
            said.append(
                "the built-in broker is for trial use: it forgets sessions and retained messages "
                "when it stops, and has no passwords and no TLS. Name a broker for real work"
            )
        else:
            trouble = self._collector.health().trouble
            if trouble is not None:
                said.append(f"the broker can't be reached ({trouble}); trying on")
        secret = self.parts.settings.mail_server
        if secret is None or not secret.get_secret_value():
            said.append("no mail can be sent: set GRAFTVIGIL_MAIL_SERVER")
        return tuple(said)

    def offer_set_up(self) -> str | None:
        """Return the new one-time code of the set-up page; None where it is not needed."""
        if self.parts.settings.accounts == "off":
            return None
        with reading(self.parts.records) as db:
            if any_password(db):
                return None
        try:
            return offer_code(self.parts.settings.data)
        except OSError as trouble:
            msg = f"the set-up code can't be written into the data folder ({trouble.strerror})"
            raise CannotStart(msg) from trouble

    def start_collector(self) -> None:
        """Take readings from now on; a second call changes nothing."""
        if self._collecting:
            return
        try:
            self._collector.start()
            if isinstance(self._collector, MqttCollector):
                # A message sent once we say that we are up must find our session at the broker.
                self._collector.wait_connected(BROKER_ANSWERS_WITHIN_S)
        except BrokerCannotListen as trouble:
            raise CannotStart(str(trouble)) from trouble
        self._collecting = True

    def start(self, *, turned_by_hand: bool) -> None:
        """Take the port of the pages and start everything but their serving.

        `turned_by_hand`: the watch and the alert service move only when `turn` is called.
        """
        if self.parts.settings.shows_pages:
            self._take_port()
        self._among_nodes(lambda leases: leases.begin())
        self.start_collector()
        self._among_nodes(lambda leases: leases.turn())  # where nobody else is, nothing waits
        if not turned_by_hand:
            if self.parts.guard is not None:
                self.parts.guard.begin(self._collector.thread)
            for thread in self._threads:
                thread.start()
            for waking in self._wakings:
                waking.start()

    def _take_port(self) -> None:
        listen = listen_address(self.parts.settings.listen)
        try:
            self._pages = socket.create_server((listen.host, listen.port))
        except OSError as trouble:
            msg = (
                f"pages can't be served on {listen.host}:{listen.port} ({trouble.strerror}). "
                "Name another with --listen"
            )
            raise CannotStart(msg) from trouble

    def _among_nodes(self, act: Callable[[Leases], None]) -> None:
        try:
            if self.leases is not None:
                act(self.leases)
        except NameTaken as trouble:
            raise CannotStart(str(trouble)) from trouble
        except SQLAlchemyError as trouble:
            msg = f"the records can't be used: {cause_of(trouble)}"
            raise CannotStart(msg) from trouble

    def _turn_sheets(self) -> int:
        """Owe a sheet that is due; of several nodes one does."""
        ours = self.leases is None or self.leases.sees_to_nursery()
        return self.sheets.turn() if ours else 0

    def serve_pages(self) -> None:
        """Serve pages in this thread until SIGINT or SIGTERM; without pages, wait for these."""
        if not self.parts.settings.shows_pages:
            waiting = Unserved(self._stop)
            if self.parts.guard is not None:
                self.parts.guard.ending.serves(waiting)
            waiting.run()
            return
        config = uvicorn.Config(
            create_app(self.parts, self._sight),
            log_level="warning",
            server_header=False,
            timeout_graceful_shutdown=3,
            proxy_headers=False,  # the door alone says whom it believes, see trusted_proxy
        )
        server = PageServer(config, self._stop)
        if self.parts.guard is not None:
            self.parts.guard.ending.serves(server)
        server.run(sockets=None if self._pages is None else [self._pages])

    def turn(self) -> None:
        """Take up the newest book, close due cells, owe a sheet, send what is owed, tell lamps."""
        self.bookkeeping.refresh()
        if self.leases is not None:
            self.leases.turn()
        self.watch.turn()
        self._turn_sheets()
        self.alerts.turn()
        self.lamps.turn()

    def stop(self) -> None:
        """End every part; what was acknowledged or recorded is kept."""
        self._stop.set()
        for waking in self._wakings:
            waking.stop()
        self.alerts.wake()
        if self._collecting:
            self._collector.stop()
        for thread in self._threads:
            if thread.is_alive():
                thread.join(5.0 if thread.daemon else None)
        if self._pages is not None:
            self._pages.close()
        if self.leases is not None:
            self.leases.end()
        if self.parts.guard is not None:
            self.parts.guard.end()
        self.parts.records.dispose()
        self.parts.store.close()
        self._held.close()


def assemble(
    settings: Settings, clock: Clock, *, notice: str | None, first_minute: int | None
) -> Nursery:
    """Build every part; nothing runs yet. Raises CannotStart with what to do.

    Parameters
    ----------
    settings
        Where everything is.
    clock
        What tells the time to every part.
    notice
        A line on top of every page; None: no line.
    first_minute
        The first cell of a watch that has no history; None: the clock's present minute.
    """
    refuse_foreign_packages()
    file_alone = settings.records_url is None and not (settings.data / RECORDS_FILE).exists()
    if file_alone:  # nothing can have been put over the files yet
        _, faults = site_in(read_files(settings.site, settings.plans))
        if faults:
            raise FaultyFiles(faults)
    held = lock(settings.data)
    try:
        records = open_records(settings.records_at)
        bookkeeping = Bookkeeping(settings.site, settings.plans, records)
        book, site = bookkeeping.book, bookkeeping.book.now.site
        store, spool = store_in(settings, clock)
        links = Links.kept_in(settings.data)
        if settings.records_url is not None:
            links = links.shared_in(records)
        reach = reach_in(os.environ, site)
        secrets = secrets_in(os.environ, site)
        collector_at = _collector_address(settings)
    except FilesFaulty as trouble:
        held.close()
        raise FaultyFiles(trouble.faults) from trouble
    except SQLAlchemyError as trouble:
        held.close()
        msg = f"the records can't be opened: {cause_of(trouble)}"
        raise CannotStart(msg) from trouble
    except (StoreFailure, KeyReadable, OSError, ValueError) as trouble:
        held.close()
        raise CannotStart(str(trouble)) from trouble
    rejects = RejectLog(store.file)

    def clock_ms() -> int:
        return milliseconds(clock)

    buttons = Buttons(book, records, clock, links, secrets=secrets)
    ingest = IngestWithButtons(
        Gate(site.sensor),
        store,
        rejects=rejects,
        together=store.file.writing,
        clock_ms=clock_ms,
        topic=settings.answer_topic,
        buttons=buttons,
    )
    take_the_pulse(ingest, store, site, now_ms=clock_ms())
    collector = (
        EmbeddedBroker(collector_at, ingest, clock_ms=clock_ms)
        if isinstance(collector_at, ListenAddress)
        else MqttCollector(collector_at, ingest, clock_ms=clock_ms, jitter=_jitter())
    )
    parts = Parts(
        book=book,
        store=store,
        rejects=rejects,
        ingest=ingest,
        records=records,
        clock=clock,
        settings=settings,
        notice=notice,
        spool=spool,
        broker=collector.health,
        links=links,
        refresh=bookkeeping.refresh,
    )
    trials = LampTrials(partial(_lamps_broker, settings, collector), clock, parts.stopping)
    parts = replace(parts, backups=_backups_of(parts), lamp_trials=trials)
    sight = Sight(parts)
    pictures = Pictures(parts, sight)
    sheets = NightSheets(parts, sight, pictures)
    channels = Channels(settings.mail_server, settings.mail_from, reach=reach)
    alerts = AlertService(
        book,
        records,
        clock,
        channels,
        base_url=settings.base_url,
        links=links,
        codes=bool(settings.answer_topic),
        picture=pictures.with_message,
        sheet_words=sheets.words,
        sheet_picture=sheets.picture,
    )
    leases = leases_of(
        settings,
        records,
        book,
        hears=lambda: collector.health().connected and ingest.health().failing_since_ms is None,
        done=lambda: watch.done + watch.signs if watch.last_error is None else watch.done,
    )
    lamps = Lamps(
        book,
        records,
        SteadyClock(),
        publish=collector.publish,
        health=collector.health,
        ours=lambda: leases is None or leases.sees_to_nursery(),
    )
    pace = Pace(SteadyClock())
    watch = Watch(
        book,
        store,
        records,
        clock,
        lateness_s=settings.lateness_s,
        start_minute=first_minute,
        on_event=alerts.wake,
        lots=None if leases is None else HeldHouses(records, store, clock, leases),
        pace=pace,
    )
    body = Body(
        book=book,
        store=store,
        records=records,
        ingest=ingest,
        broker=collector.health,
        spool=spool,
        settings=settings,
        watch=Turning.of(watch),
        alerts=Turning.of(alerts if settings.sees_to_houses else watch),
        backups=parts.backups,
        nodes=None if leases is None else leases.others,
    )
    parts = replace(parts, guard=guard_of(body, clock, channels, leases), leases=leases, pace=pace)
    upkeep = upkeep_of(
        store,
        records,
        spool,
        settings=settings,
        clock_ms=clock_ms,
        seen_up_to=None if leases is None else lambda: watch.seen_up_to,
    )
    drop = drop_folder_of(parts, store, clock_ms=clock_ms)
    bookkeeping.followers += followers_of(ingest, buttons, channels, drop)
    return Nursery(
        parts,
        watch,
        alerts,
        collector,
        upkeep=upkeep,
        drop=drop,
        bookkeeping=bookkeeping,
        held=held,
        sight=sight,
        sheets=sheets,
        leases=leases,
        lamps=lamps,
    )


def _backups_of(parts: Parts) -> ScheduledBackups | None:
    folder = parts.settings.backup
    if folder is None:
        return None
    return ScheduledBackups(
        parts.settings,
        folder,
        parts.book,
        parts.clock,
        environment=os.environ,
        stop=parts.stopping,
    )


def _lamps_broker(settings: Settings, collector: EmbeddedBroker | MqttCollector) -> BrokerAddress:
    port = collector.port if isinstance(collector, EmbeddedBroker) else 0
    return broker_to_try(settings, port=port)


def _collector_address(settings: Settings) -> BrokerAddress | ListenAddress:
    if not settings.broker:
        return listen_address(settings.built_in_broker)
    topics = filters_for(settings.answer_topic.split(), settings.topics.split())
    return replace(named_broker(settings), client_id=settings.broker_session, topics=topics)


def _jitter() -> Callable[[], float]:
    return np.random.default_rng().random
