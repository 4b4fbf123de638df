"""Tern Hollow at ten past two on its recorded night, with every part running but the broker.

Loaded by the conftest of each folder that tests pages or the API.
"""

from __future__ import annotations

import gzip
import json
import shutil
import socket
import threading
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn
from pydantic import SecretStr

from api.book import Book, InForce, compiled, in_force_of
from api.parts import Parts
from api.records.entries import in_force, known
from api.records.observations import entered
from api.records.session import open_records, reading
from api.settings import Settings
from api.site_files import read_nursery
from api.v1.sight import Sight
from api.watch.clock import TurnedClock, milliseconds
from api.watch.loop import Watch
from api.web.app import create_app
from api.web.server import PageServer
from collector.gate import Gate, Message
from collector.ingest import Ingest
from collector.rejects import RejectLog
from collector.stores.sqlite import SqliteStore

if TYPE_CHECKING:
    from collections.abc import Iterator

DEMO = Path(__file__).parents[2] / "demo_data"
FIRST = datetime(2026, 11, 14, 1, 0, tzinfo=UTC)  # noon at the nursery
NIGHT = datetime(2026, 11, 14, 15, 10, tzinfo=UTC)  # 02:10 on the Sunday
LATENESS_S = 90
TOKEN = "a token only this test knows"


@dataclass
class Nursery:
    """The parts, and the two things that happen at a nursery: time passes and sensors speak."""

    parts: Parts
    store: SqliteStore
    watch: Watch
    clock: TurnedClock

    def hear(self, topic: str, payload: dict[str, object], at: datetime) -> None:
        body = json.dumps(payload).encode()
        self.parts.ingest.take([Message(topic, body, int(at.timestamp() * 1000))])

    def go_on(self, minutes: int) -> None:
        """Play the recorded night on by some minutes; the watch closes what falls due."""
        before = self.clock.now()
        self.clock.turn_by(timedelta(minutes=minutes))
        self.parts.ingest.take(recorded(before, self.clock.now()))
        self.watch.turn()

    def stand_still(self, minutes: int) -> None:
        """Let time pass while nobody sends and nobody watches."""
        self.clock.turn_by(timedelta(minutes=minutes))

    def close(self) -> None:
        self.parts.stopping.set()
        self.parts.records.dispose()
        self.store.close()


def recorded(after: datetime, until: datetime) -> list[Message]:
    messages: list[Message] = []
    with gzip.open(DEMO / "nights" / "2026-11-14.jsonl.gz", "rt", encoding="utf-8") as lines:
        for line in lines:
            entry = json.loads(line)
            at = datetime.fromisoformat(entry["at"])
            if at > until:
                break
            if at > after:
                payload = json.dumps(entry["payload"]).encode()
                messages.append(Message(entry["topic"], payload, int(at.timestamp() * 1000)))
    return messages


@cache
def demo_in_force() -> InForce:
    """Return what the demo's files say, which nothing here changes; read once for all tests."""
    read = read_nursery(DEMO / "site.toml", DEMO / "plans")
    assert read.site is not None, read.faults
    return in_force_of(read.site, read.versions)


def nursery(folder: Path, *, notice: str | None = None, token: bool = True) -> Nursery:
    """Open the nursery whose stores lie in a folder."""
    base = demo_in_force()
    store = SqliteStore(folder / "readings.db")
    records = open_records(folder / "records.db")
    clock = TurnedClock(NIGHT)
    rejects = RejectLog(store.file)
    book = Book(base)
    ingest = Ingest(
        Gate(base.site.sensor),
        store,
        rejects=rejects,
        together=store.file.writing,
        clock_ms=lambda: milliseconds(clock),
    )
    parts = _with_open_book(
        Parts(
            book=book,
            store=store,
            rejects=rejects,
            ingest=ingest,
            records=records,
            clock=clock,
            settings=Settings(data=folder, push_token=SecretStr(TOKEN) if token else None),
            notice=notice,
        )
    )
    watch = Watch(
        book,
        store,
        records,
        clock,
        lateness_s=LATENESS_S,
        start_minute=int(FIRST.timestamp()) // 60,
        unwatched_after_min=100_000,
    )
    return Nursery(parts, store, watch, clock)


def _with_open_book(parts: Parts) -> Parts:
    """Return the same parts, taking up at once what is entered, as a running nursery does."""

    def refresh() -> None:
        with reading(parts.records) as db:
            found = compiled(parts.book.now.base, in_force(db), entered(db), known(db))
        assert isinstance(found, InForce), found
        parts.book.put(found)

    return replace(parts, refresh=refresh)


def fill(folder: Path) -> None:
    """Play the night up to ten past two into a folder, so that tests can start from a copy."""
    filled = nursery(folder)
    filled.parts.ingest.take(recorded(FIRST - timedelta(minutes=1), NIGHT))
    filled.watch.turn()
    filled.close()


def copied(filled: Path, to: Path) -> Path:
    shutil.copytree(filled, to, dirs_exist_ok=True)
    return to


@contextmanager
def serving(parts: Parts, *, port: int = 0) -> Iterator[str]:
    """Serve the real application while the block runs; yields its address. Port 0: a free one."""
    with socket.create_server(("127.0.0.1", port)) as listening:
        config = uvicorn.Config(
            create_app(parts, Sight(parts)), log_config=None, lifespan="on", proxy_headers=False
        )
        server = PageServer(config, parts.stopping)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(timeout=20)
            assert not thread.is_alive(), "the server did not stop"
