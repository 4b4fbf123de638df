"""What a second node costs, and how long it takes to stand in for one that was killed.

Two `graftvigil run` share a real PostgreSQL and a real mosquitto on this machine; 500 probes of two
channels each in two houses publish once a minute. The baseline, in the same minutes from the same
broker, is one `graftvigil run` with its records in a file. Shown for 1,000 channels: CPU seconds of
each process a minute, those of PostgreSQL and of the broker, and bytes on disk a day.

Then each node in turn is killed with SIGKILL, again and again: how long until the leases of both
houses, and of the nursery, are the other's, and until the other has closed a cell of both since.

One file because a measurement is read from top to bottom: site, servers, nodes, figures.

Run: python tests/bench/nodes.py [--minutes 3] [--kills 4]
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import signal
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import paho.mqtt.client as mqtt
import psycopg

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).parents[2]
PROBES = 500
CHANNELS = 2 * PROBES
PAUSE = threading.Event()
TICKS = os.sysconf("SC_CLK_TCK")
PLAN = """
id = "plain"
version = 1
scion = "leafy"
cover = ["tied_bag"]
source = "made up for a measurement"
title = { en = "plain", es = "simple" }
[stage.healing]
vital = ["relative_humidity", "air_temperature"]
blind_after_min = 5
[[stage.healing.limit]]
id = "air-dry"
quantity = "relative_humidity"
side = "low"
bound = 80.0
deadband = 2.0
on_delay_min = 5
off_delay_min = 5
full_margin = 10.0
priority = "high"
says = { en = "air too dry", es = "aire demasiado seco" }
action = { en = "Mist.", es = "Rocíe." }
"""


def site() -> str:
    told = [
        'lead = "tq"',
        "[site]",
        'title = "Measured"',
        "latitude_deg = -24.0",
        "longitude_deg = 160.0",
        "elevation_m = 40.0",
        'time_zone = "Etc/GMT-11"',
        "[[person]]",
        'id = "tq"',
        'name = "T. Q."',
        'email = "tq@measured.example.invalid"',
    ]
    for house in ("east", "west"):
        told += [
            "[[house]]",
            f'id = "{house}"',
            f'title = "{house}"',
            "shade_fraction = 0.8",
            "length_m = 30",
            "width_m = 10",
            "[[bench]]",
            f'id = "b-{house}"',
            f'house = "{house}"',
            f'title = "bench {house}"',
            "x_m = 1",
            "y_m = 1",
            "length_m = 20",
            "width_m = 1",
        ]
    for number in range(PROBES):
        house = "east" if number % 2 else "west"
        told += [
            "[[sensor]]",
            f'id = "p{number}"',
            f'title = "probe {number}"',
            f'topic = "measured/{number}"',
            'time = "unix_s"',
            'time_path = "t"',
            *_channel("humidity", "relative_humidity", "%RH", "h"),
            *_channel("air", "air_temperature", "degC", "c"),
            "[[sensor.position]]",
            "since = 2026-01-01T00:00:00Z",
            f'cover_of = "MG-{number:03}"',
            "[[batch]]",
            f'code = "MG-{number:03}"',
            'species = "mango"',
            'cultivar = "late red"',
            'rootstock = "seedling"',
            'method = "cleft"',
            'scion = "leafy"',
            'wrap = "tape"',
            'cover = "tied_bag"',
            "count = 9",
            'grafter = "TQ"',
            "grafted_on = 2026-01-01",
            f'bench = "b-{house}"',
            'plan = "plain"',
            "[[batch.stage]]",
            'stage = "healing"',
            "since = 2026-01-01T00:00:00Z",
            'because = "cut"',
        ]
    return "\n".join(told)


def _channel(name: str, quantity: str, unit: str, path: str) -> list[str]:
    return [
        "[[sensor.channel]]",
        f'id = "{name}"',
        f'quantity = "{quantity}"',
        f'unit = "{unit}"',
        f'path = "{path}"',
        "stale_after_min = 3",
    ]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(what: Callable[[], bool], *, within_s: float, why: str) -> float:
    began = time.monotonic()
    while not what():
        if time.monotonic() - began > within_s:
            sys.exit(f"waited {within_s:.0f} s in vain: {why}")
        PAUSE.wait(0.1)
    return time.monotonic() - began


def listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Machine:
    """A broker, a database, and the processes that are measured; everything in one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        (folder / "plans").mkdir()
        (folder / "plans" / "plain.toml").write_text(PLAN)
        (folder / "site.toml").write_text(site())
        self.broker, self.database = free_port(), free_port()
        self._start_broker()
        self._start_database()

    def _start_broker(self) -> None:
        conf = self.folder / "mosquitto.conf"
        conf.write_text(
            f"listener {self.broker} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"
        )
        self._begin("mosquitto", ["/usr/sbin/mosquitto", "-c", str(conf)])
        wait_for(lambda: listens(self.broker), within_s=20, why="mosquitto")

    def _start_database(self) -> None:
        programs = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))[-1].parent
        data = self.folder / "database"
        data.mkdir()
        other = {}
        if os.getuid() == 0:  # it refuses to run as root
            self.folder.chmod(0o755)
            os.chown(data, 65534, 65534)
            other = {"user": 65534, "group": 65534, "extra_groups": []}
        subprocess.run(
            [programs / "initdb", "--auth=trust", "--username=grower", "-E", "UTF8", "-D", data],
            check=True,
            capture_output=True,
            cwd=data,
            **other,
        )
        command = [str(programs / "postgres"), "-D", str(data), "-p", str(self.database)]
        command += ["-c", "listen_addresses=127.0.0.1", "-c", f"unix_socket_directories={data}"]
        self._begin("postgres", command, cwd=data, **other)
        wait_for(lambda: listens(self.database), within_s=60, why="postgres")
        PAUSE.wait(2)

    def _begin(self, name: str, command: list[str], **more: object) -> None:
        with (self.folder / f"{name}.log").open("ab") as said:
            self.running[name] = subprocess.Popen(command, stdout=said, stderr=said, **more)

    @property
    def records(self) -> str:
        return f"postgresql://grower@127.0.0.1:{self.database}/postgres"

    def start(self, name: str, *, shared: bool) -> None:
        given = {
            "GRAFTVIGIL_ACCOUNTS": "off",
            "GRAFTVIGIL_TOPICS": "measured/#",
            "GRAFTVIGIL_CLIENT_ID": f"measured-{name}",
        }
        if shared:
            given |= {"GRAFTVIGIL_RECORDS_URL": self.records, "GRAFTVIGIL_NODE": name}
        command = [
            *(sys.executable, "-m", "api.cli", "run", "--json"),
            *("--site", str(self.folder / "site.toml"), "--data", str(self.folder / name)),
            *("--broker", f"mqtt://127.0.0.1:{self.broker}"),
            *("--listen", "127.0.0.1:0"),
        ]
        self._begin(name, command, cwd=ROOT, env=os.environ | given)

    def kill(self, name: str) -> None:
        self.running[name].send_signal(signal.SIGKILL)
        self.running.pop(name).wait()

    def stop(self) -> None:
        for name in reversed(list(self.running)):
            self.running[name].send_signal(signal.SIGINT if name == "postgres" else signal.SIGTERM)
            try:
                self.running[name].wait(30)
            except subprocess.TimeoutExpired:
                self.running[name].kill()

    def cpu_s(self, name: str) -> float:
        """Return the CPU seconds of a process, and of its children that live or were waited for."""
        process = self.running[name].pid
        found = 0
        for one in Path("/proc").glob("[0-9]*/stat"):
            try:
                fields = one.read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(one.parent.name) == process or int(fields[1]) == process:
                waited = fields[13:15] if int(one.parent.name) == process else ()
                found += sum(map(int, (*fields[11:13], *waited)))
        return found / TICKS

    def ask(self, query: str) -> list[tuple[object, ...]]:
        with psycopg.connect(self.records, connect_timeout=10) as db:
            return db.execute(query).fetchall()


HELD = (
    "SELECT n.name, l.house FROM house_leases l JOIN nodes n ON n.folder = l.holder"
    " WHERE l.until_ms > extract(epoch FROM clock_timestamp()) * 1000"
)


def size(folder: Path) -> int:
    """Return the bytes of what a node's files hold, without the room their journals take."""
    found = 0
    for file in folder.glob("*.sqlite"):
        with contextlib.closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as db:
            (pages,) = db.execute("PRAGMA page_count").fetchone()
            (length,) = db.execute("PRAGMA page_size").fetchone()
            found += pages * length
    return found


def publish(client: mqtt.Client, stop: threading.Event) -> None:
    while not stop.is_set():
        began = time.monotonic()
        for number in range(PROBES):
            at = int(time.time())
            told = {"t": at, "h": 92 + number % 7 / 10, "c": 26 + at % 60 / 100}
            client.publish(f"measured/{number}", json.dumps(told), qos=1)
            if number % 50 == 0 and stop.wait(1):
                return
        stop.wait(max(0.0, 60 - (time.monotonic() - began)))


def measure_cost(machine: Machine, minutes: float) -> None:
    names = ("alone", "one", "two", "postgres", "mosquitto")
    PAUSE.wait(60)  # until all have begun, and cells are being closed
    cpu = {name: machine.cpu_s(name) for name in names}
    disk = {name: size(machine.folder / name) for name in ("alone", "one", "two")}
    (before,) = machine.ask("SELECT pg_database_size('postgres')")
    began = time.monotonic()
    PAUSE.wait(60 * minutes)
    passed_min = (time.monotonic() - began) / 60
    print(f"\n{CHANNELS} channels, one reading a minute each, over {passed_min:.1f} min")
    print(f"{'process':<32}{'CPU s a minute':>16}")
    said = {
        "alone": "baseline: one, records in a file",
        "one": "node one of two",
        "two": "node two of two",
        "postgres": "PostgreSQL (for both)",
        "mosquitto": "mosquitto (for all three)",
    }
    for name in names:
        print(f"{said[name]:<32}{(machine.cpu_s(name) - cpu[name]) / passed_min:>16.2f}")
    print(f"\n{'files, before a day is packed':<32}{'MB a day':>16}", flush=True)
    for name in disk:
        grown = (size(machine.folder / name) - disk[name]) / passed_min * 1440 / 1e6
        print(f"{said[name]:<32}{grown:>16.1f}")
    (after,) = machine.ask("SELECT pg_database_size('postgres')")
    grown = (int(str(after[0])) - int(str(before[0]))) / passed_min * 1440 / 1e6
    print(f"{'PostgreSQL, before vacuum':<32}{grown:>16.1f}")
    for house, minute, length in machine.ask(
        "SELECT house, next_minute, length(state) FROM house_positions ORDER BY house"
    ):
        ago = time.time() / 60 - int(str(minute))
        print(f"state of house {house}: {length} bytes; judged to {ago:.1f} min ago")


def measure_taking_over(machine: Machine, kills: int) -> None:
    took: list[float] = []
    judged: list[float] = []
    for number in range(kills):
        killed, other = ("one", "two") if number % 2 == 0 else ("two", "one")
        wait_for(
            lambda: {str(name) for name, house in machine.ask(HELD) if house} == {"one", "two"},
            within_s=240,
            why="the houses are not shared out",
        )
        held = [house for name, house in machine.ask(HELD) if name == killed]
        at_ms = time.time() * 1000
        machine.kill(killed)
        taken = wait_for(
            lambda other=other: [name for name, _ in machine.ask(HELD)] == [other] * 3,
            within_s=60,
            why="nobody took over",
        )
        closed = wait_for(
            lambda other=other, at_ms=at_ms: (
                len(
                    machine.ask(
                        "SELECT 1 FROM house_positions p JOIN nodes n ON n.folder = p.folder "
                        f"WHERE n.name = '{other}' AND p.saved_ms > {at_ms:.0f}"
                    )
                )
                == 2
            ),
            within_s=180,
            why="no cell was closed",
        )
        took.append(taken)
        judged.append(taken + closed)
        told = ", ".join(str(house) or "the nursery" for house in held)
        print(
            f"{killed} killed (it held {told}): taken over after {taken:.1f} s, "
            f"both houses' next cells closed after {taken + closed:.1f} s",
            flush=True,
        )
        machine.start(killed, shared=True)
    print(
        f"\ntaken over: median {statistics.median(took):.1f} s, longest {max(took):.1f} s "
        f"of {kills} kills; a cell a minute is closed, so the next is at most that much later"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=3)
    parser.add_argument("--kills", type=int, default=4)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        machine = Machine(Path(name))
        stop = threading.Event()
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        client.max_inflight_messages_set(200)
        client.connect("127.0.0.1", machine.broker)
        client.loop_start()
        publishing = threading.Thread(target=publish, args=(client, stop))
        try:
            machine.start("alone", shared=False)
            machine.start("one", shared=True)
            machine.start("two", shared=True)
            publishing.start()
            measure_cost(machine, asked.minutes)
            machine.kill("alone")
            measure_taking_over(machine, asked.kills)
        finally:
            stop.set()
            if publishing.ident:
                publishing.join()
            client.loop_stop()
            machine.stop()


if __name__ == "__main__":
    main()
