"""Records, lamps, and a real broker: mosquitto, or the built-in one."""

from __future__ import annotations

import socket
import subprocess
import threading
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from api.alerts.buttons import Buttons, IngestWithButtons
from api.alerts.lamps import Lamps
from api.alerts.links import Links
from api.book import Book, in_force_of
from api.records.alarms import acknowledge, clear_alarm, raise_alarm
from api.records.session import open_records, writing
from api.watch.clock import TurnedClock, milliseconds
from collector.broker import EmbeddedBroker
from collector.gate import Gate
from collector.mqtt import MqttCollector
from collector.outgoing import Fate
from collector.rejects import RejectLog
from collector.settings import BrokerAddress, ListenAddress
from collector.stores.sqlite import SqliteStore
from rules.model.alarm import Priority
from rules.model.site import Site

NIGHT = datetime(2026, 11, 13, 15, 0, tzinfo=UTC)
SHED = {"id": "shed", "title": "Lamp in the shed", "topic": "yard/shed"}


class Turned:
    """A count of seconds that is turned on by hand."""

    def __init__(self) -> None:
        self.at_s = 1000.0

    def seconds(self) -> float:
        return self.at_s


class Mosquitto:
    """A real mosquitto that forgets everything when it is stopped."""

    def __init__(self, folder: Path, more: str = "") -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port: int = free.getsockname()[1]
        self.conf = folder / f"{self.port}.conf"
        self.conf.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\nuser root\n{more}"
        )
        self.process: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(
            ["/usr/sbin/mosquitto", "-c", str(self.conf)], stderr=subprocess.DEVNULL
        )

        def answers() -> bool:
            with socket.socket() as probe:
                return probe.connect_ex(("127.0.0.1", self.port)) == 0

        _until(answers)

    def stop(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None


def _until(holds, within_s: float = 8.0) -> None:
    pause = threading.Event()
    for _ in range(int(within_s / 0.01)):
        if holds():
            return
        pause.wait(0.01)
    pytest.fail(f"did not come about within {within_s} s")


class Ear:
    """A device that listens; each message with whether the broker had put it by."""

    def __init__(self, port: int, topic: str = "#") -> None:
        self.heard: list[tuple[str, str, bool]] = []
        granted = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self.client.on_subscribe = lambda *_: granted.set()
        self.client.on_message = lambda _c, _u, m: self.heard.append(
            (m.topic, m.payload.decode(), m.retain)
        )
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        self.client.subscribe(topic, 1)
        assert granted.wait(5)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


class Yard:
    """Records, a broker with the collector's connection to it, and the lamps of a site."""

    def __init__(self, folder: Path, site: Site, plans, *lamps: dict[str, object]) -> None:
        self.base, self.plans = site, plans
        self.clock, self.steady = TurnedClock(NIGHT), Turned()
        self.records = open_records(folder / "records.db")
        self.store = SqliteStore(folder / "readings.db")
        self.rejects = RejectLog(self.store.file)
        self.book = Book(in_force_of(self.site_with(lamps or (SHED,)), plans))
        buttons = Buttons(self.book, self.records, self.clock, Links(b"k" * 32), secrets={})
        self.ingest = IngestWithButtons(
            Gate(site.sensor),
            self.store,
            rejects=self.rejects,
            together=self.store.file.writing,
            clock_ms=lambda: milliseconds(self.clock),
            topic="yard/answer",
            buttons=buttons,
        )
        self.ours = True
        self.sent: list = []
        self.collector: MqttCollector | EmbeddedBroker | None = None
        self.port = 0
        self.made = ExitStack()

    def site_with(self, lamps) -> Site:
        """The small site with a second house, in which AV-09 stands, and these lamps."""
        told = self.base.model_dump(mode="json")
        told["house"].append(told["house"][0] | {"id": "h2"})
        told["bench"].append(told["bench"][0] | {"id": "b3", "house": "h2"})
        told["batch"][1]["bench"] = "b3"
        return Site.model_validate(told | {"lamp": list(lamps)})

    def listen_at(self, port: int | None) -> None:
        """Connect to a broker; None: be the broker."""
        clock_ms = lambda: milliseconds(self.clock)  # noqa: E731
        if port is None:
            self.collector = EmbeddedBroker(
                ListenAddress("127.0.0.1", 0), self.ingest, clock_ms=clock_ms
            )
            self.collector.start()
            self.port = self.collector.port
        else:
            address = BrokerAddress("127.0.0.1", port, tls=False, user=None, password=None)
            self.collector = MqttCollector(
                address, self.ingest, clock_ms=clock_ms, jitter=lambda: 0.0
            )
            self.collector.start()
            assert self.collector.wait_connected(10)
            self.port = port
        self.made.callback(self.collector.stop)
        self.lamps = self.begun()

    def begun(self) -> Lamps:
        """Lamps as a start makes them: nothing remembered."""

        def publish(topic: str, payload: bytes):
            self.sent.append(self.collector.publish(topic, payload))
            return self.sent[-1]

        return Lamps(
            self.book,
            self.records,
            self.steady,
            publish=publish,
            health=self.collector.health,
            ours=lambda: self.ours,
        )

    def listens(self, topic: str = "#") -> Ear:
        ear = Ear(self.port, topic)
        self.made.callback(ear.close)
        return ear

    def raised(self, batch: str = "MG-07", priority: Priority = Priority.HIGH, **more) -> int:
        with writing(self.records) as db:
            moved = raise_alarm(
                db,
                batch=batch,
                condition=more.pop("condition", f"dry-{priority}"),
                priority=priority,
                opened_at=NIGHT,
                since=NIGHT,
                value=60.0,
                **more,
            )
        assert moved is not None
        return moved.alarm.id

    def over(self, batch: str = "MG-07", condition: str = "dry-high") -> None:
        with writing(self.records) as db:
            clear_alarm(db, batch=batch, condition=condition, at=NIGHT)

    def taken_on(self, alarm_id: int) -> None:
        with writing(self.records) as db:
            acknowledge(db, alarm_id, by="corvin", at=NIGHT)

    def shows(self, topic: str = "yard/shed") -> str:
        """Turn, and return what the broker has put by for a lamp that comes on only now."""
        self.lamps.turn()
        _until(lambda: all(one.fate is not Fate.UNDER_WAY for one in self.sent))
        late = Ear(self.port, topic)
        try:
            _until(lambda: late.heard)
            assert late.heard[0][2] is True
            return late.heard[0][1]
        finally:
            late.close()

    def close(self) -> None:
        self.made.close()
        self.store.close()
        self.records.dispose()


@pytest.fixture
def make_yard(tmp_path, small_site, small_plans):
    made: list[Yard] = []

    def make(*lamps: dict[str, object]) -> Yard:
        made.append(Yard(tmp_path, small_site, small_plans, *lamps))
        return made[-1]

    yield make
    for one in made:
        one.close()


@pytest.fixture
def make_mosquitto(tmp_path):
    made: list[Mosquitto] = []

    def make(more: str = "") -> Mosquitto:
        made.append(Mosquitto(tmp_path, more))
        return made[-1]

    yield make
    for one in made:
        one.stop()


@pytest.fixture
def port(make_mosquitto) -> int:
    return make_mosquitto().port


@pytest.fixture(params=["mosquitto", "built-in"])
def yard(request, make_yard):
    """A yard with the lamp of the shed, over a broker of its own and over the built-in one."""
    made = make_yard()
    built_in = request.param == "built-in"
    made.listen_at(None if built_in else request.getfixturevalue("port"))
    return made


@pytest.fixture
def until():
    """Wait until something holds, and fail if it never does."""
    return _until


@pytest.fixture
def ear_at():
    """Make devices that listen at a port; they hang up with the test."""
    made: list[Ear] = []

    def listen(port: int, topic: str) -> Ear:
        made.append(Ear(port, topic))
        return made[-1]

    yield listen
    for one in made:
        one.close()
