"""The tool tells of its own ills: broker, disk, clock and archive taken away from the real program.

Mail goes to a real mail server, the heartbeat to a real HTTP server.
"""

from __future__ import annotations

import email
import email.policy
import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import httpx
import pytest
from aiosmtpd.controller import Controller

pytestmark = [pytest.mark.kill, pytest.mark.service, pytest.mark.slow]

ROOT = Path(__file__).parents[2]
UNSHARE = ["unshare", "--map-root-user", "--mount", "--", "sh", "-c"]


@dataclass
class Postbox:
    """What arrived at a real mail server: subject, to whom, and the words."""

    port: int
    mail: list[tuple[str, str, str]] = field(default_factory=list)

    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802
        message = email.message_from_bytes(envelope.content, policy=email.policy.default)
        body = message.get_body(("plain",))
        assert body is not None
        self.mail.append((str(message["Subject"]), str(message["To"]), body.get_content()))
        return "250 kept"

    def lines(self, *parts: str) -> list[str]:
        """Return the lines that hold one of some texts: who is on duty reads their language."""
        return [line for line, _, _ in self.mail if any(part in line for part in parts)]


@pytest.fixture
def postbox() -> Iterator[Postbox]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    box = Postbox(port)
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    yield box
    controller.stop()


@dataclass
class Outside:
    """A real HTTP server that is asked for the heartbeat; `asked` are the times it was, steady."""

    port: int = 0
    asked: list[float] = field(default_factory=list)
    paths: set[str] = field(default_factory=set)


@pytest.fixture
def outside() -> Iterator[Outside]:
    seen = Outside()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            seen.asked.append(time.monotonic())
            seen.paths.add(self.path)
            self.send_response(204)
            self.end_headers()

        def log_message(self, *args: object) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    seen.port = server.server_port
    serving = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    serving.start()
    yield seen
    server.shutdown()
    server.server_close()
    serving.join()


class Program:
    """`graftvigil run` at Tern Hollow, with its pages and its log."""

    def __init__(self, tmp_path: Path, postbox: Postbox, *, broker: int, pages: int) -> None:
        self.log = tmp_path / "log"
        self.data = tmp_path / "data"
        self.url = f"http://127.0.0.1:{pages}"
        self.command = [
            *(sys.executable, "-m", "api.cli", "run", "--json"),
            *("--site", str(ROOT / "demo_data" / "site.toml"), "--data", str(self.data)),
            *("--broker", f"mqtt://127.0.0.1:{broker}"),
            *("--listen", f"127.0.0.1:{pages}"),
        ]
        self.env = os.environ | {
            "GRAFTVIGIL_MAIL_SERVER": f"smtp://127.0.0.1:{postbox.port}",
            "GRAFTVIGIL_BROKER_AWAY_S": "5",
            # At some hours a first start owes a night sheet, which is not looked for here.
            "GRAFTVIGIL_SHEET_EVENING": "",
            "GRAFTVIGIL_SHEET_MORNING": "",
        }
        self.process: subprocess.Popen[str] | None = None

    def start(self, *before: str, **env: str) -> subprocess.Popen[str]:
        with self.log.open("a", encoding="utf-8") as log:
            self.process = subprocess.Popen(
                [*before, *self.command],
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                cwd=ROOT,
                env=self.env | env,
            )
        assert self.process.stdout is not None
        assert "pages" in json.loads(self.process.stdout.readline())
        return self.process

    def end(self, *, by_kill: bool = False) -> int:
        assert self.process is not None
        assert self.process.stdout is not None
        if by_kill:
            self.process.kill()
        else:
            self.process.terminate()
        code = self.process.wait(60)
        self.process.stdout.close()
        return code

    def watch(self) -> dict[str, object]:
        return httpx.get(f"{self.url}/api/v1/watch", timeout=20).json()

    def signs(self) -> list[str]:
        return [one["tool"]["sign"] for one in self.watch()["tool"] if one["tool"]]


def until(holds: Callable[[], bool], *, within_s: float, what: str) -> None:
    pause = threading.Event()
    ends = time.monotonic() + within_s
    while time.monotonic() < ends:
        if holds():
            return
        pause.wait(0.5)
    pytest.fail(f"not within {within_s} s: {what}")


@pytest.fixture
def program(tmp_path, postbox, unused_port, mosquitto_port) -> Iterator[Program]:
    """The program at a broker that stays; it is ended whatever happens."""
    made = Program(tmp_path, postbox, broker=mosquitto_port, pages=unused_port)
    yield made
    if made.process is not None and made.process.poll() is None:
        made.end(by_kill=True)


def test_a_broker_that_stops_is_told_and_told_to_be_back(
    tmp_path, postbox, unused_port, start_mosquitto
):
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    broker = start_mosquitto(port)
    program = Program(tmp_path, postbox, broker=port, pages=unused_port)
    program.start()
    try:
        broker.kill()
        broker.wait(10)
        until(lambda: postbox.lines("no readings", "no llegan") != [], within_s=60, what="mail")
        assert "broker" in program.signs()
        broker = start_mosquitto(port)
        back = ("connected to the broker again", "otra vez hay conexión")
        until(lambda: postbox.lines(*back) != [], within_s=150, what="mail that it is back")
        assert "broker" not in program.signs()
    finally:
        program.end(by_kill=True)
        broker.kill()
        broker.wait(10)
    line, _, body = postbox.mail[0]
    assert line.startswith(
        (
            "Tern Hollow: no readings come in: no connection to the broker since ",
            "Tern Hollow: no llegan lecturas: sin conexión con el bróker desde ",
        )
    )
    assert len(line) <= 160
    assert "Start the broker" in body or "Arranque el bróker" in body
    assert "mains power" in body or "corriente" in body


def test_the_heartbeat_stops_when_the_program_is_killed(program, outside):
    program.start(
        GRAFTVIGIL_HEARTBEAT_URL=f"http://127.0.0.1:{outside.port}/beat/a-token",
        GRAFTVIGIL_HEARTBEAT_MIN="0.05",
    )
    until(lambda: len(outside.asked) >= 3, within_s=60, what="three heartbeats")
    assert program.watch()["health"]["well"] is True
    program.end(by_kill=True)
    killed_s = time.monotonic()
    threading.Event().wait(10)  # more than three heartbeats long
    assert [at for at in outside.asked if at > killed_s + 0.5] == []
    assert outside.paths == {"/beat/a-token"}
    assert "a-token" not in program.log.read_text(encoding="utf-8")


def judged(program: Program) -> bool:
    """Return whether what nobody watched is judged to its end: until then it may grow longer."""
    watch = program.watch()
    if watch["unwatched"] == [] or watch["lag_s"] >= 240:
        return False
    end, judged_to = watch["unwatched"][0]["end"], watch["judged_to"]
    return datetime.fromisoformat(judged_to) >= datetime.fromisoformat(end)


def test_a_stop_by_kill_is_told_with_its_length_and_one_that_was_asked_for_is_not(program, postbox):
    program.start()
    until(lambda: program.watch()["judged_to"] is not None, within_s=90, what="the watch to begin")
    library = sorted(Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"))
    assert library, "faketime is not installed"
    later = {"LD_PRELOAD": str(library[0]), "FAKETIME_DONT_FAKE_MONOTONIC": "1"}
    assert program.end() == 0
    program.start(**later, FAKETIME="+15m")
    until(lambda: judged(program), within_s=120, what="the quarter of an hour to be judged")
    assert [gap["why"] for gap in program.watch()["unwatched"]] == ["asked"]
    program.end(by_kill=True)
    nobody = ("nobody watched", "nadie vigiló")
    assert postbox.lines(*nobody) == []
    program.start(**later, FAKETIME="+35m")
    until(lambda: postbox.lines(*nobody) != [], within_s=120, what="word of the stop")
    assert [gap["why"] for gap in program.watch()["unwatched"]] == ["cut_off", "asked"]
    line, _, body = next(one for one in postbox.mail if one[0] in postbox.lines(*nobody))
    assert line.startswith(("Tern Hollow: nobody watched from ", "Tern Hollow: nadie vigiló de "))
    assert " min" in line
    assert "Why: graftvigil was cut off" in body or "graftvigil se cortó" in body


def test_a_clock_that_jumps_is_told_with_by_how_much(program, postbox, tmp_path):
    library = sorted(Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"))
    assert library, "faketime is not installed"
    offset = tmp_path / "offset"
    offset.write_text("+0\n", encoding="ascii")
    program.start(
        LD_PRELOAD=str(library[0]),
        FAKETIME_TIMESTAMP_FILE=str(offset),
        FAKETIME_NO_CACHE="1",
        FAKETIME_DONT_FAKE_MONOTONIC="1",
    )
    until(lambda: program.watch()["health"] is not None, within_s=60, what="a first look")
    threading.Event().wait(6)
    offset.write_text("+7200\n", encoding="ascii")
    until(lambda: "clock_jump" in program.signs(), within_s=60, what="the alarm of the jump")
    (jump,) = [one for one in program.watch()["tool"] if one["tool"]["sign"] == "clock_jump"]
    assert jump["value"] == pytest.approx(7200, abs=30)
    page = httpx.get(f"{program.url}/?lang=en", timeout=60).text
    assert "this computer&#39;s clock jumped 2 h forward, or it slept" in page


def test_a_disk_that_fills_is_told_while_mail_can_still_be_kept(
    tmp_path, postbox, unused_port, mosquitto_port
):
    """The data folder lies on a disk of 200 MB, in which a filler leaves 40."""
    program = Program(tmp_path, postbox, broker=mosquitto_port, pages=unused_port)
    program.data.mkdir()
    script = (
        'data="$1"; shift; mount -t tmpfs -o size=200m none "$data" && '
        'head -c 160m /dev/zero >"$data/filler" && exec "$@"'
    )
    program.start(*UNSHARE, script, "sh", str(program.data))
    try:
        disk = ("the disk is about", "el disco está")
        until(lambda: postbox.lines(*disk) != [], within_s=120, what="mail about the disk")
        assert "disk_out" in program.signs()
        assert program.watch()["health"]["disk_free_bytes"] < 50_000_000
    finally:
        program.end(by_kill=True)
    for line in postbox.lines(*disk):
        assert line.startswith("Tern Hollow: ")
        assert " MB" in line


def test_an_archive_that_stops_shows_in_the_health_and_takes_nothing_else_with_it(
    program, make_influx_server
):
    server = make_influx_server()
    server.make_bucket("graftvigil")
    program.start(GRAFTVIGIL_STORE="influx", GRAFTVIGIL_INFLUX_URL=server.url)

    def archive() -> object:
        health = program.watch()["health"]
        return None if health is None else health["archive"]

    until(lambda: archive() == "", within_s=60, what="an archive in good health")
    server.kill()
    answer = httpx.post(
        f"{program.url}/api/v1/readings/tern-hollow/bag-07",
        json={"t": int(time.time()), "temperature": 22.0, "humidity": 95.0},
        timeout=20,
    )
    assert answer.json()["kept"] == 2, answer.text
    until(lambda: archive() not in {"", None}, within_s=90, what="word that the archive is away")
    assert program.watch()["health"]["well"] is True
