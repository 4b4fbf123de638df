"""The collector at a real mosquitto, through what brokers and networks do."""

from __future__ import annotations

import json
import socket
import subprocess
import threading

import paho.mqtt.client as paho
import pytest

from collector.mqtt import MqttCollector, filters_for
from collector.mqtt_link import Link, topic_of
from collector.settings import BrokerAddress, broker_address

pytestmark = pytest.mark.service

ANYBODY = BrokerAddress("127.0.0.1", 0, tls=False, user=None, password=None)


@pytest.fixture
def collect():
    """Start a collector for a Kept at a port; all are stopped in the end."""
    started: list[MqttCollector] = []

    def start(kept, port: int, url: str = "mqtt://127.0.0.1", **more: object) -> MqttCollector:
        address = broker_address(f"{url}:{port}", password=None)
        address = BrokerAddress(
            **{name: getattr(address, name) for name in BrokerAddress.__slots__} | more
        )
        collector = MqttCollector(
            address, kept.ingest, clock_ms=lambda: kept.now_ms, jitter=lambda: 0.0
        )
        collector.start()
        started.append(collector)
        return collector

    yield start
    for collector in started:
        collector.stop()


def payload(kept, number: int) -> bytes:
    said = {"ts": kept.now_ms - number, "air": {"temp": 21.5, "rh": 90}, "light": [number % 1000]}
    return json.dumps(said).encode()


def publish(port: int, messages: list[tuple[str, bytes]], qos: int = 1, **more: object) -> None:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(500)
    client.connect("127.0.0.1", port)
    client.loop_start()
    sent = [client.publish(topic, body, qos=qos, **more) for topic, body in messages]
    for each in sent:
        each.wait_for_publish(20)
        assert each.is_published()
    client.disconnect()
    client.loop_stop()


def test_messages_of_every_quality_of_service_are_kept(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    broker, kept = make_mosquitto(), make_kept(make_sensor())
    collector = collect(kept, broker.port)
    until(lambda: collector.health().connected)
    for qos in (0, 1, 2):
        publish(broker.port, [("shed/bag-07", payload(kept, qos))], qos=qos)
    until(lambda: kept.store.count() == 9)


def test_an_unknown_sensor_is_seen_and_said(make_mosquitto, make_kept, make_sensor, collect, until):
    broker, kept = make_mosquitto(), make_kept(make_sensor())
    collector = collect(kept, broker.port)
    until(lambda: collector.health().connected)
    publish(broker.port, [("shed/bag-08", payload(kept, 1)), ("shed/bag-07", b"?")])
    until(lambda: len(kept.rejects.newest(5)) == 2)
    assert kept.rejects.counts() == {"unknown topic": 1, "not JSON": 1}


def test_a_megabyte_and_odd_topics_do_no_harm(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    broker, kept = make_mosquitto(), make_kept(make_sensor(topic="schuppen/tüte 07/💧"))
    collector = collect(kept, broker.port)
    until(lambda: collector.health().connected)
    publish(
        broker.port,
        [
            ("schuppen/tüte 07/💧", b" " * 1_000_000),
            ("/", b"x"),
            ("a" * 60_000, b"x"),
            ("schuppen/tüte 07/💧", payload(kept, 1)),
        ],
    )
    until(lambda: kept.store.count() == 3)
    assert kept.rejects.counts() == {"too large": 1, "unknown topic": 2}


def test_a_late_collector_receives_what_waited(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    broker, kept = make_mosquitto(), make_kept(make_sensor())
    early = collect(kept, broker.port)
    until(lambda: early.health().connected)
    early.stop()
    publish(broker.port, [("shed/bag-07", payload(kept, number)) for number in range(3000)])
    assert kept.store.count() == 0
    collect(kept, broker.port)
    until(lambda: kept.store.count() == 9000)
    assert kept.ingest.health().messages == 3000


def test_what_waited_survives_a_restart_of_the_broker(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    broker, kept = make_mosquitto(), make_kept(make_sensor())
    collector = collect(kept, broker.port)
    until(lambda: collector.health().connected)
    publish(broker.port, [("shed/bag-07", payload(kept, 1))])
    broker.restart()
    until(lambda: collector.health().connections == 2)
    publish(broker.port, [("shed/bag-07", payload(kept, 2))])
    until(lambda: kept.store.count() == 6)


def test_no_broker_is_said_and_waited_for(make_mosquitto, make_kept, make_sensor, collect, until):
    broker, kept = make_mosquitto(), make_kept(make_sensor())
    broker.stop()
    collector = collect(kept, broker.port)
    until(lambda: "refused" in (collector.health().trouble or ""))
    assert not collector.health().connected
    broker.start()
    until(lambda: collector.health().connected)


def test_what_never_answers_is_no_broker(make_kept, make_sensor, collect, until, monkeypatch):
    monkeypatch.setattr("collector.mqtt_link.ANSWER_S", 0.3)
    kept = make_kept(make_sensor())
    with socket.create_server(("127.0.0.1", 0)) as mute:
        collector = collect(kept, mute.getsockname()[1])
        until(lambda: "no MQTT broker" in (collector.health().trouble or ""))
        collector.stop()


def test_nothing_is_acknowledged_while_the_disk_is_full(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    broker, kept = make_mosquitto(), make_kept(make_sensor())
    collector = collect(kept, broker.port)
    until(lambda: collector.health().connected)
    with kept.store.file.writing() as db:
        pages = db.execute("PRAGMA page_count").fetchone()[0]
        db.execute(f"PRAGMA max_page_count = {pages}")
    publish(broker.port, [("shed/bag-07", payload(kept, number)) for number in range(2000)])
    until(lambda: kept.ingest.health().failing_since_ms is not None)
    collector.stop()
    # The broker still holds every message: another collector with room gets all of them.
    other = make_kept(make_sensor(), path=kept.path.with_name("other.db"))
    collect(other, broker.port)
    until(lambda: other.store.count() == 6000)
    assert kept.store.count() < 6000


def test_a_disk_that_recovers_loses_nothing(
    make_mosquitto, make_kept, make_sensor, collect, until, monkeypatch
):
    broker, kept = make_mosquitto(), make_kept(make_sensor())
    collector = collect(kept, broker.port)
    until(lambda: collector.health().connected)
    with kept.store.file.writing() as db:
        db.execute("PRAGMA query_only = ON")
    publish(broker.port, [("shed/bag-07", payload(kept, number)) for number in range(1500)])
    until(lambda: kept.ingest.health().failure is not None)
    kept.store.file._writer.execute("PRAGMA query_only = OFF")
    until(lambda: kept.store.count() == 4500)


def test_stopping_while_the_store_refuses_ends_soon(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    broker, kept = make_mosquitto(), make_kept(make_sensor())
    collector = collect(kept, broker.port)
    until(lambda: collector.health().connected)
    kept.store.close()
    publish(broker.port, [("shed/bag-07", payload(kept, 1))])
    until(lambda: kept.ingest.health().failure is not None)
    stopped = threading.Thread(target=collector.stop)
    stopped.start()
    stopped.join(2)
    assert not stopped.is_alive()


def test_an_old_copy_is_refused_on_a_new_session_only(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    sensor = make_sensor(time="arrival", time_path=None)
    broker, kept = make_mosquitto(), make_kept(sensor)
    publish(broker.port, [("shed/bag-07", payload(kept, 1))], retain=True)
    collector = collect(kept, broker.port)
    until(lambda: kept.rejects.counts() == {"old copy": 1})
    broker.restart()
    until(lambda: collector.health().connections == 2)
    publish(broker.port, [("shed/bag-07", payload(kept, 2))])
    until(lambda: kept.store.count() == 3)
    assert kept.rejects.counts() == {"old copy": 1}


def test_a_user_and_a_password_are_asked_for_and_given(
    make_mosquitto, make_kept, make_sensor, collect, until, tmp_path
):
    passwords = tmp_path / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(passwords), "shed", "a secret"],
        check=True,
        capture_output=True,
    )
    broker = make_mosquitto(f"allow_anonymous false\npassword_file {passwords}\n")
    kept = make_kept(make_sensor())
    stranger = collect(kept, broker.port)
    until(lambda: "user and password" in (stranger.health().trouble or ""))
    stranger.stop()
    known = collect(kept, broker.port, "mqtt://shed@127.0.0.1", password="a secret")
    until(lambda: known.health().connected)
    assert "a secret" not in repr(known._address)


def test_a_topic_we_may_not_read_is_said(make_mosquitto, make_kept, make_sensor, collect, until):
    broker = make_mosquitto("allow_anonymous true\nacl_file /dev/null\n")
    kept = make_kept(make_sensor())
    collector = collect(kept, broker.port)
    until(lambda: collector.health().trouble is not None or collector.health().connected)
    # mosquitto grants the subscription and sends nothing: silence is for the watch to notice.
    publish(broker.port, [("shed/bag-07", payload(kept, 1))])
    assert kept.store.count() == 0


# paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
def test_messages_come_over_tls_from_a_broker_we_trust(
    make_mosquitto, make_kept, make_sensor, collect, until, tmp_path
):
    key, cert = tmp_path / "key.pem", tmp_path / "cert.pem"
    subprocess.run(
        "openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost "
        f"-addext subjectAltName=DNS:localhost -keyout {key} -out {cert}".split(),
        check=True,
        capture_output=True,
    )
    broker = make_mosquitto(f"allow_anonymous true\ncertfile {cert}\nkeyfile {key}\n")
    kept = make_kept(make_sensor())
    wary = collect(kept, broker.port, "mqtts://localhost")
    until(lambda: "certificate" in (wary.health().trouble or "").lower())
    wary.stop()
    trusting = collect(kept, broker.port, "mqtts://localhost", ca_file=cert)
    until(lambda: trusting.health().connected)
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.tls_set(ca_certs=str(cert))
    client.connect("localhost", broker.port)
    client.loop_start()
    for number in range(2500):
        last = client.publish("shed/bag-07", payload(kept, number), qos=1)
    last.wait_for_publish(20)
    client.disconnect()
    client.loop_stop()
    until(lambda: kept.store.count() == 7500)


def test_a_topic_that_is_not_utf8_is_shown_and_kills_nothing():
    message = paho.MQTTMessage(1, b"shed/\xff\xfe")
    assert topic_of(message) == "shed/\\xff\\xfe"
    link = Link(ANYBODY, paho.MQTTv5, filters=("#",), clock_ms=lambda: 5)
    message.payload, message.qos = b"x", 1
    link._client.on_message(link._client, None, message)
    assert [m.topic for m in link._burst.messages] == ["shed/\\xff\\xfe"]
    assert link._burst.unacknowledged == [1]
    link.close()


def test_paho_still_reads_and_writes_by_the_methods_we_speed_up():
    assert callable(paho.Client._sock_recv)
    assert callable(paho.Client._sock_send)
    source = (
        paho.Client._packet_read.__code__.co_names + paho.Client._packet_write.__code__.co_names
    )
    assert {"_sock_recv", "_sock_send"} <= set(source)


def test_a_topic_is_asked_for_once_only():
    assert filters_for(["a/b", "c"], ("#",)) == ("#",)
    assert filters_for(["a/b", "c", "d/e"], ("a/+", "d/#")) == ("a/+", "d/#", "c")
