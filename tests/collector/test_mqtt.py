"""The collector at a real mosquitto, through what brokers and networks do."""

from __future__ import annotations

import json
import socket
import subprocess
import threading

import paho.mqtt.client as paho
import pytest

from collector.mqtt import MqttCollector, filters_for
from collector.settings import BrokerAddress, broker_address

pytestmark = pytest.mark.service


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
    # Small bursts may still have found room; what did not is held by the broker, every message.
    full = {(r.channel, r.at_ms) for r in kept.store.since(0, 10_000)}
    assert len(full) < 6000
    other = make_kept(make_sensor(), path=kept.path.with_name("other.db"))
    collect(other, broker.port)
    until(lambda: len(full | {(r.channel, r.at_ms) for r in other.store.since(0, 10_000)}) == 6000)


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


def test_a_topic_we_may_not_read_is_said(make_kept, make_sensor, collect, until):
    """mosquitto grants such a subscription and sends nothing; other brokers refuse, as here."""
    kept = make_kept(make_sensor())
    with socket.create_server(("127.0.0.1", 0)) as listening:
        collector = collect(kept, listening.getsockname()[1])
        talking, _ = listening.accept()
        with talking:
            talking.settimeout(5)
            talking.recv(1000)
            talking.sendall(b"\x20\x03\x00\x00\x00")  # CONNACK
            talking.recv(1000)
            talking.sendall(b"\x90\x04\x00\x01\x00\x87")  # SUBACK: not authorised
            until(lambda: 'does not let us listen to "#"' in (collector.health().trouble or ""))
        assert not collector.health().connected
        collector.stop()


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


def test_a_topic_that_is_not_utf8_is_shown_and_kills_nothing(
    make_kept, make_sensor, collect, until
):
    """mosquitto refuses such publishers, so a broker of a few lines sends it."""
    kept = make_kept(make_sensor())
    with socket.create_server(("127.0.0.1", 0)) as listening:
        collect(kept, listening.getsockname()[1])
        talking, _ = listening.accept()
        with talking:
            talking.settimeout(5)
            assert talking.recv(1000)[:1] == b"\x10"
            talking.sendall(b"\x20\x03\x00\x00\x00")  # CONNACK
            assert talking.recv(1000)[:1] == b"\x82"
            talking.sendall(b"\x90\x04\x00\x01\x00\x01")  # SUBACK
            good = b"\x00\x0bshed/bag-07\x00\x08\x00" + payload(kept, 1)
            bad = b"\x00\x03a/\xff\x00\x07\x00?"
            talking.sendall(b"\x32" + bytes([len(bad)]) + bad)
            talking.sendall(b"\x32" + bytes([len(good)]) + good)
            receipts = b""
            while len(receipts) < 8:
                receipts += talking.recv(100)
            assert receipts == b"\x40\x02\x00\x07\x40\x02\x00\x08"
    assert kept.store.count() == 3
    assert [r.topic for r in kept.rejects.newest(5)] == ["a/\\xff"]


def test_a_packet_cut_short_ends_the_connection_and_not_the_collector(
    make_kept, make_sensor, collect, until
):
    kept = make_kept(make_sensor())
    with socket.create_server(("127.0.0.1", 0)) as listening:
        collector = collect(kept, listening.getsockname()[1])
        for _ in range(2):
            talking, _ = listening.accept()
            with talking:
                talking.recv(1000)
                talking.sendall(b"\x20\x03\x00\x00\x00" + b"\x32\x03\x00\xff\x00")
                talking.settimeout(5)
                while talking.recv(1000):
                    pass
        until(lambda: collector.health().trouble is not None)
        collector.stop()
    assert kept.ingest.health().messages == 0


def test_paho_still_reads_and_writes_by_the_methods_we_speed_up():
    used = {
        name
        for method in ("_packet_read", "_packet_write", "_packet_handle")
        for name in getattr(paho.Client, method).__code__.co_names
    }
    assert {"_sock_recv", "_sock_send", "_handle_publish"} <= used
    assert {"command", "packet"} <= set(paho.Client(paho.CallbackAPIVersion.VERSION2)._in_packet)


def test_a_topic_is_asked_for_once_only():
    assert filters_for(["a/b", "c"], ("#",)) == ("#",)
    assert filters_for(["a/b", "c", "d/e"], ("a/+", "d/#")) == ("a/+", "d/#", "c")
