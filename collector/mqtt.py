"""Messages from an MQTT broker: read in bursts, kept, and only then acknowledged, in order."""

from __future__ import annotations

import logging
import ssl
import threading
from dataclasses import replace
from enum import IntEnum
from typing import TYPE_CHECKING

from paho.mqtt.client import MQTTv5, MQTTv311, topic_matches_sub

from collector.health import BrokerHealth
from collector.mqtt_link import Link, LinkLost, ProtocolRefused
from collector.outgoing import Outgoing, OutTray
from collector.stores.base import StoreFailure

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from collector.gate import Message
    from collector.ingest import Ingest
    from collector.settings import BrokerAddress

log = logging.getLogger(__name__)

_FIRST_WAIT_S = 0.5
_LONGEST_WAIT_S = 30.0


class _Certificate(IntEnum):
    """What OpenSSL calls a certificate that does not hold (X509_V_ERR_…)."""

    EXPIRED = 10
    OTHER_NAME = 62
    OTHER_ADDRESS = 64


class MqttCollector:
    """Listens at a broker from a thread of its own, through outages of broker, network and disk.

    `jitter` gives a number from 0 to 1, so that many collectors do not all come back at once.
    """

    def __init__(
        self,
        address: BrokerAddress,
        ingest: Ingest,
        *,
        clock_ms: Callable[[], int],
        jitter: Callable[[], float],
    ) -> None:
        self._address = address
        self._ingest = ingest
        self._clock_ms = clock_ms
        self._jitter = jitter
        self._filters = filters_for(ingest.gate.topics, address.topics)
        self._protocol = MQTTv5
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._health = BrokerHealth(connected=False, connections=0, trouble="not yet connected")
        self._in_hand = (0, 0)
        self._once_connected = threading.Event()
        self._tray = OutTray()

    def start(self) -> None:
        """Begin to listen; returns at once, and keeps trying until stopped."""
        self._stop.clear()
        self._thread = threading.Thread(target=self._run, name="mqtt-collector", daemon=True)
        self._thread.start()

    def wait_connected(self, timeout_s: float) -> bool:
        """Wait for the first connection; return whether there was one within `timeout_s`.

        From then on the broker keeps for us whatever we have not acknowledged.
        """
        return self._once_connected.wait(timeout_s)

    def stop(self) -> None:
        """Finish the burst in hand, say goodbye to the broker, and return.

        The broker keeps what arrives from now on for our next start.
        """
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def publish(self, topic: str, payload: bytes) -> Outgoing:
        """Publish a retained message, over the connection that we listen on; returns at once."""
        one = Outgoing(topic, payload)
        if self._health.connected:
            self._tray.put(one)
        else:
            one.lose("the broker is away")
        return one

    def health(self) -> BrokerHealth:
        """Return whether messages can reach us, and if not, why; and what is in hand."""
        waiting, waiting_bytes = self._in_hand
        if self._has_died():
            died = "the collector has died. Start graftvigil again"
            gone = replace(self._health, connected=False, trouble=died)
            return replace(gone, waiting=waiting, waiting_bytes=waiting_bytes)
        return replace(self._health, waiting=waiting, waiting_bytes=waiting_bytes)

    def _has_died(self) -> bool:
        begun = self._thread is not None and self._thread.ident is not None
        return begun and self._thread is not None and not self._thread.is_alive()

    @property
    def thread(self) -> threading.Thread | None:
        """What listens; None before the start and after the stop."""
        return self._thread

    def _run(self) -> None:
        wait_s = _FIRST_WAIT_S
        while not self._stop.is_set():
            before = self._health.connections
            try:
                self._listen()
            except ProtocolRefused:
                log.info("mqtt-downgrade host=%s to=3.1.1", self._address.host)
                self._protocol = MQTTv311
                continue
            except (LinkLost, OSError) as err:
                self._note_trouble(why_lost(err))
                if self._health.connections == before:
                    self._protocol = MQTTv5  # what looked like an old broker may be a new one
            if self._health.connections > before:
                wait_s = _FIRST_WAIT_S
            self._stop.wait(wait_s * (0.5 + self._jitter() / 2))
            wait_s = min(wait_s * 2, _LONGEST_WAIT_S)

    def _listen(self) -> None:
        """Serve one connection until it is lost or we are stopped.

        A connection has a link of its own: what is left of an old one can acknowledge nothing on
        the next, where the same packet identifiers name other messages.
        """
        self._tray.lose_all("the broker is away")  # what is said late may be true no more
        link = Link(self._address, self._protocol, filters=self._filters, clock_ms=self._clock_ms)
        try:
            link.open()
            while not self._stop.is_set():
                burst = link.read()
                if link.ready and not self._health.connected:
                    self._note_connected()
                if burst.messages and not self._keep(burst.messages):
                    return
                link.acknowledge(burst)
                for one in self._tray.take() if link.ready else ():
                    link.say(one)
        finally:
            link.close()
            self._tray.lose_all("the connection was lost before it was sent")

    def _keep(self, messages: Sequence[Message]) -> bool:
        """Keep the messages, however long the store takes to recover; False if stopped before."""
        wait_s = _FIRST_WAIT_S
        self._in_hand = (len(messages), sum(len(message.payload) for message in messages))
        while True:
            try:
                self._ingest.take(messages)
            except StoreFailure as err:
                log.error("store-refused messages=%d cause=%s", len(messages), err)  # noqa: TRY400
                if self._stop.wait(wait_s):
                    return False
                wait_s = min(wait_s * 2, _LONGEST_WAIT_S)
            else:
                self._in_hand = (0, 0)
                return True

    def _note_connected(self) -> None:
        connections = self._health.connections + 1
        self._health = BrokerHealth(connected=True, connections=connections, trouble=None)
        self._once_connected.set()
        log.info("mqtt-connected host=%s count=%d", self._address.host, connections)

    def _note_trouble(self, trouble: str) -> None:
        if self._health.trouble != trouble:
            log.warning("mqtt-lost host=%s cause=%s", self._address.host, trouble)
        self._health = BrokerHealth(
            connected=False, connections=self._health.connections, trouble=trouble
        )


def why_lost(err: Exception) -> str:
    """Return what kept us from the broker, and of a certificate what to do about it."""
    if not isinstance(err, ssl.SSLCertVerificationError):
        return str(err) or type(err).__name__
    match err.verify_code:
        case _Certificate.EXPIRED:
            fix = "renew it, or set this computer's clock"
        case _Certificate.OTHER_NAME | _Certificate.OTHER_ADDRESS:
            fix = "name the broker as its certificate does"
        case _:
            fix = "name the file of its authority in GRAFTVIGIL_BROKER_CA"
    said = err.verify_message.rstrip(".")
    return f"the broker's certificate is not to be trusted ({said}): {fix}"


def filters_for(topics: Iterable[str], asked: Sequence[str]) -> tuple[str, ...]:
    """Return what to subscribe to: the filters asked for, and each topic that none of them covers.

    Nothing is covered twice, or some brokers would send it twice.

    >>> filters_for({"shed/bag-07", "yard/sky"}, ("shed/#",))
    ('shed/#', 'yard/sky')
    """
    missed = [
        topic for topic in sorted(topics) if not any(topic_matches_sub(f, topic) for f in asked)
    ]
    return (*asked, *missed)
