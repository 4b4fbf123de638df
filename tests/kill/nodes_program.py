"""The program that the kill test of nodes kills: collector, watch and alert service of one node.

Started once, it reads lines `FOLDER NAME SOCKET` and for each begins a fresh process, whose number
it writes. That process listens at the broker, calls at the socket, and does what it is told there,
a line of JSON at a time: its clocks move only so, and leases run by a clock in the records.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import sys
import traceback
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import SecretStr
from sqlalchemy import event, text
from sqlalchemy.exc import SQLAlchemyError

from api.alerts.channels import Channels
from api.alerts.service import AlertService
from api.book import Book, in_force_of
from api.nodes.leases import Leases
from api.records.session import open_records
from api.watch.clock import TurnedClock, milliseconds
from api.watch.held_houses import HeldHouses
from api.watch.loop import Watch
from collector.gate import Gate
from collector.ingest import Ingest
from collector.mqtt import MqttCollector
from collector.rejects import RejectLog
from collector.settings import broker_address
from collector.spool import Spool
from collector.stores.influx_archive import InfluxAddress, InfluxArchive
from collector.stores.sqlite import SqliteStore
from rules.model.plan import CarePlan
from rules.model.site import Site

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

LATENESS_S = 90


@dataclass(slots=True)
class TurnedSteady:
    """A count of seconds that is turned by hand."""

    at_s: float = 0.0

    def seconds(self) -> float:
        return self.at_s


@dataclass(slots=True)
class Fate:
    """At which statement, or commit, of the records this process gets which signal; 0: none."""

    left: int = 0
    signal: int = signal.SIGKILL

    def befall(self, records: Engine) -> None:
        event.listen(records, "before_cursor_execute", self._count)
        event.listen(records, "commit", self._count)

    def _count(self, *_told: object) -> None:
        if self.left:
            self.left -= 1
            if not self.left:
                os.kill(os.getpid(), self.signal)


def told_ms(db: Connection) -> int:
    """Return the time by the clock that the test turns."""
    found: int = db.execute(text("SELECT ms FROM turned_clock")).scalar_one()
    return found


def main(folder: Path, name: str, at: str) -> None:
    told = json.loads((folder / "told.json").read_text())
    site = Site.model_validate(told["site"])
    plan = CarePlan.model_validate(told["plan"])
    own = folder / name
    own.mkdir(exist_ok=True)
    records = open_records(told["records_at"])
    fate = Fate()
    fate.befall(records)
    store = SqliteStore(own / "readings.sqlite")
    clock = TurnedClock(datetime.fromtimestamp(float((folder / "at_s").read_text()), UTC))
    rejects = RejectLog(store.file)
    ingest = Ingest(
        Gate(site.sensor),
        store,
        rejects=rejects,
        together=store.file.writing,
        clock_ms=lambda: milliseconds(clock),
    )
    address = broker_address(f"mqtt://127.0.0.1:{told['broker']}", password=None)
    collector = MqttCollector(
        replace(address, client_id=f"{told['who']}-{name}", topics=()),
        ingest,
        clock_ms=lambda: milliseconds(clock),
        jitter=lambda: 0.5,
    )
    spool = None
    if told.get("influx"):
        archive = InfluxArchive(InfluxAddress(**told["influx"]))
        spool = Spool(store, archive, clock_ms=lambda: milliseconds(clock))
    book = Book(in_force_of(site, {plan.id: (plan,)}))
    steady = TurnedSteady()
    leases = Leases(
        records,
        book,
        steady,
        name=name,
        folder=f"folder-{name}",
        watches=True,
        unfit=lambda: "",
        now_ms=told_ms,
    )
    watch = Watch(
        book,
        store,
        records,
        clock,
        lateness_s=LATENESS_S,
        start_minute=told["first_minute"],
        lots=HeldHouses(records, store, clock, leases),
    )
    channels = Channels(
        SecretStr(f"smtp://127.0.0.1:{told['mail']}"), "watch@small.invalid", reach={}
    )
    alerts = AlertService(book, records, clock, channels, base_url="http://shed.invalid")
    collector.start()
    with socket.socket(socket.AF_UNIX) as line:
        line.connect(at)
        lines = line.makefile("rw")
        lines.write(json.dumps({"connected": collector.wait_connected(20)}) + "\n")
        lines.flush()
        for asked in map(json.loads, lines):
            fate.left, fate.signal = asked.get("fate", (0, 0))
            said: dict[str, Any] = {}
            try:
                if "at_s" in asked:
                    clock.turn_to(datetime.fromtimestamp(asked["at_s"], UTC))
                if "steady_s" in asked:
                    steady.at_s = asked["steady_s"]
                if asked.get("leases"):
                    leases.turn()
                if asked.get("watch"):
                    said["closed"] = watch.turn()
                if asked.get("alerts"):
                    said["sent"] = alerts.turn()
                if asked.get("archive") and spool is not None:
                    said["archived"] = 0
                    while (sent := spool.step()) > 0:
                        said["archived"] += sent
            except SQLAlchemyError as trouble:
                said["failed"] = type(trouble).__name__
            said["count"] = store.count()
            said["held"] = sorted(leases.held())
            lines.write(json.dumps(said) + "\n")
            lines.flush()
    collector.stop()


def serve() -> None:
    for line in sys.stdin:
        folder, name, at = line.split()
        child = os.fork()
        if child == 0:
            status = 1
            try:
                main(Path(folder), name, at)
                status = 0
            except Exception:  # noqa: BLE001 - a fault of the test's own must be seen
                traceback.print_exc()
            finally:
                os._exit(status)
        print(child, flush=True)


if __name__ == "__main__":
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for the ends of children
    serve()
