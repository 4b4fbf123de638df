"""A recorded stretch of MQTT messages, and playing it to a broker as fast as it is taken."""

from __future__ import annotations

import gzip
import json
import threading
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Self

from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from api.cli.main import CannotGoOn

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path
    from types import TracebackType

ACKNOWLEDGED_WITHIN_S = 30.0


@dataclass(frozen=True, slots=True)
class Sent:
    """One recorded message: when it was sent, on which topic, and its payload."""

    at: datetime
    topic: str
    payload: bytes


def recorded(path: Path) -> tuple[Sent, ...]:
    """Return the messages of a recording, in order of sending.

    A recording is gzipped JSON Lines: {"at": ISO 8601 with zone, "topic": …, "payload": object}.
    Raises CannotGoOn naming the line that can't be read.
    """
    messages: list[Sent] = []
    try:
        with gzip.open(path, "rt", encoding="utf-8") as lines:
            for line in lines:
                entry = json.loads(line)
                at = datetime.fromisoformat(entry["at"])
                payload = json.dumps(entry["payload"]).encode()
                messages.append(Sent(at, entry["topic"], payload))
    except (OSError, EOFError, ValueError, KeyError, TypeError) as trouble:
        where = f"{path}:{len(messages) + 1}"
        msg = f"{where}: not a recording ({trouble}). Make it again, or name another"
        raise CannotGoOn(msg) from trouble
    if not messages:
        msg = f"{path}: the recording is empty"
        raise CannotGoOn(msg)
    return tuple(messages)


def by_minute(messages: Sequence[Sent]) -> Iterator[tuple[datetime, list[Sent]]]:
    """Yield (end of the minute, messages sent in it), every minute of the recording in turn."""
    held: list[Sent] = []
    minute = int(messages[0].at.timestamp()) // 60
    zone = messages[0].at.tzinfo
    for message in messages:
        falls_in = int(message.at.timestamp()) // 60
        while minute < falls_in:
            yield datetime.fromtimestamp((minute + 1) * 60, zone), held
            held = []
            minute += 1
        held.append(message)
    yield datetime.fromtimestamp((minute + 1) * 60, zone), held


class Player:
    """Sends recorded messages to a broker at QoS 1 and waits until each is acknowledged."""

    def __init__(self, host: str, port: int) -> None:
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="player", protocol=MQTTv311)
        self._client.max_inflight_messages_set(200)
        self._up = threading.Event()
        self._client.on_connect = self._connected
        self._host, self._port = host, port

    def _connected(self, *_: object) -> None:
        self._up.set()

    def __enter__(self) -> Self:
        self._client.connect(self._host, self._port)
        self._client.loop_start()
        if not self._up.wait(ACKNOWLEDGED_WITHIN_S):
            msg = f"no broker answers on {self._host}:{self._port}"
            raise CannotGoOn(msg)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        trouble: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def send(self, messages: Sequence[Sent]) -> None:
        """Return when the broker has acknowledged every one of `messages`."""
        sent = [self._client.publish(one.topic, one.payload, qos=1) for one in messages]
        for one in sent:
            one.wait_for_publish(ACKNOWLEDGED_WITHIN_S)
            if not one.is_published():
                msg = f"the broker on {self._host}:{self._port} has stopped acknowledging"
                raise CannotGoOn(msg)
