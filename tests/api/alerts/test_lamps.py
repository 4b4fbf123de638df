"""A lamp on a real broker: lit while something waits for a person, and dark as soon as not."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import threading
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import httpx
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from api.alerts.buttons import Buttons, IngestWithButtons
from api.alerts.lamps import REPEAT_S, RETRY_S, Lamps
from api.alerts.links import LASTS, Link, Links
from api.assemble import assemble
from api.book import Book, in_force_of
from api.cli.main import main
from api.records.alarms import acknowledge, alarm, clear_alarm, raise_alarm
from api.records.courses import raised_by
from api.records.guarded import NO_BATCH, condition_of
from api.records.holds import let_go, shelve, take_out
from api.records.particulars import Particulars
from api.records.session import open_records, reading, writing
from api.settings import load_settings
from api.watch.clock import TurnedClock, milliseconds
from collector.broker import EmbeddedBroker
from collector.gate import Gate
from collector.mqtt import MqttCollector
from collector.outgoing import Fate
from collector.rejects import RejectLog
from collector.settings import BrokerAddress, ListenAddress
from collector.stores.sqlite import SqliteStore
from rules.model.alarm import Cue, Priority
from rules.model.site import Site

pytestmark = pytest.mark.service

NIGHT = datetime(2026, 11, 13, 15, 0, tzinfo=UTC)
DEMO = Path(__file__).parents[3] / "demo_data"
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

        until(answers)

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None


def until(holds, within_s: float = 8.0) -> None:
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
        until(lambda: all(one.fate is not Fate.UNDER_WAY for one in self.sent))
        late = Ear(self.port, topic)
        try:
            until(lambda: late.heard)
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


def test_it_is_lit_by_danger_and_dark_once_somebody_has_taken_it_on(yard):
    device = yard.listens("yard/shed")
    assert yard.shows() == "off"
    one = yard.raised()
    assert yard.shows() == "on"
    yard.taken_on(one)
    assert yard.shows() == "off"
    until(lambda: len(device.heard) == 3)
    # Whoever listens all the time hears each change once, and as it happens.
    assert device.heard == [("yard/shed", said, False) for said in ("off", "on", "off")]


def test_what_is_said_to_lamps_is_no_reading_and_no_device(yard):
    """Where we listen to everything it comes back to us."""
    ear = yard.listens()
    yard.raised()
    assert yard.shows() == "on"
    ear.client.publish("yard/thermometer", b'{"t": 21}', qos=1).wait_for_publish(5)
    until(yard.ingest.waiting.listed)
    assert {one.topic for one in yard.ingest.waiting.listed()} == {"yard/thermometer"}
    assert yard.ingest.health().readings == 0


def test_once_over_it_is_dark_or_waits_for_someone_if_the_lamp_latches(make_yard, port):
    yard = make_yard(SHED, SHED | {"id": "stays", "topic": "yard/stays", "latch": True})
    yard.listen_at(port)
    one = yard.raised()
    assert (yard.shows(), yard.shows("yard/stays")) == ("on", "on")
    yard.over()
    assert (yard.shows(), yard.shows("yard/stays")) == ("off", "on")
    yard.taken_on(one)
    assert yard.shows("yard/stays") == "off"
    yard.raised(condition="rings", latch=False)
    yard.over(condition="rings")  # an alarm that does not latch waits for nobody
    assert (yard.shows(), yard.shows("yard/stays")) == ("off", "off")


def test_it_stays_lit_when_one_of_two_is_taken_on(make_yard, port):
    yard = make_yard()
    yard.listen_at(port)
    first, second = yard.raised("MG-07"), yard.raised("AV-09")
    yard.taken_on(first)
    assert yard.shows() == "on"
    yard.taken_on(second)
    assert yard.shows() == "off"


def test_each_is_lit_by_its_houses_and_its_priorities_alone(make_yard, port):
    asked = {
        "one": {"houses": ["h1"]},
        "two": {"houses": ["h2"], "on": '{"state": "ON"}', "off": '{"state": "OFF"}'},
        "all": {},
        "medium": {"priority": "medium"},
        "low": {"priority": "low"},
    }
    yard = make_yard(*(SHED | {"id": n, "topic": f"yard/{n}"} | more for n, more in asked.items()))
    yard.listen_at(port)

    def lit() -> set[str]:
        return {name for name in asked if "on" in yard.shows(f"yard/{name}").lower()}

    low = yard.raised("AV-09", Priority.LOW)
    assert lit() == {"low"}
    medium = yard.raised("AV-09", Priority.MEDIUM)
    assert lit() == {"low", "medium"}
    assert yard.shows("yard/two") == '{"state": "OFF"}'
    high = yard.raised("AV-09")
    assert lit() == {"low", "medium", "all", "two"}
    assert yard.shows("yard/two") == '{"state": "ON"}'
    for one in (low, medium, high):
        yard.taken_on(one)
    assert lit() == set()


def test_what_tells_nobody_lights_nothing(make_yard, port):
    """Shelved, out of service, and held back by design while work is in hand."""
    yard = make_yard(SHED | {"latch": True})
    yard.listen_at(port)
    shelved, out = yard.raised("MG-07"), yard.raised("AV-09")
    held = yard.raised("MG-07", condition="open", suppressed="cover_open")
    with writing(yard.records) as db:
        take_out(db, out, by="corvin", at=NIGHT, why="probe is wrong")
        shelve(db, shelved, by="corvin", at=NIGHT, until=NIGHT.replace(minute=30), why="known")
    assert yard.shows() == "off"
    yard.over("MG-07", "open")
    yard.raised("MG-07", condition="open")  # raised again while it is held
    assert yard.shows() == "off"
    with writing(yard.records) as db:
        let_go(db, alarm(db, shelved), Cue.UNSHELVED, by="corvin", at=NIGHT)
    assert yard.shows() == "on"
    assert held != shelved


def test_alarms_of_the_tool_light_the_houses_that_they_leave_unseen(make_yard, port):
    two = [SHED | {"id": h, "topic": f"yard/{h}", "houses": [h]} for h in ("h1", "h2")]
    yard = make_yard(*two)
    yard.listen_at(port)
    unseen = Particulars(batches=("AV-09",))
    one = yard.raised(NO_BATCH, condition=condition_of("hub.h2"), particulars=unseen)
    assert [yard.shows(f"yard/{h}") for h in ("h1", "h2")] == ["off", "on"]
    yard.taken_on(one)
    assert [yard.shows(f"yard/{h}") for h in ("h1", "h2")] == ["off", "off"]
    # A full disk stands in no house and concerns all; so may a batch that is no longer there.
    disk = yard.raised(NO_BATCH, condition=condition_of("disk_out"))
    assert [yard.shows(f"yard/{h}") for h in ("h1", "h2")] == ["on", "on"]
    yard.taken_on(disk)
    yard.raised("GONE-1")
    assert [yard.shows(f"yard/{h}") for h in ("h1", "h2")] == ["on", "on"]


def test_it_is_told_once_then_every_two_minutes_and_at_once_after_a_start(yard):
    device = yard.listens("yard/shed")
    yard.raised()
    assert yard.shows() == "on"
    for _ in range(3):
        assert yard.lamps.turn() == 0
    yard.steady.at_s += REPEAT_S - 1
    assert yard.lamps.turn() == 0
    yard.steady.at_s += 1
    assert yard.lamps.turn() == 1
    until(lambda: len(device.heard) == 2)
    yard.lamps = yard.begun()  # another process, over the same records
    assert [yard.lamps.turn() for _ in range(3)] == [1, 0, 0]
    until(lambda: len(device.heard) == 3)
    assert {said for _, said, _ in device.heard} == {"on"}


def test_a_broker_that_goes_and_comes_back_is_told_what_holds_by_then(
    make_yard, make_mosquitto, caplog
):
    broker, yard = make_mosquitto(), make_yard()
    caplog.set_level("INFO")
    yard.listen_at(broker.port)
    assert yard.shows() == "off"
    broker.stop()
    until(lambda: not yard.collector.health().connected)
    one = yard.raised()
    for _ in range(5):
        yard.lamps.turn()  # goes on, and keeps nothing for later
        yard.steady.at_s += RETRY_S
    yard.taken_on(one)
    yard.raised("AV-09")
    yard.lamps.turn()
    assert caplog.text.count("lamp_not_told topic=yard/shed") == 1
    broker.start()
    until(lambda: yard.collector.health().connected)
    assert yard.shows() == "on"
    yard.lamps.turn()
    assert caplog.text.count("lamp_told_again topic=yard/shed") == 1
    # It had forgotten; what is unchanged is told to it all the same, without waiting for a repeat.
    broker.stop()
    until(lambda: not yard.collector.health().connected)
    broker.start()
    until(lambda: yard.collector.health().connected)
    assert yard.shows() == "on"


def test_a_broker_that_lets_us_not_write_is_told_with_what_to_do(
    make_yard, make_mosquitto, tmp_path, caplog
):
    (tmp_path / "acl").write_text("topic read #\n")
    yard = make_yard()
    yard.listen_at(make_mosquitto(f"acl_file {tmp_path / 'acl'}\n").port)
    yard.lamps.turn()
    until(lambda: yard.sent[0].fate is Fate.LOST)
    yard.lamps.turn()
    assert "lamp_not_told topic=yard/shed" in caplog.text
    assert "Let our user write" in caplog.text
    assert yard.collector.health().connections == 1


def test_a_broker_that_keeps_nothing_for_others_is_told_all_the_same(make_yard, make_mosquitto):
    """One that retains nothing hangs up on whoever asks it to (MQTT 5.0, 3.2.2.3.5)."""
    yard = make_yard()
    yard.listen_at(make_mosquitto("retain_available false\n").port)
    device = yard.listens("yard/shed")
    yard.raised()
    yard.lamps.turn()
    until(lambda: device.heard)
    assert device.heard == [("yard/shed", "on", False)]
    assert yard.collector.health().connections == 1


def test_of_several_nodes_the_others_say_nothing_and_who_takes_over_says_the_truth(make_yard, port):
    yard = make_yard()
    yard.listen_at(port)
    assert yard.shows() == "off"
    yard.ours = False
    yard.raised()
    assert yard.lamps.turn() == 0
    assert yard.shows() == "off"
    yard.ours = True
    assert yard.shows() == "on"


def test_a_lamp_that_leaves_the_site_file_is_not_left_lit(make_yard, port):
    yard = make_yard()
    yard.listen_at(port)
    yard.raised()
    assert yard.shows() == "on"
    moved = yard.site_with([SHED | {"topic": "yard/house"}])
    yard.book.put(in_force_of(moved, yard.plans))
    assert (yard.shows("yard/house"), yard.shows()) == ("on", "off")
    yard.lamps.turn()
    sent = len(yard.sent)
    yard.steady.at_s += REPEAT_S
    yard.lamps.turn()
    assert [one.topic for one in yard.sent[sent:]] == ["yard/house"]  # the old one is forgotten


def test_a_turn_that_fails_is_tried_again(make_yard, port, caplog):
    yard = make_yard()
    yard.listen_at(port)
    yard.raised()
    engine, lamps, stop = yard.records, yard.begun(), threading.Event()
    lamps._records = open_records(engine.url.database and Path(f"{engine.url.database}.other"))
    with writing(lamps._records) as db:
        db.exec_driver_sql("ALTER TABLE alarms RENAME TO elsewhere")
    thread = threading.Thread(target=lamps.run, args=(stop,))
    thread.start()
    try:
        until(lambda: "lamps_failed failures=1" in caplog.text)
        assert yard.sent == []  # nothing is said of what can't be known
        lamps._records.dispose()
        lamps._records = engine
        until(lambda: any(one.fate is Fate.ACCEPTED for one in yard.sent))
        assert yard.sent[0].payload == b"on"
    finally:
        stop.set()
        thread.join(5)


@pytest.fixture
def demo(tmp_path):
    """Tern Hollow as it is put together, with a lamp, over the built-in broker."""
    site = tmp_path / "site.toml"
    lamp = "\n".join(f'{name} = "{value}"' for name, value in SHED.items())
    site.write_text((DEMO / "site.toml").read_text() + f"\n[[lamp]]\n{lamp}\n")
    given = {
        "site": site,
        "plans": DEMO / "plans",
        "data": tmp_path / "data",
        "listen": "127.0.0.1:0",
        "built_in_broker": "127.0.0.1:0",
    }
    made = assemble(
        load_settings(os.environ, given), TurnedClock(NIGHT), notice=None, first_minute=None
    )
    made.start(turned_by_hand=False)
    yield made
    made.stop()


def test_the_whole_program_lights_it_and_the_link_in_a_message_puts_it_out(demo, serving):
    ear = Ear(demo.built_in_broker[1], SHED["topic"])
    parts = demo.parts
    try:
        until(lambda: [said for _, said, _ in ear.heard] == ["off"])
        with writing(parts.records) as db:
            moved = raise_alarm(
                db,
                batch="MG-07",
                condition="air-dry-danger",
                priority=Priority.HIGH,
                opened_at=NIGHT,
                since=NIGHT,
                value=60.0,
            )
        until(lambda: ear.heard[-1][1] == "on")
        with reading(parts.records) as db:
            change_id = raised_by(db, (moved.alarm.id,))[moved.alarm.id]
        link = Link(moved.alarm.id, change_id, "tobin", parts.clock.now() + LASTS)
        with serving(parts) as address:
            answer = f"{address}/answer/{parts.links.token(link)}"
            assert httpx.post(answer, data={"answer": "going"}).status_code == 303
            until(lambda: ear.heard[-1][1] == "off")
    finally:
        ear.close()


@pytest.fixture
def site_file(tmp_path, port, monkeypatch):
    good = Path(__file__).parents[2] / "faulty" / "good" / "site.toml"
    file = tmp_path / "site.toml"
    shutil.copy(good, file)
    lamp = "\n".join(f'{name} = "{value}"' for name, value in SHED.items())
    file.write_text(f"{file.read_text()}\n[[lamp]]\n{lamp}\n")
    monkeypatch.setenv("GRAFTVIGIL_BROKER", f"mqtt://127.0.0.1:{port}")
    return file


@pytest.mark.parametrize("truth", ["off", "on"])
def test_a_trial_lights_it_and_then_tells_it_the_truth_again(
    make_yard, port, site_file, capsys, truth
):
    yard = make_yard()
    yard.listen_at(port)
    if truth == "on":
        yard.raised()
    assert yard.shows() == truth
    device = yard.listens("yard/shed")
    until(lambda: device.heard)
    asked = ["reach", "--site", str(site_file), "--light", "shed", "--seconds", "1"]
    assert main(asked) == 0
    assert "shed: told on" in capsys.readouterr().out
    until(lambda: len(device.heard) == 3)
    assert [said for _, said, _ in device.heard] == [truth, "on", truth]
    assert yard.shows() == truth  # what the broker has put by was never touched


def test_a_trial_that_reaches_no_lamp_says_why(
    site_file, capsys, monkeypatch, tmp_path, make_mosquitto
):
    asked = ["reach", "--site", str(site_file), "--light"]
    (tmp_path / "acl").write_text("topic read #\n")
    deaf = make_mosquitto(f"acl_file {tmp_path / 'acl'}\n")
    monkeypatch.setenv("GRAFTVIGIL_BROKER", f"mqtt://127.0.0.1:{deaf.port}")
    monkeypatch.setattr("collector.lamp_trial.ANSWER_S", 0.5)
    assert main([*asked, "shed", "--json"]) == 1
    assert "Let our user write" in json.loads(capsys.readouterr().out)["error"]
    deaf.stop()
    assert main([*asked, "shed"]) == 1
    assert f"no broker answers at 127.0.0.1:{deaf.port}" in capsys.readouterr().out
    assert main([*asked, "house"]) == 2
    assert 'no lamp "house". Known are shed' in capsys.readouterr().err
    assert main([*asked, "shed", "--seconds", "0"]) == 2
    assert "--seconds: is 0" in capsys.readouterr().err
