"""One connection to a broker, driven by the thread that reads it. Lost once, it is thrown away."""

from __future__ import annotations

import selectors
import ssl
import struct
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from paho.mqtt.client import Client, MQTTv5, error_string
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.gate import Message
from collector.outgoing import Fate, Outgoing
from collector.publish_packet import Published, published_in_mqtt_3, published_in_mqtt_5

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from paho.mqtt.client import ConnectFlags, DisconnectFlags
    from paho.mqtt.reasoncodes import ReasonCode

    from collector.settings import BrokerAddress

KEEPALIVE_S = 30
ANSWER_S = 5.0
SESSION_EXPIRY_S = 7 * 24 * 3600
MOST_UNACKNOWLEDGED = 65_535
MOST_BURST = 1_000
MOST_BURST_BYTES = 4 * 1024 * 1024
MOST_PACKET_BYTES = 4 * 1024 * 1024
_PIECE_BYTES = 64 * 1024
_WAIT_S = 0.25
_PUBACK = 0x40
_puback = struct.Struct("!BBH").pack
_WRONG_VERSION = 0x84


@dataclass(slots=True)
class Burst:
    """Messages read in one go, and the identifiers under which the broker awaits their receipt."""

    messages: list[Message] = field(default_factory=list)
    unacknowledged: list[int] = field(default_factory=list)


class LinkLost(Exception):
    """The connection is gone, or was refused; says why."""


class ProtocolRefused(Exception):
    """The broker does not speak this version of MQTT."""


class _PiecewiseClient(Client):
    """The paho client, reading and writing its socket in large pieces.

    paho asks the socket for one byte, then another, then the rest, and sends every acknowledgement
    by itself: four or five system calls a message. Here hundreds of messages share one, and a
    PUBLISH is handed on without paho's message object. The three methods overridden are paho's
    own; `tests/collector` notices when a later paho drops them.
    """

    def __init__(
        self,
        client_id: str,
        protocol: MQTTProtocolVersion,
        *,
        arrived: Callable[[Published], None],
    ) -> None:
        super().__init__(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=None if protocol == MQTTv5 else False,
            protocol=protocol,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        self._arrived = arrived
        self._read_publish = published_in_mqtt_5 if protocol == MQTTv5 else published_in_mqtt_3
        self._piece = b""
        self._piece_at = 0
        self._gathering = False
        self._gathered = bytearray()

    def _sock_recv(self, bufsize: int) -> bytes:
        start = self._piece_at
        if start == len(self._piece):
            self._piece = super()._sock_recv(_PIECE_BYTES)
            start = 0
        self._piece_at = min(start + bufsize, len(self._piece))
        return self._piece[start : self._piece_at]

    def _sock_send(self, buf: bytes | bytearray) -> int:
        if self._gathering or self._gathered:  # nothing may overtake what is not yet sent
            self._gathered += buf
            return len(buf)
        return super()._sock_send(buf)

    def _handle_publish(self) -> MQTTErrorCode:
        try:
            said = self._read_publish(self._in_packet["command"], self._in_packet["packet"])
        except ValueError:
            return MQTTErrorCode.MQTT_ERR_PROTOCOL
        self._arrived(said)
        return MQTTErrorCode.MQTT_ERR_SUCCESS

    def has_more(self) -> bool:
        """Return whether bytes were read that paho has not yet looked at; then do not wait."""
        if self._piece_at < len(self._piece):
            return True
        sock = self.socket()
        return isinstance(sock, ssl.SSLSocket) and sock.pending() > 0

    def acknowledge(self, identifiers: Sequence[int]) -> None:
        """Put by one PUBACK for each identifier; `send_gathered` sends all in one piece."""
        if self.want_write():
            # A packet half sent goes first, or its other half would land among ours.
            self._gathering = True
            self.loop_write()
            self._gathering = False
        self._gathered += b"".join([_puback(_PUBACK, 2, each) for each in identifiers])

    def send_gathered(self) -> bool:
        """Send what was gathered as far as the socket takes it; return whether all is sent."""
        while self._gathered:
            try:
                sent = super()._sock_send(self._gathered)
            except BlockingIOError:
                return False
            del self._gathered[:sent]
        return True


class Link:
    """A connection with a session that the broker keeps for us while we are away."""

    def __init__(
        self,
        address: BrokerAddress,
        protocol: MQTTProtocolVersion,
        *,
        filters: Sequence[str],
        clock_ms: Callable[[], int],
    ) -> None:
        self._address = address
        self._protocol = protocol
        self._filters = filters
        self._clock_ms = clock_ms
        self._burst = Burst()
        self._burst_bytes = 0
        self._arrived_ms = 0
        self._lost: Exception | None = None
        self._selector = selectors.DefaultSelector()
        self._answered = False
        self._answer_by_s = time.monotonic() + ANSWER_S
        self._said: dict[int, Outgoing] = {}
        self._keeps_for_others = True
        self.ready = False  # we are subscribed, or messages come by a session that is
        self._client = self._new_client()

    def _new_client(self) -> _PiecewiseClient:
        client = _PiecewiseClient(self._address.client_id, self._protocol, arrived=self._on_publish)
        client.suppress_exceptions = True
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_published
        client.on_disconnect = self._on_disconnect
        if self._address.user is not None:
            client.username_pw_set(self._address.user, self._address.password)
        if self._address.tls:
            ca_file = self._address.ca_file
            client.tls_set_context(ssl.create_default_context(cafile=ca_file))
        return client

    def open(self) -> None:
        """Connect and ask for our session. Raises OSError when nobody answers."""
        if self._protocol == MQTTv5:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = SESSION_EXPIRY_S
            properties.ReceiveMaximum = MOST_UNACKNOWLEDGED
            properties.MaximumPacketSize = MOST_PACKET_BYTES
            self._client.connect(
                self._address.host,
                self._address.port,
                KEEPALIVE_S,
                clean_start=False,
                properties=properties,
            )
        else:
            self._client.connect(self._address.host, self._address.port, KEEPALIVE_S)
        sock = self._client.socket()
        if sock is None:
            msg = "the broker closed the connection at once"
            raise LinkLost(msg)
        self._selector.register(sock, selectors.EVENT_READ)

    def read(self) -> Burst:
        """Return the messages that are there, at most one burst; wait a little when none is.

        Raises LinkLost or ProtocolRefused when the connection is over.
        """
        client = self._client
        self._burst = Burst()
        self._burst_bytes = 0
        if not client.has_more():
            self._selector.select(_WAIT_S)
        self._arrived_ms = self._clock_ms()
        messages = self._burst.messages
        while len(messages) < MOST_BURST and self._burst_bytes < MOST_BURST_BYTES:
            before = len(messages)
            if client.loop_read() != MQTTErrorCode.MQTT_ERR_SUCCESS or len(messages) == before:
                break
        client.loop_misc()
        self._flush()
        if messages:
            self.ready = True
        elif not self._answered and time.monotonic() > self._answer_by_s:
            self._hear_nothing()
        if self._lost is not None:
            raise self._lost
        return self._burst

    def acknowledge(self, burst: Burst) -> None:
        """Tell the broker, in order of arrival, that the burst is kept."""
        if burst.unacknowledged:
            self._client.acknowledge(burst.unacknowledged)
            self._flush()

    def say(self, one: Outgoing) -> None:
        """Send a message of ours, retained; what becomes of it is said there, at the latest by us.

        A broker that says that it retains nothing would hang up on us, so it gets it as any other.
        """
        sent = self._client.publish(one.topic, one.payload, qos=1, retain=self._keeps_for_others)
        if sent.rc == MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._said[sent.mid] = one
        else:
            one.lose(f"it could not be sent: {error_string(sent.rc)}")
        self._flush()

    def close(self) -> None:
        """Say goodbye and let go; the broker keeps the session. Never raises."""
        for one in self._said.values():
            if one.fate is Fate.UNDER_WAY:
                one.lose("the connection was lost before the broker had it")
        self._client.disconnect()
        self._flush()
        sock = self._client.socket()
        if sock is not None:
            sock.close()
        self._selector.close()

    def _flush(self) -> None:
        client = self._client
        if client.want_write():
            client.loop_write()
        try:
            sent = client.send_gathered()
        except OSError as err:
            self._lose(LinkLost(f"the connection broke: {err}"))
            return
        sock = client.socket()
        if sock is not None and self._lost is None:
            done = sent and not client.want_write()
            awaited = selectors.EVENT_READ if done else selectors.EVENT_READ | selectors.EVENT_WRITE
            self._selector.modify(sock, awaited)

    def _lose(self, cause: Exception) -> None:
        if self._lost is None:
            self._lost = cause

    def _on_publish(self, said: Published) -> None:
        if said.qos > 1:
            # Never sent to a subscription of QoS 1, but a session left by another program may.
            msg = (
                f"the session {self._address.client_id} at the broker is not ours: it brings "
                "messages of QoS 2. Choose another client id"
            )
            self._lose(LinkLost(msg))
            return
        message = Message(said.topic, said.payload, self._arrived_ms, said.retained)
        self._burst.messages.append(message)
        self._burst_bytes += len(said.payload)
        if said.qos:
            self._burst.unacknowledged.append(said.identifier)

    def _on_connect(
        self,
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        self._answered = True
        self._keeps_for_others = getattr(properties, "RetainAvailable", 1) != 0
        if reason.is_failure:
            if self._protocol == MQTTv5 and reason.value == _WRONG_VERSION:
                self._lose(ProtocolRefused())
            else:
                self._lose(LinkLost(f"the broker refused us: {reason}. {_remedy(reason)}"))
            return
        if self._protocol == MQTTv5:
            options = SubscribeOptions(
                qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB
            )
            client.subscribe([(name, options) for name in self._filters])
        else:
            client.subscribe([(name, 1) for name in self._filters])

    def _on_subscribe(
        self,
        _client: Client,
        _userdata: object,
        _mid: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        refused = [
            name for name, reason in zip(self._filters, reasons, strict=False) if reason.is_failure
        ]
        if refused:
            listed = ", ".join(f'"{name}"' for name in refused[:5])
            self._lose(
                LinkLost(
                    f"the broker does not let us listen to {listed}. Allow it for our user there, "
                    "or set the topics this user may read"
                )
            )
        else:
            self.ready = True

    def _on_published(
        self,
        _client: Client,
        _userdata: object,
        mid: int,
        reason: ReasonCode,
        _properties: Properties,
    ) -> None:
        one = self._said.pop(mid, None)
        if one is None:
            return
        if reason.is_failure:
            one.lose(f"the broker refused it: {reason}. Let our user write to that topic there")
        else:
            one.accept()

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if not self._answered:
            self._hear_nothing()
        self._lose(LinkLost(f"the broker is gone: {reason}"))

    def _hear_nothing(self) -> None:
        if self._protocol == MQTTv5:
            # Old brokers hang up on a version they do not know, or wait for ever.
            self._lose(ProtocolRefused())
        self._lose(LinkLost("what answers there is no MQTT broker, or one that is overloaded"))


def _remedy(reason: ReasonCode) -> str:
    if reason.value in {0x86, 0x87}:
        return "See that user and password are those of the broker"
    if reason.value == 0x85:
        return "Choose another client id"
    return "See the log of the broker"
