"""PUBLISH packets: ours must read them exactly as paho does."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import CallbackAPIVersion, Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from collector.publish_packet import published_in_mqtt_3, published_in_mqtt_5

READERS = {MQTTv311: published_in_mqtt_3, MQTTv5: published_in_mqtt_5}
TOPICS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=80)
WORDS = st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=90)


def packed(topic: bytes, qos: int, identifier: int, properties: bytes, payload: bytes) -> bytes:
    middle = identifier.to_bytes(2, "big") if qos else b""
    return len(topic).to_bytes(2, "big") + topic + middle + properties + payload


def paho_reads(version, flags: int, body: bytes) -> MQTTMessage:
    seen: list[MQTTMessage] = []
    client = Client(CallbackAPIVersion.VERSION2, protocol=version, manual_ack=True)
    client.on_message = lambda _client, _userdata, message: seen.append(message)
    client._in_packet |= {
        "command": flags,
        "packet": bytearray(body),
        "remaining_length": len(body),
    }
    client._handle_publish()
    return seen[0]


@given(
    topic=TOPICS,
    payload=st.binary(max_size=300),
    qos=st.integers(0, 1),
    identifier=st.integers(1, 65_535),
    retained=st.booleans(),
    words=st.lists(WORDS, max_size=4),
)
@pytest.mark.parametrize("version", [MQTTv311, MQTTv5])
def test_we_read_what_paho_reads(version, topic, payload, qos, identifier, retained, words):
    properties = b""
    if version == MQTTv5:
        said = Properties(PacketTypes.PUBLISH)
        if words:
            said.UserProperty = [(word, word) for word in words]
        properties = said.pack()
    flags = 0x30 | qos << 1 | retained
    body = packed(topic.encode(), qos, identifier, properties, payload)
    ours = READERS[version](flags, body)
    theirs = paho_reads(version, flags, body)
    assert ours.topic == theirs.topic
    assert ours.payload == theirs.payload
    assert (ours.qos, ours.retained) == (theirs.qos, theirs.retain)
    assert ours.identifier == (theirs.mid if qos else 0)


@given(flags=st.integers(0x30, 0x3F), body=st.binary(max_size=40))
@pytest.mark.parametrize("read", READERS.values())
def test_no_packet_does_more_than_raise_value_error(read, flags, body):
    try:
        said = read(flags, body)
    except ValueError:
        return
    assert body.endswith(said.payload)


@pytest.mark.parametrize("read", READERS.values())
@pytest.mark.parametrize(
    "body", [b"", b"\x00", b"\x00\x05ab", b"\x00\x01a", b"\x00\x01a\x00", b"\x00\x01a\x00\x01\xff"]
)
def test_a_packet_cut_short_is_refused(read, body):
    if read is published_in_mqtt_3 and len(body) > 5:
        assert read(0x32, body).payload == b"\xff"
        return
    with pytest.raises(ValueError, match="cut short"):
        read(0x32, body)
