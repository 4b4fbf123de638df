"""The program that the kill test kills: watch and alert service over a recorded stretch.

Started once, it reads lines `FOLDER MAIL_PORT GATEWAY_PORT DIE_AT` and for each begins a fresh
process, whose number it writes. That process lives through the stretch minute by minute, or some
minutes at a time as after a hold-up, on from where the records say it has come. It dies by its own
SIGKILL before the statement numbered DIE_AT of the records' database (0: never). Forked from one
that has read its modules, it begins at once.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import SecretStr
from sqlalchemy import event

from api.alerts.channels import Channels
from api.alerts.service import AlertService
from api.book import Book, in_force_of
from api.records.session import open_records, reading
from api.records.watch import load_position
from api.watch.clock import TurnedClock
from api.watch.loop import Watch
from collector.stores.sqlite import SqliteStore
from rules.model.plan import CarePlan
from rules.model.reading import Reading
from rules.model.site import Site

if TYPE_CHECKING:
    from sqlalchemy import Engine

LATENESS_S = 90


def die_before(records: Engine, number: int) -> None:
    """Kill this process before its statement, or commit, of this number in the records."""
    seen = 0

    def count(*_told: object) -> None:
        nonlocal seen
        seen += 1
        if seen == number:
            os.kill(os.getpid(), signal.SIGKILL)

    event.listen(records, "before_cursor_execute", count)
    event.listen(records, "commit", count)


def main(folder: Path, port: int, gateway: int, die_at: int) -> None:
    stretch = json.loads((folder / "stretch.json").read_text())
    site = Site.model_validate(stretch["site"])
    plan = CarePlan.model_validate(stretch["plan"])
    plans = {plan.id: (plan,)}
    first, arrivals = stretch["first_minute"], stretch["arrivals"]
    store = SqliteStore(folder / "readings.db")
    kept_at = stretch["records_at"]
    records = open_records(kept_at if "://" in kept_at else Path(kept_at))
    if die_at:
        die_before(records, die_at)
    with reading(records) as db:
        position = load_position(db)
    done = 0 if position is None else position.next_minute - first
    start = datetime.fromtimestamp(first * 60, UTC)
    clock = TurnedClock(start)
    book = Book(in_force_of(site, plans))
    watch = Watch(
        book,
        store,
        records,
        clock,
        lateness_s=LATENESS_S,
        start_minute=first,
    )
    channels = Channels(
        SecretStr(f"smtp://127.0.0.1:{port}"),
        "watch@small.example.invalid",
        reach={"gateway": SecretStr(f"json://127.0.0.1:{gateway}/say")},
    )
    alerts = AlertService(book, records, clock, channels, base_url="http://shed.invalid")
    for minute in range(done, len(arrivals)):
        store.keep([Reading(*reading) for reading in arrivals[minute]])
        if (minute + 1) % stretch["turn_every"]:
            continue
        clock.turn_to(start + timedelta(minutes=minute + 1, seconds=LATENESS_S))
        watch.turn()
        alerts.turn()
    for _ in range(3):  # a message may still be held by the lease of a process that died
        clock.turn_by(timedelta(minutes=2))
        alerts.turn()


def serve() -> None:
    for line in sys.stdin:
        folder, *numbers = line.split()
        child = os.fork()
        if child == 0:
            status = 1
            try:
                main(Path(folder), *(int(number) for number in numbers))
                status = 0
            finally:
                os._exit(status)
        print("begun", child, flush=True)
        _, status = os.waitpid(child, 0)
        print("ended", os.waitstatus_to_exitcode(status), flush=True)


if __name__ == "__main__":
    serve()
