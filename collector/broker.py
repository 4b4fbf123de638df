"""The built-in broker for trials (MQTT 3.1.1): what it acknowledges is kept.

It promises what MQTT asks of QoS 1 and 2 about readings, and nothing more: no sessions, retained
messages or subscriptions outlive a restart; no TLS, no users. docs/collector.md says so plainly.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from typing import TYPE_CHECKING

from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter  # type: ignore[import-untyped]
from amqtt.broker import Broker  # type: ignore[import-untyped]
from amqtt.contexts import BrokerConfig, ListenerConfig, ListenerType  # type: ignore[import-untyped]
from amqtt.errors import AMQTTError, MQTTError, NoDataError  # type: ignore[import-untyped]
from amqtt.mqtt.constants import QOS_1  # type: ignore[import-untyped]
from amqtt.plugins.base import BaseAuthPlugin  # type: ignore[import-untyped]
from amqtt.session import ApplicationMessage  # type: ignore[import-untyped]

from collector.gate import Message
from collector.group_commit import GroupCommit
from collector.health import BrokerHealth
from collector.outgoing import Outgoing

if TYPE_CHECKING:
    from collections.abc import Callable

    from amqtt.session import Session

    from collector.ingest import Ingest
    from collector.settings import ListenAddress

log = logging.getLogger(__name__)

MOST_PACKET_BYTES = 4 * 1024 * 1024
MQTT_5 = 5
_CONNACK_WRONG_VERSION = b"\x20\x02\x00\x01"
_FIRST_PACKET_S = 10.0
_LISTENER = "default"
_STOP_S = 10.0


class BrokerCannotListen(Exception):
    """The address cannot be listened on; says what to do."""


class EmbeddedBroker:
    """A broker in a thread of its own. `port` is known once `start` has returned."""

    def __init__(
        self, listen: ListenAddress, ingest: Ingest, *, clock_ms: Callable[[], int]
    ) -> None:
        self._listen = listen
        self._ingest = ingest
        self._clock_ms = clock_ms
        self._thread: threading.Thread | None = None
        self._started = threading.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop: asyncio.Event | None = None
        self._up = False
        self._commit: GroupCommit | None = None
        self._broker: _WillKeeper | None = None
        self.port = 0

    def start(self) -> None:
        """Return once clients can connect. Raises BrokerCannotListen, as when the port is taken."""
        for name in ("amqtt", "transitions"):  # both tell every step of every client
            logging.getLogger(name).setLevel(logging.WARNING)
        failures: list[OSError] = []
        self._started.clear()
        self._thread = threading.Thread(
            target=self._run, args=(failures,), name="built-in-broker", daemon=True
        )
        self._thread.start()
        self._started.wait()
        if self._up:
            return
        self._thread.join()
        cause = failures[0] if failures else None
        where = f"{self._listen.host}:{self._listen.port}"
        msg = (
            f"the built-in broker cannot listen on {where}: {cause or 'see the log'}. Set another "
            "address with GRAFTVIGIL_BUILT_IN_BROKER, or stop what listens there"
        )
        raise BrokerCannotListen(msg) from cause

    def stop(self) -> None:
        """Hang up on every client and return. What was not acknowledged, publishers send again."""
        loop, stop = self._loop, self._stop
        if self._thread is None or loop is None or stop is None:
            return
        loop.call_soon_threadsafe(stop.set)
        self._thread.join()
        self._thread = None
        self._loop = None

    @property
    def thread(self) -> threading.Thread | None:
        """What serves; None before the start and after the stop."""
        return self._thread

    def health(self) -> BrokerHealth:
        """Return whether the broker is up."""
        trouble = "the built-in broker is not running. Start the collector again"
        waiting, waiting_bytes = (0, 0) if self._commit is None else self._commit.waiting
        return BrokerHealth(
            connected=self._up,
            connections=int(self._up),
            trouble=None if self._up else trouble,
            waiting=waiting,
            waiting_bytes=waiting_bytes,
        )

    def publish(self, topic: str, payload: bytes) -> Outgoing:
        """Publish a retained message to whoever subscribes; returns at once."""
        one = Outgoing(topic, payload)
        loop, broker = self._loop, self._broker
        if not self._up or loop is None or broker is None:
            one.lose("the built-in broker is not running")
            return one
        try:
            asyncio.run_coroutine_threadsafe(broker.say(one), loop)
        except RuntimeError:  # the loop ended just now
            one.lose("the built-in broker is not running")
        return one

    def _run(self, failures: list[OSError]) -> None:
        try:
            asyncio.run(self._serve())
        except OSError as err:
            failures.append(err)
        finally:
            self._up = False
            self._started.set()

    async def _serve(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        commit = self._commit = GroupCommit(self._ingest)
        config = BrokerConfig(
            listeners={_LISTENER: ListenerConfig(type=ListenerType.EXTERNAL)},
            plugins={f"{KeepFirst.__module__}.{KeepFirst.__name__}": {}},
        )
        broker = _WillKeeper(config)
        broker.kept_by(commit, self._clock_ms)
        for plugin in broker.plugins_manager.plugins:
            if isinstance(plugin, KeepFirst):
                plugin.commit = commit
                plugin.clock_ms = self._clock_ms

        async def connected(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            # What a client may do wrong ends its own connection, and nothing else.
            try:
                paced = PacedReader(reader, commit)
                if await asyncio.wait_for(paced.version_asked(), _FIRST_PACKET_S) == MQTT_5:
                    # amqtt would wait for ever; told so, a client can go on with 3.1.1.
                    writer.write(_CONNACK_WRONG_VERSION)
                    await writer.drain()
                    return
                await broker.external_connected(paced, StreamWriterAdapter(writer), _LISTENER)
            except (AMQTTError, MQTTError, NoDataError, OSError, EOFError, PacketTooLarge) as err:
                log.info("built-in-broker client-lost cause=%s", err or type(err).__name__)
            finally:
                writer.close()

        server = await asyncio.start_server(connected, self._listen.host, self._listen.port)
        self.port = int(server.sockets[0].getsockname()[1])
        await broker.start()
        self._broker = broker
        commit.start()
        self._up = True
        self._started.set()
        log.info("built-in-broker listening host=%s port=%d", self._listen.host, self.port)
        await self._stop.wait()
        server.close()
        await commit.stop()
        await asyncio.wait_for(broker.shutdown(), _STOP_S)


class _WillKeeper(Broker):  # type: ignore[misc]
    """The broker, with last wills kept too: amqtt sends them itself, past every session's queue."""

    def kept_by(self, commit: GroupCommit, clock_ms: Callable[[], int]) -> None:
        """Say where wills are kept."""
        self._will_commit = commit
        self._will_clock_ms = clock_ms

    async def _broadcast_message(
        self,
        session: Session | None,
        topic: str | None,
        data: bytes | bytearray | None,
        force_qos: int | None = None,
    ) -> None:
        # A will is the one message that comes with a quality of service of its own.
        if force_qos is not None and topic:
            self._will_commit.keep_soon(Message(topic, bytes(data or b""), self._will_clock_ms()))
        await super()._broadcast_message(session, topic, data, force_qos)

    async def say(self, one: Outgoing) -> None:
        """Send a message of our own, which is never kept as a reading, and retain it."""
        try:
            await self.retain_message(None, one.topic, one.payload, QOS_1)
            await super()._broadcast_message(None, one.topic, one.payload)
        except AMQTTError as trouble:
            one.lose(str(trouble))
        else:
            one.accept()


class PacketTooLarge(Exception):
    """A client announced a packet that no sensor sends."""


class PacedReader(StreamReaderAdapter):  # type: ignore[misc]
    """Reads a client no faster than its messages are kept, so that memory stays bounded."""

    def __init__(self, reader: asyncio.StreamReader, commit: GroupCommit) -> None:
        super().__init__(reader)
        self._commit = commit
        self._head = b""

    async def version_asked(self) -> int | None:
        """Return the version in the CONNECT that comes first, which is still to be read after this.

        None for what is no CONNECT. Raises EOFError when less comes.
        """
        head = await super().read(2)
        while head[-1] & 0x80 and len(head) < 5:  # the length goes on in the next byte
            head += await super().read(1)
        head += await super().read(7)
        self._head = head
        return int(head[-1]) if head[-7:-1] == b"\x00\x04MQTT" else None

    async def read(self, n: int = -1) -> bytes:
        """Return `n` bytes. Raises PacketTooLarge; the connection then ends."""
        if n > MOST_PACKET_BYTES:
            msg = f"a packet of {n} bytes; at most {MOST_PACKET_BYTES} are taken"
            raise PacketTooLarge(msg)
        await self._commit.room()
        head, self._head = self._head[:n], self._head[n:]
        data: bytes = head + await super().read(n - len(head)) if len(head) < n else head
        return data


class KeepFirst(BaseAuthPlugin):  # type: ignore[misc]
    """Lets everyone in, and puts the keeping of readings in front of the broker's own queue.

    amqtt sends PUBACK (and PUBCOMP) after it has awaited `put` on the session's queue of delivered
    messages. Our queue's `put` returns when the message is on disk. Authentication is the last
    thing awaited before a session may publish, so no message passes by.
    """

    commit: GroupCommit | None = None
    clock_ms: Callable[[], int] | None = None

    async def authenticate(self, *, session: Session) -> bool:
        """Let the session in, with our queue in place."""
        if self.commit is None or self.clock_ms is None:
            return False  # nothing could be kept, so nothing may be received
        if not isinstance(session.delivered_message_queue, KeptQueue):
            session.delivered_message_queue = KeptQueue(self.commit, self.clock_ms)
        return True


class KeptQueue(asyncio.Queue[ApplicationMessage]):
    """A queue into which a message goes only after its readings are kept."""

    def __init__(self, commit: GroupCommit, clock_ms: Callable[[], int]) -> None:
        super().__init__()
        self._commit = commit
        self._clock_ms = clock_ms

    async def put(self, item: ApplicationMessage) -> None:
        """Return when the message is on disk and queued for other subscribers (QoS 1 and 2)."""
        await self._commit.keep(self._message(item))
        super().put_nowait(item)

    def put_nowait(self, item: ApplicationMessage) -> None:
        """Queue for other subscribers at once, to be kept soon: QoS 0 asks for no receipt."""
        self._commit.keep_soon(self._message(item))
        super().put_nowait(item)

    def _message(self, item: ApplicationMessage) -> Message:
        return Message(item.topic, bytes(item.data), self._clock_ms())


__all__ = ["BrokerCannotListen", "EmbeddedBroker"]
