"""Every broker configuration we hand out, in a real broker: who gets in, who may say what."""

from __future__ import annotations

import re
import shutil
import socket
import ssl
import subprocess
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

import paho.mqtt.client as mqtt
import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = pytest.mark.service

PASSWORDS = {"bag-01": "rime quill", "bag-02": "fen bodkin", "graftvigil": "moth ledger"}
PASSWORDS["shed-gateway"] = "tarn shuttle"
WAIT_S = 20


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def broker(conf: Path) -> Iterator[subprocess.Popen[str]]:
    """A broker that runs with a file; fails with what it says when it does not start."""
    one = subprocess.Popen(
        ["/usr/sbin/mosquitto", "-c", str(conf)], stderr=subprocess.PIPE, text=True
    )
    said = []
    rest = threading.Thread()
    try:
        for line in one.stderr:
            said.append(line)
            if "running" in line:
                break
        else:
            pytest.fail("the broker did not start: " + "".join(said))
        # What it says later must not fill the pipe.
        rest = threading.Thread(target=one.stderr.read)
        rest.start()
        yield one
    finally:
        one.terminate()
        one.wait(timeout=20)
        if rest.is_alive():
            rest.join()
        one.stderr.close()


DEBIAN = """
pid_file {folder}/mosquitto.pid
persistence true
persistence_location {folder}/
log_dest stderr
include_dir {folder}/conf.d
user root
"""
"""As Debian 12's package has it in /etc/mosquitto/mosquitto.conf, but for folders and who it is."""


def laid_out(root, folder: Path, names: list[str], ports: dict[str, int]) -> Path:
    """Put files of ours where Debian reads them; only folders and ports are the test's own."""
    (folder / "conf.d").mkdir()
    for name in names:
        text = (root / "deploy" / "mosquitto" / name).read_text()
        for was, now in ports.items():
            text = text.replace(f"{was}\n", f"listener {now} 127.0.0.1\n")
        text = re.sub(r"(?<= )/etc/mosquitto/(?:certs/)?", f"{folder}/", text)
        (folder / "conf.d" / name).write_text(text)
    said = "".join((folder / "conf.d" / name).read_text() for name in names)
    assert all(f"listener {now} 127.0.0.1" in said for now in ports.values())
    conf = folder / "mosquitto.conf"
    conf.write_text(DEBIAN.format(folder=folder))
    return conf


@pytest.fixture(scope="module")
def sensors(root, tmp_path_factory) -> Iterator[dict[str, object]]:
    """The broker for sensors on the network, with a certificate and passwords of the test's own."""
    folder = tmp_path_factory.mktemp("sensors")
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"),
            *("-nodes", "-days", "2", "-subj", "/CN=localhost"),
            *("-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"),
            *("-keyout", str(folder / "broker.key"), "-out", str(folder / "broker.crt")),
        ],
        check=True,
        capture_output=True,
    )
    given = ["-c"]
    for name, password in PASSWORDS.items():
        subprocess.run(
            ["mosquitto_passwd", "-b", *given, str(folder / "graftvigil.passwd"), name, password],
            check=True,
            capture_output=True,
        )
        given = []
    shutil.copy(root / "deploy" / "mosquitto" / "sensors.acl", folder)
    ports = {"listener 1883 127.0.0.1": free_port(), "listener 8883": free_port()}
    conf = laid_out(root, folder, ["sensors.conf"], ports)
    for private in ("broker.key", "graftvigil.passwd", "sensors.acl"):
        (folder / private).chmod(0o600)
    plain, tls = ports.values()
    with broker(conf):
        yield {"plain": plain, "tls": tls, "ca": folder / "broker.crt"}


class Client:
    """A client of the broker, as a device or as graftvigil."""

    def __init__(self, port: int, name: str | None, *, ca=None, password=None, version=mqtt.MQTTv5):
        self.got: list[tuple[str, bytes]] = []
        self.refused: object = None
        self._there, self._done = threading.Event(), threading.Event()
        self._heard, self.reasons = threading.Semaphore(0), []
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=version)
        if name is not None:
            self._client.username_pw_set(name, password or PASSWORDS[name])
        if ca is not None:
            self._client.tls_set_context(ssl.create_default_context(cafile=ca))
        self._client.on_connect = self._connected
        self._client.on_publish = self._published
        self._client.on_subscribe = self._subscribed
        self._client.on_message = self._message
        self._client.connect("localhost", port)
        self._client.loop_start()
        assert self._there.wait(WAIT_S), "the broker did not answer"

    def _connected(self, _client, _data, _flags, reason, _properties):
        self.refused = reason.getName() if reason.is_failure else None
        self._there.set()

    def _published(self, _client, _data, _mid, reason, _properties):
        self.reasons.append(reason.getName())
        self._done.set()

    def _subscribed(self, _client, _data, _mid, reasons, _properties):
        self.reasons += [one.getName() for one in reasons]
        self._done.set()

    def _message(self, _client, _data, message):
        self.got.append((message.topic, message.payload))
        self._heard.release()

    def say(self, topic: str, text: str = "21.5") -> str:
        """Publish at QoS 1 and return what the broker answered."""
        self._done.clear()
        self._client.publish(topic, text, qos=1)
        assert self._done.wait(WAIT_S), "no answer"
        return self.reasons[-1]

    def listen(self, topic: str) -> str:
        self._done.clear()
        self._client.subscribe(topic, qos=1)
        assert self._done.wait(WAIT_S), "no answer"
        return self.reasons[-1]

    def heard(self) -> bool:
        return self._heard.acquire(timeout=WAIT_S)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def join(sensors):
    """Make clients, and end them with the test."""
    made: list[Client] = []

    def make(name, *, at="tls", **given) -> Client:
        ca = sensors["ca"] if at == "tls" else None
        made.append(Client(sensors[at], name, ca=ca, **given))
        return made[-1]

    yield make
    for one in made:
        one.close()


def test_a_device_with_its_password_publishes_under_its_own_topics(join):
    ear, device = join("graftvigil", at="plain"), join("bag-01")
    assert ear.listen("#") == "Granted QoS 1"
    for topic in ("nursery/bag-01", "nursery/bag-01/temperature"):
        assert device.say(topic) == "Success"
        assert ear.heard()
    assert [topic for topic, _ in ear.got] == ["nursery/bag-01", "nursery/bag-01/temperature"]


@pytest.mark.parametrize(
    "topic", ["nursery/bag-02", "nursery/bag-01x", "nursery", "other/bag-01", "nursery/bag-02/x"]
)
def test_it_may_not_speak_for_another(join, topic):
    ear, device = join("graftvigil", at="plain"), join("bag-01")
    ear.listen("#")
    assert device.say(topic) == "Not authorized"
    assert device.say("nursery/bag-01", "after") == "Success"
    assert ear.heard()
    assert ear.got == [("nursery/bag-01", b"after")]


def test_nor_hear_what_another_says_and_graftvigil_does_not_speak_for_it(join):
    thief, device, ear = join("bag-02"), join("bag-01"), join("graftvigil", at="plain")
    # This broker grants a filter and then hands nothing on; what counts is that nothing arrives.
    thief.listen("nursery/bag-01")
    ear.listen("#")
    assert device.say("nursery/bag-01") == "Success"
    assert ear.heard()
    assert thief.got == []
    assert ear.say("nursery/bag-01") == "Not authorized"


def test_a_lamp_hears_what_graftvigil_tells_it_and_nobody_else_tells_it_anything(join):
    lamp, other, ear = join("bag-02"), join("bag-01"), join("graftvigil", at="plain")
    lamp.listen("lamps/bag-02")
    other.listen("lamps/#")
    assert ear.say("lamps/bag-02", "on") == "Success"
    assert lamp.heard()
    assert (lamp.got, other.got) == ([("lamps/bag-02", b"on")], [])
    assert other.say("lamps/bag-02", "off") == "Not authorized"
    assert lamp.say("lamps/bag-02", "off") == "Not authorized"


def test_a_gateway_speaks_for_those_it_is_named_for_and_no_others(join):
    ear, gateway = join("graftvigil", at="plain"), join("shed-gateway")
    ear.listen("#")
    assert gateway.say("nursery/bag-12") == "Success"
    assert gateway.say("nursery/bag-01") == "Not authorized"


@pytest.mark.parametrize("at", ["tls", "plain"])
def test_nobody_gets_in_with_a_wrong_password_or_without_one(join, at):
    assert join("bag-01", at=at, password="wrong").refused == "Not authorized"
    assert join(None, at=at).refused == "Not authorized"
    assert join("bag-01", at=at).refused is None


def test_without_tls_nobody_reaches_the_door_for_sensors(sensors):
    with socket.create_connection(("127.0.0.1", sensors["tls"]), timeout=WAIT_S) as line:
        line.sendall(b"\x10\x10\x00\x04MQTT\x04\x02\x00\x3c\x00\x04bare")
        line.settimeout(WAIT_S)
        try:
            answer = line.recv(64)
        except ConnectionResetError:
            answer = b""
    assert not answer.startswith(b"\x20"), "a CONNACK came back without TLS"


def test_the_certificate_is_believed_by_who_was_given_it_and_by_nobody_else(sensors):
    for trusted in (sensors["ca"], None):
        context = ssl.create_default_context(cafile=trusted)
        with socket.create_connection(("localhost", sensors["tls"]), timeout=WAIT_S) as line:
            if trusted is None:
                with pytest.raises(ssl.SSLCertVerificationError):
                    context.wrap_socket(line, server_hostname="localhost")
                continue
            with context.wrap_socket(line, server_hostname="localhost") as safe:
                assert safe.version() in {"TLSv1.2", "TLSv1.3"}


@pytest.fixture
def shared(root, tmp_path) -> Iterator[int]:
    """The broker of this machine alone, with what is added for several collectors."""
    port = free_port()
    names = ["graftvigil.conf", "shared.conf"]
    with broker(laid_out(root, tmp_path, names, {"listener 1883 127.0.0.1": port})):
        yield port


def test_a_group_shares_the_messages_and_none_comes_twice(shared):
    members = [Client(shared, None) for _ in range(2)]
    device = Client(shared, None)
    try:
        for one in members:
            assert one.listen("$share/collectors/nursery/#") == "Granted QoS 1"
        told = {f"{count}".encode() for count in range(40)}
        for text in sorted(told):
            assert device.say("nursery/bag-01", text.decode()) == "Success"
        done = threading.Event()
        for _ in range(WAIT_S * 20):
            if sum(len(one.got) for one in members) >= len(told):
                break
            done.wait(0.05)
        got = [payload for one in members for _, payload in one.got]
        assert sorted(got) == sorted(told)
        assert all(one.got for one in members)
    finally:
        for one in (*members, device):
            one.close()
