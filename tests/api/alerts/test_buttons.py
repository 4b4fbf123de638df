"""A button or a gateway answers over a real broker; what proves nothing changes nothing."""

from __future__ import annotations

import json
import threading

import numpy as np
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from pydantic import SecretStr

from api.alerts.buttons import (
    FRESH_S,
    Buttons,
    IngestWithButtons,
    SecretTooShort,
    proof_of,
    secrets_in,
)
from api.alerts.links import Links
from api.records.alarms import alarm, clear_alarm, raise_alarm, standing_alarms
from api.records.courses import raised_by
from api.records.observations import entered
from api.records.session import writing
from api.watch.clock import milliseconds
from collector.gate import Gate, Message
from collector.mqtt import MqttCollector
from collector.rejects import RejectLog
from collector.settings import BrokerAddress
from rules.model.alarm import AlarmState

DRY = 71.0
TOPIC = "small/answer"
SECRET = SecretStr("sixteen letters, or more")
LINKS = Links(b"k" * 32)


@pytest.fixture
def dry(nursery):
    """A nursery with one alarm that waits."""
    nursery.pass_minutes(0, [DRY] * 4)
    return nursery


@pytest.fixture
def buttons(dry):
    return Buttons(dry.book, dry.records, dry.clock, LINKS, secrets={"corvin": SECRET})


def code_of(nursery) -> str:
    with nursery.db() as db:
        (one,) = standing_alarms(db)
        return LINKS.code(one.id, raised_by(db, (one.id,))[one.id])


def answer(nursery, *, secret: SecretStr = SECRET, **changes: object) -> bytes:
    said = {"code": code_of(nursery), "by": "corvin", "answer": "going"}
    said["at"] = int(nursery.clock.now().timestamp())
    said |= changes
    proof = {k: said[k] for k in ("code", "by", "answer", "at")}
    return json.dumps({"proof": proof_of(secret, **proof)} | said).encode()


def state(nursery) -> AlarmState:
    with nursery.db() as db:
        return alarm(db, 1).state


def test_a_proven_answer_acknowledges_and_is_written_down_once(dry, buttons):
    for _ in range(2):
        buttons.take(Message(TOPIC, answer(dry), 0))
    with dry.db() as db:
        one = alarm(db, 1)
        notes = [(kept.observation.by, kept.observation.note) for kept in entered(db)]
    assert (one.state, one.acknowledged_by) == (AlarmState.ACKNOWLEDGED, "corvin")
    assert notes == [("corvin", "I'm going")]


@pytest.mark.parametrize(
    "changes",
    [
        {"secret": SecretStr("another secret, as long")},
        {"by": "isaura"},
        {"by": "nobody"},
        {"answer": "done"},
        {"proof": "00"},
        {"proof": "ñ" * 64},
        {"code": "1-aaaa"},
        {"code": "99-aaaa"},
        {"code": "1"},
        {"more": 1},
        {"at": "now"},
    ],
)
def test_what_proves_nothing_changes_nothing(dry, buttons, changes, caplog):
    buttons.take(Message(TOPIC, answer(dry, **changes), 0))
    assert state(dry) is AlarmState.UNACKNOWLEDGED
    assert "button_refused" in caplog.text
    assert SECRET.get_secret_value() not in caplog.text


@pytest.mark.parametrize("payload", [b"", b"\xff\x00", b"[]", b"{", b"9" * 2000, b'"x"'])
def test_nothing_that_is_published_stops_it(dry, buttons, payload):
    buttons.take(Message(TOPIC, payload, 0))
    assert state(dry) is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize(("away_s", "taken"), [(FRESH_S, True), (FRESH_S + 1, False)])
@pytest.mark.parametrize("sign", [1, -1])
def test_an_answer_holds_for_some_minutes_only(dry, buttons, away_s, taken, sign):
    at = int(dry.clock.now().timestamp()) + sign * away_s
    buttons.take(Message(TOPIC, answer(dry, at=at), 0))
    assert (state(dry) is AlarmState.ACKNOWLEDGED) is taken


def test_what_the_broker_had_put_by_is_not_taken(dry, buttons):
    buttons.take(Message(TOPIC, answer(dry), 0, retained=True))
    assert state(dry) is AlarmState.UNACKNOWLEDGED


def test_an_answer_to_an_earlier_opening_is_not_taken(dry, buttons):
    old = answer(dry)
    with writing(dry.records) as db:
        clear_alarm(db, batch="MG-07", condition="air-dry", at=dry.clock.now())
    dry.watch.turn()
    with writing(dry.records) as db:
        again = raise_alarm(
            db,
            batch="MG-07",
            condition="air-dry",
            priority=alarm(db, 1).priority,
            opened_at=dry.clock.now(),
            since=dry.clock.now(),
            value=DRY,
        )
        assert again is not None
    buttons.take(Message(TOPIC, old, 0))
    assert state(dry) is AlarmState.UNACKNOWLEDGED
    buttons.take(Message(TOPIC, answer(dry), 0))
    assert state(dry) is AlarmState.ACKNOWLEDGED


def test_secrets_come_from_the_environment_or_a_file_and_must_be_long(small_site, tmp_path):
    file = tmp_path / "secret"
    file.write_text("from a file, and long enough\n")
    there = {
        "GRAFTVIGIL_ANSWER_CORVIN": "from the environment",
        "GRAFTVIGIL_ANSWER_ISAURA_FILE": str(file),
    }
    found = secrets_in(there, small_site)
    assert {name: one.get_secret_value() for name, one in found.items()} == {
        "corvin": "from the environment",
        "isaura": "from a file, and long enough",
    }
    with pytest.raises(SecretTooShort, match="GRAFTVIGIL_ANSWER_CORVIN") as told:
        secrets_in({"GRAFTVIGIL_ANSWER_CORVIN": "short"}, small_site)
    assert "short." not in str(told.value).replace("shorter", "")


@pytest.mark.service
def test_over_a_real_broker_answers_and_readings_go_each_their_way(dry, buttons, broker_port):
    rejects = RejectLog(dry.store.file)
    ingest = IngestWithButtons(
        Gate(dry.site.sensor),
        dry.store,
        rejects=rejects,
        together=dry.store.file.writing,
        clock_ms=lambda: milliseconds(dry.clock),
        topic=TOPIC,
        buttons=buttons,
    )
    address = BrokerAddress(
        "127.0.0.1", broker_port, tls=False, user=None, password=None, topics=("#",)
    )
    collector = MqttCollector(
        address, ingest, clock_ms=lambda: milliseconds(dry.clock), jitter=lambda: 0.5
    )
    before = dry.store.count()
    collector.start()
    assert collector.wait_connected(10)
    button = mqtt.Client(CallbackAPIVersion.VERSION2)
    button.connect("127.0.0.1", broker_port)
    button.loop_start()
    pause = threading.Event()
    try:
        reading = json.dumps({"h": 95.0, "t": 25.0}).encode()
        for topic, payload in (("small/bag-7", reading), (TOPIC, answer(dry)), (TOPIC, b"junk")):
            button.publish(topic, payload, qos=1).wait_for_publish(10)
        for _ in range(200):
            if state(dry) is AlarmState.ACKNOWLEDGED and dry.store.count() == before + 2:
                break
            pause.wait(0.05)
    finally:
        button.disconnect()
        button.loop_stop()
        collector.stop()
    assert state(dry) is AlarmState.ACKNOWLEDGED
    assert dry.store.count() == before + 2
    assert list(rejects.newest(9)) == []


def mutilated(sent: bytes, rng: np.random.Generator) -> bytes:
    torn = bytearray(sent)
    for _ in range(rng.integers(1, 5)):
        at = int(rng.integers(len(torn)))
        match rng.integers(3):
            case 0:
                torn[at] = int(rng.integers(256))
            case 1:
                del torn[at : at + int(rng.integers(1, 30))]
            case 2:
                torn[at:at] = rng.bytes(int(rng.integers(1, 30)))
        torn = torn or bytearray(b"0")
    return bytes(torn)


def test_no_mutilated_answer_raises_or_is_taken(dry, buttons):
    rng, whole = np.random.default_rng(7), answer(dry)
    said = json.loads(whole)
    odd = [b"", b"null", b"[]", b"{" * 5000, b'{"at": 1e999}', b"\xff" * 300, b"9" * 100_000]
    odd += [
        json.dumps(said | {"at": 10**30}).encode(),
        json.dumps(said | {"code": "9" * 5000}).encode(),
    ]
    for payload in (*odd, *(mutilated(whole, rng) for _ in range(300))):
        try:
            same = json.loads(payload) == said
        except (ValueError, RecursionError):
            same = False
        if not same:
            buttons.take(Message(TOPIC, payload, 0))
    assert state(dry) is AlarmState.UNACKNOWLEDGED
    buttons.take(Message(TOPIC, whole, 0))
    assert state(dry) is AlarmState.ACKNOWLEDGED
