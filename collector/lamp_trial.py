"""Lights a lamp for some seconds, over a connection of its own, beside a graftvigil that runs."""

from __future__ import annotations

import ssl
import threading
from typing import TYPE_CHECKING

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

if TYPE_CHECKING:
    from collections.abc import Callable

    from paho.mqtt.client import MQTTMessage

    from collector.settings import BrokerAddress

ANSWER_S = 5.0
PUT_BY_S = 1.0
"""How long a message that the broker had put by takes to come, at most."""


class LampNotReached(Exception):
    """The broker did not pass on what was published; says why."""


def light_for(
    address: BrokerAddress, topic: str, *, on: bytes, off: bytes, rest: Callable[[], object]
) -> None:
    """Light a lamp until `rest` returns, then tell it what the broker has put by for it, else off.

    Nothing is published as retained, so what a running graftvigil says of the lamp stays true at
    the broker; cut off before its end, that one's next repeat puts the lamp right. Raises
    LampNotReached.
    """
    granted, passed_on, put_by = (threading.Event() for _ in range(3))
    kept: list[bytes] = []

    def heard(_client: Client, _userdata: object, message: MQTTMessage) -> None:
        if message.retain:
            kept.append(bytes(message.payload))
            put_by.set()
        elif message.payload == on:
            passed_on.set()

    client = Client(CallbackAPIVersion.VERSION2, reconnect_on_failure=False)
    client.on_message = heard
    client.on_subscribe = lambda *_: granted.set()
    if address.user is not None:
        client.username_pw_set(address.user, address.password)
    try:
        if address.tls:
            client.tls_set_context(ssl.create_default_context(cafile=address.ca_file))
        client.connect(address.host, address.port)
    except OSError as trouble:
        msg = f"no broker answers at {address.host}:{address.port} ({trouble})"
        raise LampNotReached(msg) from trouble
    client.loop_start()
    try:
        client.subscribe(topic, 1)
        if not granted.wait(ANSWER_S):
            msg = "the broker refused us, or let us not listen. See its log, and user and password"
            raise LampNotReached(msg)
        try:
            client.publish(topic, on, qos=1)
            if not passed_on.wait(ANSWER_S):
                msg = "the broker did not pass it on. Let our user write to that topic there"
                raise LampNotReached(msg)
            rest()
        finally:
            # Asked anew, as an alarm may have come, or been taken on, meanwhile.
            kept.clear()
            put_by.clear()
            client.subscribe(topic, 1)
            put_by.wait(PUT_BY_S)
            truth = kept[-1] if kept else off
            client.publish(topic, truth, qos=1).wait_for_publish(ANSWER_S)
    except (ValueError, RuntimeError) as trouble:
        msg = f"the connection was lost ({trouble})"
        raise LampNotReached(msg) from trouble
    finally:
        client.disconnect()
        client.loop_stop()
