"""A broker with TLS and a password at once, wildcard filters, and last wills."""

from __future__ import annotations

import subprocess

import paho.mqtt.client as paho
import pytest

from collector.mqtt import MqttCollector
from collector.settings import BrokerAddress, broker_address

pytestmark = pytest.mark.service


def openssl(*words: object) -> None:
    subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True)


@pytest.fixture
def authority(tmp_path):
    """A certificate authority of our own, and a key and certificate it gave to localhost."""
    ca_key, ca, key, request, cert = (
        tmp_path / name for name in ("ca.key", "ca.pem", "host.key", "host.csr", "host.pem")
    )
    openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", 2, "-subj", "/CN=Shed CA",
            "-addext", "keyUsage=critical,keyCertSign,cRLSign",
            "-keyout", ca_key, "-out", ca)  # fmt: skip
    openssl("req", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=localhost",
            "-keyout", key, "-out", request)  # fmt: skip
    names = tmp_path / "names.txt"
    names.write_text("subjectAltName=DNS:localhost\n")
    openssl("x509", "-req", "-in", request, "-CA", ca, "-CAkey", ca_key, "-CAcreateserial",
            "-days", 2, "-extfile", names, "-out", cert)  # fmt: skip
    return ca, key, cert


@pytest.fixture
def guarded(make_mosquitto, authority, tmp_path):
    """A mosquitto that asks for TLS, a user and a password."""
    ca, key, cert = authority
    passwords = tmp_path / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(passwords), "shed", "a secret"],
        check=True,
        capture_output=True,
    )
    return make_mosquitto(
        f"allow_anonymous false\npassword_file {passwords}\n"
        f"cafile {ca}\ncertfile {cert}\nkeyfile {key}\n"
    )


@pytest.fixture
def collect():
    started: list[MqttCollector] = []

    def start(kept, url: str, password: str | None = None, **more: object) -> MqttCollector:
        told = broker_address(url, password=password)
        fields = {name: getattr(told, name) for name in BrokerAddress.__slots__} | more
        collector = MqttCollector(
            BrokerAddress(**fields), kept.ingest, clock_ms=lambda: kept.now_ms, jitter=lambda: 0.0
        )
        collector.start()
        started.append(collector)
        return collector

    yield start
    for collector in started:
        collector.stop()


def device(port: int, ca=None, will: tuple[str, bytes] | None = None) -> paho.Client:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    if ca is not None:
        client.tls_set(ca_certs=str(ca))
        client.username_pw_set("shed", "a secret")
    if will is not None:
        client.will_set(*will, qos=1, retain=True)
    client.connect("localhost", port)
    client.loop_start()
    return client


def say(client: paho.Client, topic: str, payload: bytes, **more: object) -> None:
    client.publish(topic, payload, qos=1, **more).wait_for_publish(10)


# paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
def test_readings_come_with_tls_and_a_password_and_not_without(
    guarded, authority, make_kept, make_sensor, collect, until
):
    ca, _, _ = authority
    kept = make_kept(make_sensor(time="arrival", time_path=None))
    address = f"localhost:{guarded.port}"
    for url, more, trouble in (
        (f"mqtts://shed@{address}", {"password": "a secret"}, "certificate"),
        (f"mqtts://shed@{address}", {"password": "wrong", "ca_file": ca}, "user and password"),
        (f"mqtts://{address}", {"ca_file": ca}, "user and password"),
        (f"mqtt://shed@{address}", {"password": "a secret"}, ""),
    ):
        refused = collect(kept, url, **more)
        until(lambda c=refused: c.health().trouble not in (None, "not yet connected"), 20)
        assert trouble in str(refused.health().trouble)
        assert not refused.health().connected
        assert "a secret" not in str(refused.health().trouble)
        refused.stop()
    known = collect(kept, f"mqtts://shed@{address}", password="a secret", ca_file=ca)
    until(lambda: known.health().connected)
    sender = device(guarded.port, ca)
    say(sender, "shed/bag-07", b'{"air": {"temp": 21.5, "rh": 90}, "light": [3]}')
    sender.disconnect()
    sender.loop_stop()
    until(lambda: kept.store.count() == 3)


def test_narrow_filters_with_wildcards_still_hear_every_declared_topic(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    broker = make_mosquitto()
    kept = make_kept(
        make_sensor(time="arrival", time_path=None, topic="shed/a/state"),
        make_sensor(id="far", time="arrival", time_path=None, topic="yard/far"),
    )
    collector = collect(
        kept, f"mqtt://127.0.0.1:{broker.port}", topics=("shed/+/state", "shed/new/#")
    )
    until(lambda: collector.health().connected)
    sender = device(broker.port)
    body = b'{"air": {"temp": 21.5}}'
    for topic in ("elsewhere/x", "shed/b/other", "shed/b/state", "shed/new/1/2", "shed/a/state"):
        say(sender, topic, body)
    say(sender, "yard/far", body)
    sender.disconnect()
    sender.loop_stop()
    until(lambda: kept.store.count() == 2)
    assert sorted(one.topic for one in kept.rejects.newest(10)) == ["shed/b/state", "shed/new/1/2"]


def test_the_last_will_of_a_device_that_is_cut_off_is_kept(
    make_mosquitto, make_kept, make_sensor, collect, until
):
    told = {"topic": "shed/bag-07/state"}
    broker, kept = make_mosquitto(), make_kept(make_sensor(availability=told))
    sender = device(broker.port, will=("shed/bag-07/state", b"offline"))
    say(sender, "shed/bag-07/state", b"online", retain=True)
    collector = collect(kept, f"mqtt://127.0.0.1:{broker.port}")
    until(lambda: kept.ingest.presence.current().get("bag-07") is not None)
    assert kept.ingest.presence.current()["bag-07"].up  # told by the copy the broker had put by
    assert collector.health().connected
    sender._sock.close()  # no goodbye: the broker must notice by itself
    sender.loop_stop()
    until(lambda: not kept.ingest.presence.current()["bag-07"].up)
    assert kept.rejects.counts() == {}
