"""Two nodes over one PostgreSQL and one broker: whichever is killed, people hear what they should.

One file because site, nodes and what happens to them are read together.

Clocks are turned by hand, that of the leases too: how long a taking over takes is a sum, not luck.
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
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import paho.mqtt.client as paho
import psycopg
import pytest
from aiosmtpd.controller import Controller

from api.nodes.sharing import LEASE_MS, RENEW_S
from api.watch.loop import TURN_S

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

pytestmark = [pytest.mark.kill, pytest.mark.service, pytest.mark.slow]

PROGRAM = Path(__file__).with_name("nodes_program.py")
FIRST = 29_653_080  # a minute of a November night at the nursery
SLOTS = 50
STEP_MS = 5_000  # by which the leases' clock goes on with each slot
HOUSES = {"bag-0": "east", "bag-1": "east", "bag-2": "west", "bag-3": "west"}


class Postbox:
    """A mail server that can kill the sender of the mail it holds, before it says it took it."""

    def __init__(self) -> None:
        self.arrived: list[tuple[str, str]] = []
        self.kill_next = False
        self.sender = 0

    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802
        mail = email.message_from_bytes(envelope.content, policy=email.policy.default)
        self.arrived.append((str(mail["To"]).partition("@")[0], str(mail["Subject"])))
        if self.kill_next:
            self.kill_next = False
            os.kill(self.sender, signal.SIGKILL)
        return "250 kept"


@contextlib.contextmanager
def postbox() -> Iterator[tuple[Postbox, int]]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    box = Postbox()
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield box, port
    finally:
        controller.stop()


def site_of(who: str) -> dict[str, object]:
    """Return a site with two bags in each of two houses."""
    days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    return {
        "lead": "isaura",
        "site": {
            "title": "Small Hollow",
            "latitude_deg": -24.0,
            "longitude_deg": 160.0,
            "elevation_m": 40.0,
            "time_zone": "Etc/GMT-11",
        },
        "house": [
            {"id": one, "title": one, "shade_fraction": 0.8, "length_m": 9, "width_m": 9}
            for one in ("east", "west")
        ],
        "bench": [
            {
                "id": f"bench-{one}",
                "house": one,
                "title": f"bench {one}",
                "x_m": 1,
                "y_m": 1,
                "length_m": 6,
                "width_m": 1,
            }
            for one in ("east", "west")
        ],
        "sensor": [
            {
                "id": bag,
                "title": f"probe {bag}",
                "topic": f"{who}/{bag}",
                "time": "unix_s",
                "time_path": "t",
                "channel": [
                    {
                        "id": "humidity",
                        "quantity": "relative_humidity",
                        "unit": "%RH",
                        "path": "h",
                        "stale_after_min": 3,
                    }
                ],
                "position": [{"since": "2026-01-01T00:00:00Z", "cover_of": f"MG-0{bag[-1]}"}],
            }
            for bag in HOUSES
        ],
        "batch": [
            {
                "code": f"MG-0{bag[-1]}",
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
                "bench": f"bench-{house}",
                "plan": "bag",
                "stage": [{"stage": "healing", "since": "2026-01-01T00:00:00Z", "because": "cut"}],
            }
            for bag, house in HOUSES.items()
        ],
        "person": [
            {"id": "isaura", "name": "Isaura Lim", "email": "isaura@small.example.invalid"},
            {"id": "corvin", "name": "Corvin Hale", "email": "corvin@small.example.invalid"},
        ],
        "shift": [
            {"who": who, "days": days, "start": "00:00", "end": "00:00"}
            for who in ("isaura", "corvin")
        ],
    }


PLAN = {
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


def arriving(slot: int) -> list[tuple[str, int, float]]:
    """Return what the bags say in a slot: dry spells, a silence, and words that come late."""
    at_s = (FIRST + slot) * 60
    said = []
    for number, bag in enumerate(HOUSES):
        dry = ((slot + 7 * number) // 12) % 2 == 1
        if bag == "bag-3" and 20 <= slot < 32:
            continue
        said.append((bag, at_s + 9, 70.0 + number if dry else 92.0 + number))
    if slot > 5 and slot % 7 == 0:
        said.append(("bag-0", at_s - 4 * 60, 1.0))
    return said


@dataclass(slots=True)
class Node:
    """One running node, told what to do over a socket."""

    name: str
    process: int
    line: socket.socket
    lines: object = field(repr=False)

    def tell(self, **asked: object) -> None:
        self.lines.write(json.dumps(asked) + "\n")
        self.lines.flush()

    def answer(self) -> dict[str, object] | None:
        """Return what it says; None if it has been killed."""
        try:
            said = self.lines.readline()
        except OSError:
            return None
        return json.loads(said) if said else None

    def ask(self, **asked: object) -> dict[str, object] | None:
        self.tell(**asked)
        return self.answer()

    def kill(self) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.process, signal.SIGKILL)

    def gone(self) -> None:
        self.lines.close()
        self.line.close()


class Nursery:
    """A database, a folder, and the nodes at work on them; time goes on slot by slot."""

    def __init__(self, folder: Path, address: str, begin: Callable[[Path, str], Node]) -> None:
        self.folder = folder
        self.address = address
        self._begin = begin
        self.nodes: dict[str, Node] = {}
        self.lease_ms = 1_800_000_000_000
        self.at_s = FIRST * 60
        self.heard: set[tuple[str, int]] = set()
        with psycopg.connect(address, autocommit=True) as db:
            db.execute("CREATE TABLE turned_clock (ms bigint)")
            db.execute("INSERT INTO turned_clock VALUES (%s)", (self.lease_ms,))

    def begin(self, name: str) -> Node:
        (self.folder / "at_s").write_text(str(self.at_s))
        self.nodes[name] = self._begin(self.folder, name)
        assert self.nodes[name].answer() == {"connected": True}
        return self.nodes[name]

    def pass_ms(self, ms: int) -> None:
        self.lease_ms += ms
        with psycopg.connect(self.address, autocommit=True) as db:
            db.execute("UPDATE turned_clock SET ms = %s", (self.lease_ms,))

    def hear(self, publisher: paho.Client, who: str, slot: int) -> None:
        """Publish a slot, and wait until every living node has kept it."""
        for bag, at_s, value in arriving(slot):
            self.heard.add((bag, at_s))
            payload = json.dumps({"t": at_s, "h": value})
            publisher.publish(f"{who}/{bag}", payload, qos=1)
        self.at_s = max(self.at_s, (FIRST + slot + 1) * 60 + 5)
        pause = threading.Event()
        for node in list(self.nodes.values()):
            for _ in range(400):
                said = node.ask(at_s=self.at_s)
                assert said is not None
                if said["count"] == len(self.heard):
                    break
                pause.wait(0.01)
            else:
                pytest.fail(f"{node.name} heard {said}, not {len(self.heard)}")

    def turn(
        self, box: Postbox, fates: dict[str, tuple[int, int]] | None = None
    ) -> dict[str, dict[str, object] | None]:
        """Let every living node take one turn; return what each said, None for those killed."""
        said = {}
        for name, node in list(self.nodes.items()):
            box.sender = node.process
            said[name] = node.ask(
                at_s=self.at_s,
                steady_s=self.lease_ms / 1000,
                leases=True,
                watch=True,
                alerts=True,
                fate=(fates or {}).get(name, (0, 0)),
            )
            if said[name] is None:
                self.nodes.pop(name).gone()
        return said

    def holder_of(self, name: str) -> str:
        """Return the node that holds a house; of a node's name itself."""
        for one, node in self.nodes.items():
            said = node.ask()
            assert said is not None
            if name in said["held"]:
                return one
        return name

    def lose(self, name: str) -> None:
        """Kill a node while it waits."""
        node = self.nodes.pop(name)
        node.kill()
        assert node.answer() is None
        node.gone()

    def rows(self, query: str) -> list[tuple[object, ...]]:
        with psycopg.connect(self.address) as db:
            return sorted(db.execute(query).fetchall(), key=str)


@pytest.fixture(scope="module")
def program() -> Iterator[subprocess.Popen[str]]:
    with subprocess.Popen(
        [sys.executable, str(PROGRAM)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as running:
        yield running
        assert running.stdin is not None
        running.stdin.close()


@pytest.fixture
def make(program, tmp_path, postgresql_server, mosquitto_port) -> Iterator[Callable[..., Nursery]]:
    """Make a nursery of two houses; every node of it is ended with the test."""
    made: list[Nursery] = []
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(tmp_path / "calls"))
        listening.listen()
        listening.settimeout(60)

        def begin(folder: Path, name: str) -> Node:
            program.stdin.write(f"{folder} {name} {tmp_path / 'calls'}\n")
            program.stdin.flush()
            process = int(program.stdout.readline())
            line, _ = listening.accept()
            line.settimeout(60)
            return Node(name, process, line, line.makefile("rw"))

        def nursery(who: str, mail: int, **more: object) -> Nursery:
            folder = tmp_path / who
            folder.mkdir()
            address = postgresql_server.make_database()
            told = {
                "who": who,
                "site": site_of(who),
                "plan": PLAN,
                "first_minute": FIRST,
                "records_at": address,
                "broker": mosquitto_port,
                "mail": mail,
                **more,
            }
            (folder / "told.json").write_text(json.dumps(told))
            made.append(Nursery(folder, address, begin))
            return made[-1]

        yield nursery
        for one in made:
            for name in list(one.nodes):
                one.lose(name)


@pytest.fixture
def publisher(mosquitto_port) -> Iterator[paho.Client]:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", mosquitto_port)
    client.loop_start()
    yield client
    client.disconnect()
    client.loop_stop()


ALARM = "a.batch, a.condition, a.opened_ms"
QUERIES = {
    "alarms": f"SELECT {ALARM}, a.priority, a.state, a.since_ms, a.ended_ms, a.value FROM alarms a",
    "changes": f"SELECT {ALARM}, c.at_ms, c.before, c.after, c.cue FROM alarm_changes c"
    " JOIN alarms a ON a.id = c.alarm_id",
    "owed": f"SELECT {ALARM}, o.kind, o.person, o.about_ms, o.step FROM outbox o"
    " LEFT JOIN alarms a ON a.id = o.alarm_id",
    "groups": "SELECT kind, place, common, began_ms, last_ms FROM alarm_groups",
    "late": "SELECT channel, at_ms FROM late_marks",
    "standings": "SELECT batch, minute, before, after FROM standing_changes",
    "gaps": "SELECT from_minute, to_minute FROM watch_gaps",
    "unsent": "SELECT id FROM outbox WHERE sent_ms IS NULL",
    "positions": "SELECT house, next_minute, state FROM house_positions",
}
SENT = "SELECT person, line FROM outbox WHERE sent_ms IS NOT NULL"


def lived(
    nursery: Nursery,
    publisher: paho.Client,
    who: str,
    box: Postbox,
    kills: dict[int, tuple[str, str, int]],
    *,
    names: Sequence[str],
    slots: int = SLOTS,
) -> int:
    """Live through the slots; return how many kills there were. Each is (node, how, number).

    "idle": it, or who holds that house, dies while it waits. "statement": before its statement of
    this number of a turn. "mail": whoever sends the next message, while the mail server has it and
    has not said so. "all": nobody is left for so many slots. One who was killed alone is back
    three slots later.
    """
    killed = 0
    back: dict[int, list[str]] = {}
    for name in names:
        nursery.begin(name)
    for slot in range(slots):
        for one in back.pop(slot, ()):
            nursery.begin(one)
        nursery.hear(publisher, who, slot)
        nursery.pass_ms(STEP_MS)
        name, how, number = kills.get(slot, ("", "", 0))
        fates: dict[str, tuple[int, int]] = {}
        if how == "idle":
            name = nursery.holder_of(name)
            nursery.lose(name)
        elif how == "statement":
            fates[name] = (number, signal.SIGKILL)
        elif how == "mail":
            box.kill_next = True
        elif how == "all":
            back[slot + number] = list(nursery.nodes)
            for one in list(nursery.nodes):
                nursery.lose(one)
        lost = [one for one, said in nursery.turn(box, fates).items() if said is None]
        assert how != "statement" or lost == [name], f"a turn has fewer statements than {number}"
        lost += [name] if how == "idle" else []
        for one in lost:
            back.setdefault(slot + 3, []).append(one)
            killed += 1
            for _ in range(3):
                nursery.pass_ms(LEASE_MS // 2)
                nursery.turn(box)
    for _ in range(3):  # a message may still be held by a sender that died
        nursery.at_s += 61
        nursery.pass_ms(STEP_MS)
        nursery.turn(box)
    assert not box.kill_next, "no mail went out any more"
    return killed


def test_whichever_node_is_killed_people_are_told_as_if_none_was(make, publisher):
    with postbox() as (calm_box, port):
        calm = make("calm", port)
        lived(calm, publisher, "calm", calm_box, {}, names=["a"])
    kills = {
        5: ("a", "idle", 0),
        10: ("b", "statement", 9),
        16: ("a", "statement", 25),
        21: ("east", "idle", 0),  # with a late word that it has not looked at, as in 28
        28: ("east", "idle", 0),
        33: ("", "mail", 0),
        39: ("", "mail", 0),
        44: ("a", "statement", 21),
    }
    with postbox() as (torn_box, port):
        torn = make("torn", port)
        assert lived(torn, publisher, "torn", torn_box, kills, names=["a", "b"]) == len(kills)
    undisturbed = {what: calm.rows(query) for what, query in QUERIES.items()}
    found = {what: torn.rows(query) for what, query in QUERIES.items()}
    assert len(undisturbed["alarms"]) == 5
    assert len(undisturbed["changes"]) > 15
    assert len(undisturbed["late"]) == 7
    assert {row[0] for row in undisturbed["positions"]} == {"east", "west"}
    assert undisturbed["gaps"] == undisturbed["unsent"] == []
    for what, rows in undisturbed.items():
        assert found[what] == rows, what
    sent = [(str(to), str(line)) for to, line in torn.rows(SENT)]
    assert Counter(sent) - Counter(torn_box.arrived) == Counter()  # none is lost
    assert len(torn_box.arrived) <= len(sent) + len(kills)  # at most one repeated for each kill
    assert len(torn_box.arrived) >= len(sent) + 2  # those killed in the mail's midst do repeat


def test_after_a_time_in_which_nobody_watched_two_say_what_one_would(make, publisher):
    told = []
    for who, names in (("lone", ["a"]), ("pair", ["a", "b"])):
        with postbox() as (box, port):
            nursery = make(who, port)
            lived(nursery, publisher, who, box, {9: ("", "all", 9)}, names=names, slots=26)
        found = {what: nursery.rows(query) for what, query in QUERIES.items()}
        told.append((found, sorted(box.arrived)))
    (lone, by_one), (pair, by_two) = told
    assert len(lone["gaps"]) == 1
    assert any(row[3] == "unwatched" for row in lone["owed"])
    for what, rows in lone.items():
        assert pair[what] == rows, what
    assert by_two == by_one


def test_both_nodes_archive_the_same_points(make, publisher, influx_server):
    bucket = influx_server.make_bucket("of-two-nodes")
    address = {"url": influx_server.url, "bucket": bucket, "organisation": "-", "token": None}
    with postbox() as (box, port):
        nursery = make("kept", port, influx=address)
        nursery.begin("a")
        nursery.begin("b")
        for slot in range(8):
            nursery.hear(publisher, "kept", slot)
            nursery.turn(box)
        for node in nursery.nodes.values():
            said = node.ask(archive=True)
            assert said is not None
            assert said["archived"] == len(nursery.heard)
    answer = json.loads(influx_server.ask("SELECT count(value) FROM reading", bucket=bucket))
    assert answer["results"][0]["series"][0]["values"][0][1] == len(nursery.heard)


def test_a_node_that_dies_is_replaced_within_half_a_minute(make):
    with postbox() as (box, port):
        nursery = make("times", port)
        nursery.begin("a")
        nursery.turn(box)
        nursery.begin("b")
        nursery.turn(box)  # b is there, so a lets go of one house; b takes it
        held = [said["held"] for said in nursery.turn(box).values()]
        assert sorted(held) == [["east"], ["west"]]
        nursery.lose("a")
        nursery.pass_ms(LEASE_MS - 1)
        assert nursery.turn(box) == {"b": {"count": 0, "closed": 0, "held": ["west"], "sent": 0}}
        nursery.pass_ms(1)
        assert nursery.turn(box)["b"]["held"] == ["east", "west"]
        # The longest lease, then a look at the leases, then a turn of the watch.
        assert LEASE_MS / 1000 + RENEW_S + TURN_S < 30


def test_a_node_that_was_stopped_and_wakes_after_its_lease_writes_nothing(make, publisher):
    with postbox() as (box, port):
        nursery = make("asleep", port)
        nursery.begin("a")
        nursery.begin("b")
        nursery.hear(publisher, "asleep", 0)
        nursery.at_s += 155
        asleep_s = nursery.lease_ms / 1000
        sleeper = nursery.nodes.pop("a")
        said = sleeper.ask(at_s=nursery.at_s, steady_s=asleep_s, leases=True, watch=True)
        assert said is not None
        assert (said["closed"], said["held"]) == (2, ["east", "west"])
        os.kill(sleeper.process, signal.SIGSTOP)
        for slot in range(1, 12):
            nursery.hear(publisher, "asleep", slot)
        nursery.pass_ms(LEASE_MS)
        nursery.at_s += 10 * 60
        # b has taken the houses, and is about to judge the minutes that were missed.
        said = nursery.nodes["b"].ask(steady_s=nursery.lease_ms / 1000, leases=True)
        assert said is not None
        assert said["held"] == ["east", "west"]
        tables = (*QUERIES, "folders")
        queries = QUERIES | {"folders": "SELECT house, folder, sequence FROM house_positions"}
        before = {what: nursery.rows(queries[what]) for what in tables}
        assert {folder for _, folder, _ in before["folders"]} == {"folder-a"}
        # It wakes, with its clock where it was: to all it knows, the houses are its own.
        os.kill(sleeper.process, signal.SIGCONT)
        said = sleeper.ask(at_s=nursery.at_s, steady_s=asleep_s, watch=True)
        assert said is not None
        assert (said["closed"], said["held"]) == (0, ["east", "west"])
        assert {what: nursery.rows(queries[what]) for what in tables} == before
        # The other goes on from there, and the sleeper writes nothing after it either.
        assert nursery.turn(box)["b"]["closed"] > 5
        before = {what: nursery.rows(queries[what]) for what in tables}
        assert {folder for _, folder, _ in before["folders"]} == {"folder-b"}
        said = sleeper.ask(at_s=nursery.at_s, steady_s=asleep_s, watch=True)
        assert said is not None
        assert said["closed"] == 0
        assert {what: nursery.rows(queries[what]) for what in tables} == before
        # Once it looks at the leases again, it stands by.
        said = sleeper.ask(at_s=nursery.at_s, steady_s=nursery.lease_ms / 1000, leases=True)
        assert said is not None
        assert said["held"] == []
        nursery.nodes["a"] = sleeper
        assert box.arrived


def test_one_stopped_in_the_midst_of_writing_holds_the_others_up_for_seconds_alone(make, publisher):
    with postbox() as (box, port):
        nursery = make("midst", port)
        nursery.begin("a")
        nursery.hear(publisher, "midst", 0)
        nursery.at_s += 155
        sleeper = nursery.nodes.pop("a")
        steady_s = nursery.lease_ms / 1000
        sleeper.ask(steady_s=steady_s, leases=True)
        nursery.begin("b")
        # The first cell's position is written, and the process stands still with all locks held.
        sleeper.tell(at_s=nursery.at_s, steady_s=steady_s, watch=True, fate=(14, signal.SIGSTOP))
        stopped = Path(f"/proc/{sleeper.process}/stat")
        for _ in range(500):
            if stopped.read_text().split()[2] == "T":
                break
            threading.Event().wait(0.01)
        with psycopg.connect(nursery.address) as db:
            held = db.execute("SELECT count(*) FROM pg_locks WHERE locktype = 'advisory'")
            assert held.fetchone() == (1,)
        nursery.pass_ms(LEASE_MS)
        said = nursery.turn(box)["b"]
        assert said is not None
        assert said.get("failed") is None
        assert (said["held"], said["closed"]) == (["east", "west"], 2)
        before = nursery.rows(QUERIES["positions"])
        os.kill(sleeper.process, signal.SIGCONT)
        said = sleeper.answer()
        assert said is not None
        assert "failed" in said  # the server had ended its transaction
        assert nursery.rows(QUERIES["positions"]) == before
        nursery.nodes["a"] = sleeper
