"""What stands in an MQTT PUBLISH packet, read without a thought for what we do not use.

paho makes some hundred small objects a message for the properties of MQTT 5, of which the collector
needs none; they cost more than all else it does with the message.
"""

from __future__ import annotations

from typing import NamedTuple


class Published(NamedTuple):
    """A PUBLISH packet. `identifier` is what its receipt must name; 0 at QoS 0."""

    topic: str
    payload: bytes
    qos: int
    identifier: int
    retained: bool


def published_in_mqtt_3(flags: int, body: bytes | bytearray) -> Published:
    r"""Return what a PUBLISH of MQTT 3.1.1 says; `body` is all that follows the fixed header.

    A topic that is not UTF-8 has its bad bytes written out. Raises ValueError for a packet cut
    short. Source: OASIS MQTT 3.1.1 (2014), section 3.3.

    >>> published_in_mqtt_3(0x32, b"\x00\x03a/b\x00\x07hello")
    Published(topic='a/b', payload=b'hello', qos=1, identifier=7, retained=False)
    """
    topic, qos, identifier, at = _start(flags, body)
    if at > len(body):
        raise ValueError(_CUT)
    return Published(topic, bytes(body[at:]), qos, identifier, bool(flags & 1))


def published_in_mqtt_5(flags: int, body: bytes | bytearray) -> Published:
    r"""Return what a PUBLISH of MQTT 5 says, its properties left aside.

    As `published_in_mqtt_3`. We allow no topic aliases, so the topic is always there.
    Source: OASIS MQTT 5.0 (2019), section 3.3.

    >>> published_in_mqtt_5(0x31, b"\x00\x01a\x02\x01\x01hello")
    Published(topic='a', payload=b'hello', qos=0, identifier=0, retained=True)
    """
    topic, qos, identifier, at = _start(flags, body)
    length = shift = 0
    while True:
        if at >= len(body) or shift > _MOST_SHIFT:
            raise ValueError(_CUT)
        byte = body[at]
        at += 1
        length |= (byte & 0x7F) << shift
        if byte < 0x80:
            break
        shift += 7
    at += length
    if at > len(body):
        raise ValueError(_CUT)
    return Published(topic, bytes(body[at:]), qos, identifier, bool(flags & 1))


def _start(flags: int, body: bytes | bytearray) -> tuple[str, int, int, int]:
    """Return topic, QoS, identifier, and where the rest begins; that may lie past the end."""
    if len(body) < 2:
        raise ValueError(_CUT)
    at = 2 + (body[0] << 8 | body[1])
    topic = body[2:at].decode("utf-8", "backslashreplace")
    qos = flags >> 1 & 3
    if not qos:
        return topic, 0, 0, at
    if len(body) < at + 2:
        raise ValueError(_CUT)
    return topic, qos, body[at] << 8 | body[at + 1], at + 2


_MOST_SHIFT = 21
_CUT = "the packet is cut short"
