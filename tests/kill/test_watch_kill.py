"""Watch and alert service are killed again and again; what they say is as if nothing had been.

One file because the stretch that is lived through, who receives and what is compared belong to two
tests alone.
"""

from __future__ import annotations

import contextlib
import email
import email.policy
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections import Counter
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from aiosmtpd.controller import Controller
from sqlalchemy import text

from api.records.session import open_records

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

PROGRAM = Path(__file__).with_name("watch_program.py")
FIRST = 29_653_080  # a minute of a November night at the nursery; a milestone is 120 later
MINUTES = 180
KILLED = -signal.SIGKILL


@dataclass(frozen=True, slots=True)
class Kills:
    """When one run after another is killed: before a statement, after a time, by a message."""

    by_statement: tuple[int, ...]
    by_time_s: tuple[float, ...]
    by_message: tuple[tuple[str, int], ...]

    @property
    def count(self) -> int:
        """How many kills there are."""
        return len(self.by_statement) + len(self.by_time_s) + len(self.by_message)


MINUTE_BY_MINUTE = Kills(
    by_statement=(3, 30, 77, 151, 222, 340),
    by_time_s=(0.1, 0.3, 0.5),
    by_message=(("isaura", 2), ("gateway", 3), ("corvin", 4), ("gateway", 5)),
)
FIVE_AT_A_TIME = Kills(
    by_statement=(20, 41, 77, 102, 151), by_time_s=(), by_message=(("gateway", 2), ("isaura", 2))
)


class Postbox:
    """A mail server and an HTTP gateway that can kill the sender of the message they now hold.

    They kill before they have said that they took it. `arrived` is the way and the line of each
    message, in the order of arrival; `kill_on` counts the messages of one way.
    """

    def __init__(self) -> None:
        self.arrived: list[tuple[str, str]] = []
        self.kill_on: tuple[str, int] | None = None
        self.sender = 0
        self.ports = (0, 0)

    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802
        mail = email.message_from_bytes(envelope.content, policy=email.policy.default)
        self.take(str(mail["To"]).partition("@")[0], str(mail["Subject"]))
        return "250 kept"

    def take(self, to: str, line: str) -> None:
        self.arrived.append((to, line))
        if self.kill_on == (to, self.count(to)):
            os.kill(self.sender, signal.SIGKILL)

    def count(self, to: str) -> int:
        return sum(one == to for one, _ in self.arrived)


@contextlib.contextmanager
def receivers() -> Iterator[Postbox]:
    """Run a real mail server and a real HTTP gateway side by side."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    box = Postbox()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            box.take("gateway", said["title"])
            with contextlib.suppress(OSError):  # the sender may be gone
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()

        def log_message(self, *args: object) -> None:
            return

    gateway = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    serving = threading.Thread(target=gateway.serve_forever, kwargs={"poll_interval": 0.05})
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    serving.start()
    box.ports = (port, gateway.server_port)
    try:
        yield box
    finally:
        controller.stop()
        gateway.shutdown()
        gateway.server_close()
        serving.join()


def stretch() -> dict[str, object]:
    """Return a site, a plan and what arrives in each minute: dry spells, gaps, late readings."""
    rng = np.random.default_rng(7)
    arrivals: list[list[tuple[str, int, float]]] = []
    for minute in range(MINUTES):
        at_ms = (FIRST + minute) * 60_000
        arriving: list[tuple[str, int, float]] = []
        for bag in range(3):
            dry = ((minute + 11 * bag) // 12) % 2 == 1
            silent = bag == 2 and 60 <= minute < 90
            if silent:
                continue
            low, high = (60.0, 79.0) if dry else (90.0, 100.0)
            arriving.append((f"bag-{bag}/humidity", at_ms + 9_000, float(rng.uniform(low, high))))
        if minute > 5 and minute % 7 == 0:
            arriving.append(("bag-0/humidity", at_ms - 4 * 60_000, 1.0))
        if minute % 9 == 0:
            arriving.append(("bag-1/humidity", at_ms + 2 * 60_000 + 30_000, 80.0))
        arrivals.append(arriving)
    days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    site = {
        "lead": "isaura",
        "site": {
            "title": "Small Hollow",
            "latitude_deg": -24.0,
            "longitude_deg": 160.0,
            "elevation_m": 40.0,
            "time_zone": "Etc/GMT-11",
        },
        "house": [
            {"id": "h", "title": "house", "shade_fraction": 0.8, "length_m": 9, "width_m": 9}
        ],
        "bench": [
            {
                "id": "b",
                "house": "h",
                "title": "bench 2",
                "x_m": 1,
                "y_m": 1,
                "length_m": 6,
                "width_m": 1,
            }
        ],
        "sensor": [
            {
                "id": f"bag-{bag}",
                "title": f"probe {bag}",
                "topic": f"small/{bag}",
                "channel": [
                    {
                        "id": "humidity",
                        "quantity": "relative_humidity",
                        "unit": "%RH",
                        "path": "h",
                        "stale_after_min": 3,
                    }
                ],
                "position": [{"since": "2026-01-01T00:00:00Z", "cover_of": f"MG-0{bag}"}],
            }
            for bag in range(3)
        ],
        "batch": [
            {
                "code": f"MG-0{bag}",
                "species": "mango",
                "cultivar": "late red",
                "rootstock": "seedling",
                "method": "cleft",
                "scion": "leafy",
                "wrap": "tape",
                "cover": "tied_bag",
                "count": 9,
                "grafter": "TQ",
                "grafted_on": "2026-01-01",
                "bench": "b",
                "plan": "bag",
                "stage": [{"stage": "healing", "since": "2026-01-01T00:00:00Z", "because": "cut"}],
            }
            for bag in range(3)
        ],
        "person": [
            {"id": "isaura", "name": "Isaura Lim", "email": "isaura@small.example.invalid"},
            {
                "id": "corvin",
                "name": "Corvin Hale",
                "email": "corvin@small.example.invalid",
                "reach": ["gateway"],
            },
        ],
        "shift": [
            {"who": who, "days": days, "start": "00:00", "end": "00:00"}
            for who in ("isaura", "corvin")
        ],
    }
    plan = {
        "id": "bag",
        "version": 1,
        "title": {"en": "bag", "es": "bolsa"},
        "scion": "leafy",
        "cover": ["tied_bag"],
        "source": "common practice, no source",
        "stage": {
            "healing": {
                "vital": ["relative_humidity"],
                "blind_after_min": 4,
                "limit": [
                    {
                        "id": "air-dry",
                        "quantity": "relative_humidity",
                        "side": "low",
                        "bound": 80.0,
                        "deadband": 2.0,
                        "on_delay_min": 3,
                        "off_delay_min": 2,
                        "full_margin": 10.0,
                        "priority": "high",
                        "says": {"en": "air too dry", "es": "aire demasiado seco"},
                        "action": {"en": "Mist inside.", "es": "Rocíe por dentro."},
                    }
                ],
            }
        },
    }
    return {"site": site, "plan": plan, "first_minute": FIRST, "arrivals": arrivals}


class Runs:
    """Begins the program again and again, and tells how each run ended."""

    def __init__(self, program: subprocess.Popen[str]) -> None:
        self._program = program

    def begin(self, folder: Path, ports: tuple[int, int], die_at: int = 0) -> int:
        """Return the number of the process that has begun."""
        assert self._program.stdin is not None
        self._program.stdin.write(f"{folder} {ports[0]} {ports[1]} {die_at}\n")
        self._program.stdin.flush()
        word, pid = self._said()
        assert word == "begun"
        return pid

    def ended(self) -> int:
        """Wait for the end of the run; return 0, or less the signal that killed it."""
        word, code = self._said()
        assert word == "ended"
        return code

    def _said(self) -> tuple[str, int]:
        assert self._program.stdout is not None
        word, number = self._program.stdout.readline().split()
        return word, int(number)


@pytest.fixture
def runs() -> Iterator[Runs]:
    with subprocess.Popen(
        [sys.executable, str(PROGRAM)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as program:
        yield Runs(program)


QUERIES = {
    "alarms": "SELECT id, batch, condition, priority, state, opened_ms, since_ms, ended_ms, value"
    " FROM alarms ORDER BY id",
    "changes": "SELECT id, alarm_id, at_ms, before, after, cue FROM alarm_changes ORDER BY id",
    "groups": "SELECT id, kind, place, common, began_ms, last_ms FROM alarm_groups ORDER BY id",
    "owed": "SELECT cause, person, kind, channel, alarm_id, step FROM outbox ORDER BY id",
    "late": "SELECT channel, at_ms FROM late_marks ORDER BY at_ms, channel",
    "standings": "SELECT batch, minute, before, after FROM standing_changes ORDER BY minute, batch",
    "gaps": "SELECT from_minute, to_minute FROM watch_gaps",
    # Not the sequence: a reading delivered again after a kill uses up a number in the store.
    "position": "SELECT next_minute, state FROM watch_position",
    "milestones": "SELECT next_minute, state FROM watch_milestones ORDER BY next_minute",
    "unsent": "SELECT id FROM outbox WHERE sent_ms IS NULL",
}


def kept(records_at: Path | str) -> dict[str, Sequence[tuple[object, ...]]]:
    engine = open_records(records_at)
    with engine.connect() as db:
        found = {
            name: [tuple(row) for row in db.execute(text(query))] for name, query in QUERIES.items()
        }
    engine.dispose()
    return renumbered(found)


def renumbered(
    found: dict[str, Sequence[tuple[object, ...]]],
) -> dict[str, Sequence[tuple[object, ...]]]:
    """Count alarms and changes from 1 on: PostgreSQL never gives a number twice, kept or not."""
    alarms = {row[0]: place for place, row in enumerate(found["alarms"], 1)}
    changes = {row[0]: place for place, row in enumerate(found["changes"], 1)}
    found["alarms"] = [(alarms[row[0]], *row[1:]) for row in found["alarms"]]
    found["changes"] = [(changes[row[0]], alarms[row[1]], *row[2:]) for row in found["changes"]]
    groups = {row[0]: place for place, row in enumerate(found["groups"], 1)}
    found["groups"] = [(groups[row[0]], *row[1:]) for row in found["groups"]]
    found["owed"] = [
        (in_cause(str(row[0]), changes, groups), *row[1:4], alarms.get(row[4]), row[5])
        for row in found["owed"]
    ]
    return found


def in_cause(cause: str, changes: dict[object, int], groups: dict[object, int]) -> str:
    """Return a cause as in change.12.40.everyone, group.1.1.25.lead or group.1.over.12."""
    word, number, *more = cause.split(".")
    if word == "change":
        return ".".join([word, str(changes[int(number)]), *more])
    assert word == "group", cause
    if more[0] == "over":
        more[1] = str(changes[int(more[1])])
    return ".".join([word, str(groups[int(number)]), *more])


def lines_sent(records_at: Path | str) -> list[tuple[str, str]]:
    engine = open_records(records_at)
    query = (
        "SELECT CASE channel WHEN 'email' THEN person ELSE channel END, line FROM outbox "
        "WHERE sent_ms IS NOT NULL"
    )
    with engine.connect() as db:
        found = [(row[0], row[1]) for row in db.execute(text(query))]
    engine.dispose()
    return found


def live_torn(
    runs: Runs, calm: Path, torn: Path, records_at: Path | str, *, turn_every: int, kills: Kills
) -> tuple[Postbox, Postbox]:
    """Live through the stretch undisturbed, and again under kills; return what both were told."""
    for folder, at in ((calm, calm / "records.db"), (torn, records_at)):
        folder.mkdir()
        told = stretch() | {"records_at": str(at), "turn_every": turn_every}
        (folder / "stretch.json").write_text(json.dumps(told))

    with receivers() as calm_box:
        runs.begin(calm, calm_box.ports)
        assert runs.ended() == 0

    with receivers() as torn_box:
        for die_at in kills.by_statement:
            runs.begin(torn, torn_box.ports, die_at)
            assert runs.ended() == KILLED
        for pause_s in kills.by_time_s:
            process = runs.begin(torn, torn_box.ports)
            threading.Event().wait(pause_s)
            os.kill(process, signal.SIGKILL)
            assert runs.ended() == KILLED
        for to, more in kills.by_message:
            torn_box.kill_on = (to, torn_box.count(to) + more)
            torn_box.sender = runs.begin(torn, torn_box.ports)
            assert runs.ended() == KILLED
        torn_box.kill_on = None
        runs.begin(torn, torn_box.ports)
        assert runs.ended() == 0
    return calm_box, torn_box


def check_told(calm_box: Postbox, torn_box: Postbox, records_at: Path | str, kills: Kills) -> None:
    """None is lost, and at most one is repeated for each kill."""
    owed = lines_sent(records_at)
    assert len(calm_box.arrived) == len(owed)
    assert Counter(owed) - Counter(torn_box.arrived) == Counter()  # none is lost
    assert len(torn_box.arrived) <= len(owed) + kills.count  # at most one repeated for each kill
    # Those kills do repeat one each.
    assert len(torn_box.arrived) >= len(owed) + len(kills.by_message)


@pytest.mark.kill
@pytest.mark.service
@pytest.mark.slow
def test_killed_thirteen_times_it_says_what_it_would_have_said_and_repeats_at_most_one_each(
    runs, tmp_path, records_at
):
    calm = tmp_path / "calm"
    calm_box, torn_box = live_torn(
        runs, calm, tmp_path / "torn", records_at, turn_every=1, kills=MINUTE_BY_MINUTE
    )
    undisturbed = kept(calm / "records.db")
    assert len(undisturbed["changes"]) > 20
    assert len(undisturbed["late"]) > 10
    assert [minute for minute, _ in undisturbed["milestones"]] == [FIRST, FIRST + 120]
    assert undisturbed["gaps"] == undisturbed["unsent"] == []
    assert {to for to, _ in calm_box.arrived} == {"isaura", "corvin", "gateway"}
    assert kept(records_at) == undisturbed
    check_told(calm_box, torn_box, records_at, MINUTE_BY_MINUTE)


@pytest.mark.kill
@pytest.mark.service
@pytest.mark.slow
def test_killed_while_it_catches_up_five_minutes_at_a_time_it_says_the_same_as_undisturbed(
    runs, tmp_path
):
    calm, torn_at = tmp_path / "calm", tmp_path / "torn" / "records.db"
    calm_box, torn_box = live_torn(
        runs, calm, tmp_path / "torn", torn_at, turn_every=5, kills=FIVE_AT_A_TIME
    )
    undisturbed = kept(calm / "records.db")
    assert len(undisturbed["changes"]) > 20
    assert undisturbed["gaps"] == undisturbed["unsent"] == []
    assert kept(torn_at) == undisturbed
    check_told(calm_box, torn_box, torn_at, FIVE_AT_A_TIME)
