"""A process that is only part of a node: it does that part, and leaves the rest to others."""

from __future__ import annotations

import os
import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pydantic import SecretStr

import api.assemble
from api.assemble import assemble
from api.records.nodes import nodes_known
from api.records.session import reading
from api.settings import load_settings
from api.watch.clock import TurnedClock

pytestmark = pytest.mark.service

DEMO = Path(__file__).parents[3] / "demo_data"
AT = datetime(2026, 11, 14, 16, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def address(postgresql_server) -> str:
    return postgresql_server.make_database()


@pytest.fixture
def begun(address, tmp_path, monkeypatch):
    """Start a process of which only a part is asked for; its broker does not answer."""
    monkeypatch.setattr(api.assemble, "BROKER_ANSWERS_WITHIN_S", 0.05)
    made = []

    def begin(only: str):
        given = {
            "site": DEMO / "site.toml",
            "plans": DEMO / "plans",
            "data": tmp_path / only,
            "listen": "127.0.0.1:0",
            "broker": "mqtt://127.0.0.1:9",
            "node": f"only-{only}",
            "only": only,
            "records_url": SecretStr(address),
        }
        settings = load_settings(os.environ, given)
        made.append(assemble(settings, TurnedClock(AT), notice=None, first_minute=None))
        made[-1].start(turned_by_hand=False)
        return made[-1]

    yield begin
    for one in made:
        one.stop()


@pytest.mark.parametrize(
    ("only", "houses", "pages", "sends"),
    [("collector", 0, False, False), ("watch", 2, False, True), ("web", 0, True, False)],
)
def test_a_process_does_the_part_it_was_asked_for_and_no_other(begun, only, houses, pages, sends):
    node = begun(only)
    assert len(node.leases.held()) == houses
    assert bool(node.pages_address) == pages
    running = {thread.name for thread in threading.enumerate()}
    assert {"watch", "leases", "upkeep", "guard", "mqtt-collector"} <= running
    assert ("alerts" in running) == sends
    with reading(node.parts.records) as db:
        (kept,) = [one for one in nodes_known(db) if one.name == f"only-{only}"]
    assert kept.watches == (only == "watch")
    if not pages:  # it waits until it is told to end, as the guard does when a part hangs
        waiting = threading.Thread(target=node.serve_pages)
        waiting.start()
        node.parts.guard.ending._server.should_exit = waiting.is_alive()
        waiting.join(10)
        assert not waiting.is_alive()
