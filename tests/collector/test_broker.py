"""The built-in broker: what it acknowledges is kept, and it is a broker to others besides."""

from __future__ import annotations

import socket
import threading

import paho.mqtt.client as paho
import pytest

from collector.broker import MOST_PACKET_BYTES, BrokerCannotListen, EmbeddedBroker
from collector.mqtt import MqttCollector
from collector.settings import BrokerAddress, ListenAddress

pytestmark = pytest.mark.service


@pytest.fixture
def run_broker():
    started: list[EmbeddedBroker] = []

    def run(kept, port: int = 0) -> EmbeddedBroker:
        broker = EmbeddedBroker(
            ListenAddress("127.0.0.1", port), kept.ingest, clock_ms=lambda: kept.now_ms
        )
        broker.start()
        started.append(broker)
        return broker

    yield run
    for broker in started:
        broker.stop()


@pytest.fixture
def connect():
    clients: list[paho.Client] = []

    def make(port: int, **more: object) -> paho.Client:
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, **more)
        client.max_inflight_messages_set(500)
        client.connect("127.0.0.1", port)
        client.loop_start()
        clients.append(client)
        return client

    yield make
    for client in clients:
        client.disconnect()
        client.loop_stop()


def body(kept, number: int) -> bytes:
    return b'{"ts": %d, "light": [%d]}' % (kept.now_ms - number, number % 1000)


def test_what_is_acknowledged_is_already_kept(run_broker, connect, make_kept, make_sensor):
    kept = make_kept(make_sensor())
    client = connect(run_broker(kept).port)
    for number in range(20):
        client.publish("shed/bag-07", body(kept, number), qos=1).wait_for_publish(5)
        assert kept.store.count() == number + 1


def test_quality_of_service_two_and_zero_are_kept_too(
    run_broker, connect, make_kept, make_sensor, until
):
    kept = make_kept(make_sensor())
    client = connect(run_broker(kept).port)
    client.publish("shed/bag-07", body(kept, 1), qos=2).wait_for_publish(5)
    assert kept.store.count() == 1
    client.publish("shed/bag-07", body(kept, 2), qos=0)
    until(lambda: kept.store.count() == 2)


def test_other_subscribers_get_every_message(run_broker, connect, make_kept, make_sensor, until):
    kept = make_kept(make_sensor())
    port = run_broker(kept).port
    seen: list[bytes] = []
    listener = connect(port)
    granted = threading.Event()
    listener.on_subscribe = lambda *_: granted.set()
    listener.on_message = lambda _c, _u, message: seen.append(message.payload)
    listener.subscribe("shed/#", 1)
    assert granted.wait(5)
    client = connect(port)
    for number in range(300):
        last = client.publish("shed/bag-07", body(kept, number), qos=1)
    last.wait_for_publish(10)
    until(lambda: len(seen) == 300)
    assert kept.store.count() == 300


def test_many_messages_share_a_commit(run_broker, connect, make_kept, make_sensor):
    kept = make_kept(make_sensor())
    commits = []
    take = kept.ingest.take
    kept.ingest.take = lambda messages: commits.append(len(messages)) or take(messages)
    client = connect(run_broker(kept).port)
    for sent in [client.publish("shed/bag-07", body(kept, n), qos=1) for n in range(2000)]:
        sent.wait_for_publish(20)
    assert kept.store.count() == 2000
    assert sum(commits) == 2000
    assert len(commits) < 1000


def test_nothing_is_acknowledged_while_the_store_refuses(
    run_broker, connect, make_kept, make_sensor, until
):
    kept = make_kept(make_sensor())
    client = connect(run_broker(kept).port)
    kept.store.file._writer.execute("PRAGMA query_only = ON")
    sent = client.publish("shed/bag-07", body(kept, 1), qos=1)
    until(lambda: kept.ingest.health().failure is not None)
    assert not sent.is_published()
    kept.store.file._writer.execute("PRAGMA query_only = OFF")
    sent.wait_for_publish(10)
    assert kept.store.count() == 1


def test_stopping_while_the_store_refuses_ends_soon(
    run_broker, connect, make_kept, make_sensor, until
):
    kept = make_kept(make_sensor())
    broker = run_broker(kept)
    client = connect(broker.port)
    kept.store.close()
    client.publish("shed/bag-07", body(kept, 1), qos=1)
    until(lambda: kept.ingest.health().failure is not None)
    stopping = threading.Thread(target=broker.stop)
    stopping.start()
    stopping.join(5)
    assert not stopping.is_alive()


def test_a_port_that_is_taken_is_said_with_what_to_do(run_broker, make_kept):
    kept = make_kept()
    port = run_broker(kept).port
    with pytest.raises(BrokerCannotListen, match="GRAFTVIGIL_BUILT_IN_BROKER"):
        run_broker(kept, port)


def test_it_can_be_stopped_and_started_again(run_broker, connect, make_kept, make_sensor):
    kept = make_kept(make_sensor())
    broker = run_broker(kept)
    assert broker.health().connected
    broker.stop()
    assert not broker.health().connected
    broker.start()
    client = connect(broker.port)
    client.publish("shed/bag-07", body(kept, 1), qos=1).wait_for_publish(5)
    assert kept.store.count() == 1


@pytest.mark.parametrize(
    "sent",
    [
        b"GET / HTTP/1.1\r\n\r\n",
        b"\x00" * 50,
        b"\x10\xff\xff\xff\xff",
        b"",
        b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x3c\x00\x00" + b"\x32\xff\xff\xff\x7f",
    ],
)
def test_strangers_who_talk_nonsense_end_only_their_own_connection(
    run_broker, connect, make_kept, make_sensor, sent
):
    kept = make_kept(make_sensor())
    broker = run_broker(kept)
    with socket.create_connection(("127.0.0.1", broker.port), 5) as stranger:
        stranger.sendall(sent)
        stranger.shutdown(socket.SHUT_WR)
        stranger.settimeout(5)
        while stranger.recv(1000):
            pass
    client = connect(broker.port)
    client.publish("shed/bag-07", body(kept, 1), qos=1).wait_for_publish(5)
    assert kept.store.count() == 1
    assert MOST_PACKET_BYTES < 0x0FFFFFFF


def test_our_own_collector_speaks_to_a_broker_of_the_old_version(
    run_broker, connect, make_kept, make_sensor, tmp_path, until
):
    """It offers MQTT 5, is refused, and goes on with 3.1.1."""
    front = make_kept()
    port = run_broker(front).port
    kept = make_kept(make_sensor(), path=tmp_path / "behind.db")
    address = BrokerAddress("127.0.0.1", port, tls=False, user=None, password=None)
    collector = MqttCollector(
        address, kept.ingest, clock_ms=lambda: kept.now_ms, jitter=lambda: 0.0
    )
    collector.start()
    try:
        until(lambda: collector.health().connected)
        client = connect(port)
        client.publish("shed/bag-07", body(kept, 1), qos=1).wait_for_publish(5)
        until(lambda: kept.store.count() == 1)
    finally:
        collector.stop()


def test_the_last_will_of_a_client_that_is_cut_off_is_kept(
    run_broker, make_kept, make_sensor, until
):
    kept = make_kept(make_sensor(availability={"topic": "shed/bag-07/state"}))
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.will_set("shed/bag-07/state", b"offline", qos=1)
    client.connect("127.0.0.1", run_broker(kept).port)
    client.loop_start()
    client.publish("shed/bag-07/state", b"online", qos=1).wait_for_publish(10)
    assert kept.ingest.presence.current()["bag-07"].up
    client._sock.close()  # no goodbye
    client.loop_stop()
    until(lambda: not kept.ingest.presence.current()["bag-07"].up)
