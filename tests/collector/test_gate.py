"""What is let in, and the words with which the rest is sent back."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.gate import MOST_AHEAD_MS, MOST_BEHIND_MS, MOST_PAYLOAD_BYTES, Gate, Heard, Message
from collector.rejects import Kind, kind_of
from rules.model.place import Sensor
from rules.model.reading import Reading, Reject

NOW_MS = 1_772_000_000_000


def judged(
    sensors: list[Sensor], topic: str, payload: object, **more: object
) -> tuple[list[Reading], list[Reject]]:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    heard = Heard()
    Gate(sensors).judge(Message(topic, raw, NOW_MS, **more), heard)
    return heard.readings, heard.rejects


def bag(make_sensor, quantity: str, unit: str, **more: object) -> Sensor:
    channel = {"id": "x", "quantity": quantity, "unit": unit, "path": "x"} | more
    return make_sensor(time="arrival", time_path=None, channel=[channel])


def test_readings_are_kept_raw_in_the_unit_the_sensor_sends(make_sensor):
    sensor = bag(make_sensor, "air_temperature", "degF")
    assert judged([sensor], "shed/bag-07", {"x": 77.0}) == (
        [Reading("bag-07/x", NOW_MS, 77.0)],
        [],
    )


def test_an_unknown_topic_is_refused_with_what_to_write(make_sensor):
    readings, (reject,) = judged([make_sensor()], "shed/bag-08", {"x": 1})
    assert readings == []
    assert kind_of(reject) == "unknown topic"
    assert "[[sensor]]" in reject.fix
    assert reject.at_ms == NOW_MS


@pytest.mark.parametrize(
    "topic", ["", "shed/bag-07/", "SHED/bag-07", "a\x00b", "\ud800", "💧" * 900]
)
def test_odd_topics_are_unknown_and_harmless(make_sensor, make_kept, topic):
    kept = make_kept(make_sensor())
    taken = kept.ingest.take([Message(topic, b"{}", NOW_MS)])
    assert [kind_of(reject) for reject in taken.rejects] == ["unknown topic"]
    (stored,) = kept.rejects.newest(10)
    assert len(stored.topic) <= 600


def test_two_sensors_may_share_a_topic(make_sensor):
    one = make_sensor()
    light = [{"id": "sky", "quantity": "ppfd", "unit": "umol/m2/s", "path": "light.0"}]
    other = make_sensor(id="sky", channel=light)
    readings, _ = judged([one, other], "shed/bag-07", {"ts": NOW_MS, "light": [3]})
    assert [reading.channel for reading in readings] == ["bag-07/par", "sky/sky"]


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "taken"),
    [
        ("air_temperature", "degC", 65.0, True),
        ("air_temperature", "degC", 65.01, False),
        ("air_temperature", "degC", -40, True),
        ("air_temperature", "degC", -40.1, False),
        ("air_temperature", "degF", 149, True),
        ("air_temperature", "degF", 186, False),
        ("air_temperature", "K", 295.0, True),
        ("air_temperature", "K", 22.0, False),
        ("relative_humidity", "%RH", 103.5, True),
        ("relative_humidity", "%RH", 110.5, False),
        ("relative_humidity", "%RH", -0.1, False),
        ("relative_humidity", "fraction", 0.95, True),
        ("relative_humidity", "fraction", 95, False),
        ("ppfd", "umol/m2/s", 3500, True),
        ("ppfd", "umol/m2/s", 65535, False),
        ("battery", "mV", 3600, True),
        ("battery", "V", 3600, False),
    ],
)
def test_a_value_no_sensor_can_send_is_refused(make_sensor, quantity, unit, value, taken):
    sensor = bag(make_sensor, quantity, unit)
    readings, rejects = judged([sensor], "shed/bag-07", {"x": value})
    assert bool(readings) is taken
    assert [kind_of(r) for r in rejects] == ([] if taken else ["out of range"])


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "named"),
    [
        ("air_temperature", "degC", 95.0, 'unit = "degF"'),
        ("air_temperature", "degC", 295.0, 'unit = "K"'),
        ("relative_humidity", "fraction", 95.0, 'unit = "%RH"'),
        ("battery", "V", 3600, 'unit = "mV"'),
        ("air_temperature", "degC", 9999.0, "wiring"),
    ],
)
def test_the_fix_names_the_unit_that_would_make_sense(make_sensor, quantity, unit, value, named):
    _, (reject,) = judged([bag(make_sensor, quantity, unit)], "shed/bag-07", {"x": value})
    assert named in reject.fix


@pytest.mark.parametrize(
    "written", [b"NaN", b"Infinity", b"-Infinity", b"1e999", b"1" + b"0" * 400]
)
def test_what_is_not_finite_is_refused(make_sensor, written):
    sensor = bag(make_sensor, "air_temperature", "degC")
    readings, (reject,) = judged([sensor], "shed/bag-07", b'{"x": ' + written + b"}")
    assert readings == []
    assert kind_of(reject) == "not finite"
    assert "probe" in reject.fix


@pytest.mark.parametrize(
    ("off_ms", "kind"),
    [
        (0, None),
        (MOST_AHEAD_MS, None),
        (MOST_AHEAD_MS + 1, "clock ahead"),
        (-MOST_BEHIND_MS, None),
        (-MOST_BEHIND_MS - 1, "clock behind"),
        (-365 * 86_400_000, "clock behind"),
        (30 * 365 * 86_400_000, "clock ahead"),
    ],
)
def test_a_clock_far_off_is_refused(make_sensor, off_ms, kind):
    payload = {"ts": NOW_MS + off_ms, "air": {"temp": 21, "rh": 90}}
    readings, rejects = judged([make_sensor()], "shed/bag-07", payload)
    assert [kind_of(r) for r in rejects] == ([] if kind is None else [kind])
    assert len(readings) == (2 if kind is None else 0)


@pytest.mark.parametrize(
    ("kind", "said", "named"),
    [
        ("unix_s", NOW_MS, 'time = "unix_ms"'),
        ("unix_s", NOW_MS * 1000, 'time = "unix_us"'),
        ("unix_ms", NOW_MS * 1_000_000, 'time = "unix_ns"'),
        ("unix_ns", NOW_MS, 'time = "unix_ms"'),
        ("unix_ms", NOW_MS // 1000, 'time = "unix_s"'),
        ("unix_ms", NOW_MS + 3_600_000, "Set the clock"),
    ],
)
def test_seconds_taken_for_milliseconds_are_recognised(make_sensor, kind, said, named):
    sensor = make_sensor(time=kind)
    _, (reject,) = judged([sensor], "shed/bag-07", {"ts": said, "light": [3]})
    assert named in reject.fix


def test_a_payload_too_large_is_refused_unread(make_sensor):
    spaces = b" " * MOST_PAYLOAD_BYTES
    sensor = bag(make_sensor, "air_temperature", "degC")
    readings, (reject,) = judged([sensor], "shed/bag-07", b'{"x": 21}' + spaces)
    assert readings == []
    assert kind_of(reject) == "too large"
    assert len(reject.payload) == 200


def test_a_megabyte_of_nested_lists_is_refused(make_sensor):
    _, (reject,) = judged([make_sensor()], "shed/bag-07", b"[" * 1_000_000)
    assert kind_of(reject) == "too large"


def test_an_old_copy_of_a_sensor_without_a_clock_is_not_taken_for_new(make_sensor):
    sensor = bag(make_sensor, "air_temperature", "degC")
    readings, (reject,) = judged([sensor], "shed/bag-07", {"x": 21}, retained=True)
    assert readings == []
    assert kind_of(reject) == "old copy"


def test_an_old_copy_that_says_its_time_is_taken(make_sensor):
    payload = {"ts": NOW_MS - 5000, "light": [3]}
    readings, rejects = judged([make_sensor()], "shed/bag-07", payload, retained=True)
    assert readings == [Reading("bag-07/par", NOW_MS - 5000, 3.0)]
    assert rejects == []


def test_two_messages_within_a_millisecond_are_two_readings(make_sensor):
    gate = Gate([bag(make_sensor, "air_temperature", "degC")])
    heard = Heard()
    for value in (21, 22, 23):
        gate.judge(Message("shed/bag-07", b'{"x": %d}' % value, NOW_MS), heard)
    assert [(r.at_ms - NOW_MS, r.value) for r in heard.readings] == [
        (0, 21.0),
        (1, 22.0),
        (2, 23.0),
    ]


def test_our_own_clock_set_back_does_not_hold_a_sensor_in_the_future(make_sensor):
    gate = Gate([bag(make_sensor, "air_temperature", "degC")])
    heard = Heard()
    for at_ms in (NOW_MS, NOW_MS - 3_600_000):
        gate.judge(Message("shed/bag-07", b'{"x": 21}', at_ms), heard)
    assert [r.at_ms for r in heard.readings] == [NOW_MS, NOW_MS - 3_600_000]


@given(payload=st.binary(max_size=300), topic=st.sampled_from(["shed/a", "shed/b", "x"]))
def test_no_message_whatever_raises(payload, topic):
    channel = [{"id": "t", "quantity": "air_temperature", "unit": "degC", "path": "t"}]
    sensors = [
        Sensor.model_validate({"id": t[-1], "title": t, "topic": t, "channel": channel} | time)
        for t, time in (("shed/a", {}), ("shed/b", {"time": "unix_s", "time_path": "ts"}))
    ]
    readings, rejects = judged(sensors, topic, payload)
    assert readings or rejects
    assert all(kind_of(reject) in set(Kind) and reject.fix for reject in rejects)
