"""Plain numbers, written times, scales, lists of samples, presence."""

from __future__ import annotations

import json

import pytest

from collector.gate import Gate, Heard, Message, PresenceWord
from collector.rejects import kind_of
from rules.model.place import Sensor

NOW_MS = 1_772_000_000_000  # 2026-02-25T06:13:20Z


def heard(sensors: list[Sensor], topic: str, payload: object, **more: object) -> Heard:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    found = Heard()
    Gate(sensors).judge(Message(topic, raw, NOW_MS, **more), found)
    return found


def plain(**changes: object) -> Sensor:
    return Sensor.model_validate(
        {
            "id": "bag-07",
            "title": "bag",
            "topic": "shed/bag-07",
            "payload": "plain",
            "channel": [
                {"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "temp"},
                {"id": "rh", "quantity": "relative_humidity", "unit": "%RH", "path": "air/rh"},
            ],
        }
        | changes
    )


@pytest.mark.parametrize(
    ("topic", "payload", "channel", "value"),
    [
        ("shed/bag-07/temp", b"21.5", "bag-07/air", 21.5),
        ("shed/bag-07/temp", b" -3\r\n", "bag-07/air", -3.0),
        ("shed/bag-07/temp", b"2.15e1", "bag-07/air", 21.5),
        ("shed/bag-07/air/rh", b"91", "bag-07/rh", 91.0),
    ],
)
def test_each_channel_has_a_topic_of_its_own(topic, payload, channel, value):
    found = heard([plain()], topic, payload)
    assert [(r.channel, r.at_ms, r.value) for r in found.readings] == [(channel, NOW_MS, value)]
    assert found.rejects == []


@pytest.mark.parametrize(
    ("payload", "kind"),
    [
        (b"", "not a number"),
        (b"21,5", "not a number"),
        (b"21.5 C", "not a number"),
        (b"1_000", "not a number"),
        (b"0x1F", "not a number"),
        ("٢١".encode(), "not a number"),
        (b"\xff", "not a number"),
        (b"9" * 200, "not a number"),
        (b"nan", "not finite"),
        (b"-inf", "not finite"),
        (b"1e9999", "not finite"),
        (b"99", "out of range"),
    ],
)
def test_anything_but_one_number_is_refused(payload, kind):
    found = heard([plain()], "shed/bag-07/temp", payload)
    assert found.readings == []
    assert [(kind_of(r), r.sensor) for r in found.rejects] == [(kind, "bag-07")]


def test_the_topic_of_the_sensor_itself_is_unknown_unless_a_channel_speaks_there():
    assert kind_of(heard([plain()], "shed/bag-07", b"21").rejects[0]) == "unknown topic"
    channel = [{"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "."}]
    found = heard([plain(channel=channel)], "shed/bag-07", b"21")
    assert [r.value for r in found.readings] == [21.0]


@pytest.mark.parametrize(
    ("scale", "sent", "value"),
    [(0.1, 217, 21.7), (0.01, 2153, 21.53), (1.0, 21.3, 21.3), (0.0625, 344, 21.5), (2.0, 10, 20)],
)
def test_a_sender_that_counts_in_parts_of_the_unit_loses_nothing(make_sensor, scale, sent, value):
    channel = [
        {"id": "t", "quantity": "air_temperature", "unit": "degC", "path": "t", "scale": scale}
    ]
    sensor = make_sensor(channel=channel, time="arrival", time_path=None)
    assert [r.value for r in heard([sensor], "shed/bag-07", {"t": sent}).readings] == [value]
    assert [
        r.value
        for r in heard([plain(channel=channel)], "shed/bag-07/t", str(sent).encode()).readings
    ] == [value]


def test_a_scaled_number_too_large_for_any_float_is_refused(make_sensor):
    channel = [
        {"id": "t", "quantity": "air_temperature", "unit": "degC", "path": "t", "scale": 0.1}
    ]
    sensor = make_sensor(channel=channel, time="arrival", time_path=None)
    found = heard([sensor], "shed/bag-07", b'{"t": -1' + b"0" * 400 + b"}")
    assert [kind_of(r) for r in found.rejects] == ["not finite"]


def written(**more: object) -> Sensor:
    return Sensor.model_validate(
        {
            "id": "log",
            "title": "log",
            "topic": "log",
            "time": "written",
            "time_path": "at",
            "time_format": "%d.%m.%Y %H:%M:%S",
            "channel": [
                {"id": "t", "quantity": "air_temperature", "unit": "degC", "path": "t"},
            ],
        }
        | more
    )


@pytest.mark.parametrize(
    ("form", "zone", "said", "off_ms"),
    [
        ("%d.%m.%Y %H:%M:%S", "Etc/GMT-10", "25.02.2026 16:13:20", 0),
        ("%d.%m.%Y %H:%M:%S", "UTC", "25.02.2026 06:13:19", -1000),
        ("%Y/%m/%d %I:%M:%S %p", "Etc/GMT-10", "2026/02/25 04:13:20 PM", 0),
        ("%Y-%m-%d %H:%M:%S.%f%z", None, "2026-02-25 16:13:20.250+1000", 250),
        ("%Y%j%H%M%S", "UTC", "2026056061320", 0),
    ],
)
def test_a_time_as_the_site_file_writes_it(form, zone, said, off_ms):
    found = heard([written(time_format=form, time_zone=zone)], "log", {"at": said, "t": 21})
    assert [r.at_ms - NOW_MS for r in found.readings] == [off_ms]


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("2026-02-25", "time_format"),
        (5, "time_format"),
        ("30.02.2026 00:00:00", "time_format"),
        ("29.03.2026 02:30:00", "offset"),  # never on that clock: summer time begins
        ("26.10.2025 02:30:00", "offset"),  # twice on it: summer time ends
    ],
)
def test_a_written_time_that_cannot_be_one_instant_is_refused(said, why):
    sensor = written(time_zone="Europe/Madrid")
    found = heard([sensor], "log", {"at": said, "t": 21})
    assert found.readings == []
    assert kind_of(found.rejects[0]) == "bad time"
    assert why in found.rejects[0].fix


def test_a_written_time_before_all_time_is_refused():
    sensor = written(time_zone="Etc/GMT-10")
    found = heard([sensor], "log", {"at": "01.01.0001 00:00:00", "t": 21})
    assert [(kind_of(r), "clock" in r.fix) for r in found.rejects] == [("bad time", True)]


def samples(**more: object) -> Sensor:
    return Sensor.model_validate(
        {
            "id": "log",
            "title": "log",
            "topic": "log",
            "time": "unix_ms",
            "time_path": "at",
            "samples_path": "data.samples",
            "channel": [
                {"id": "t", "quantity": "air_temperature", "unit": "degC", "path": "v.0"},
            ],
        }
        | more
    )


def test_a_list_of_samples_gives_each_its_own_time():
    said = [{"at": NOW_MS - n * 60_000, "v": [20 + n]} for n in range(3)]
    found = heard([samples()], "log", {"data": {"samples": said}})
    assert [(r.at_ms - NOW_MS, r.value) for r in found.readings] == [
        (0, 20.0),
        (-60_000, 21.0),
        (-120_000, 22.0),
    ]
    whole = heard([samples(samples_path=".")], "log", said)
    assert whole.readings == found.readings


def test_a_bad_sample_does_not_spoil_the_others():
    said = [{"at": NOW_MS, "v": [20]}, {"v": [21]}, {"at": NOW_MS - 1, "v": ["x"]}, 7]
    found = heard([samples(samples_path=".")], "log", said)
    assert [r.value for r in found.readings] == [20.0]
    assert [kind_of(r) for r in found.rejects] == ["bad time", "not a number", "bad time"]


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ({"data": {}}, "path missing"),
        ({"data": {"samples": 5}}, "not a list"),
        ({"data": {"samples": []}}, "not a list"),
        ({"data": {"samples": [{"at": NOW_MS, "v": [1]}] * 2001}}, "too large"),
    ],
)
def test_a_list_of_samples_that_is_not_there_is_said(said, kind):
    found = heard([samples()], "log", said)
    assert kind_of(found.rejects[-1]) == kind
    assert len(found.readings) == (2000 if kind == "too large" else 0)


AVAILABLE = {"topic": "shed/bag-07/state", "up": "up", "down": "gone"}


def test_up_and_down_are_noted_also_from_an_old_copy(make_sensor):
    sensor = make_sensor(availability=AVAILABLE)
    other = make_sensor(id="other", topic="x", availability=AVAILABLE)
    for said, up in ((b"up", True), (b" gone\n", False)):
        found = heard([sensor, other], "shed/bag-07/state", said, retained=True)
        assert found.presence == [
            PresenceWord("bag-07", up, NOW_MS),
            PresenceWord("other", up, NOW_MS),
        ]
        assert found.rejects == []
    found = heard([sensor], "shed/bag-07/state", b"OFFLINE")
    assert [kind_of(r) for r in found.rejects] == ["not up or down"]


def test_presence_is_kept_with_since_when_and_outlives_a_restart(make_kept, make_sensor):
    kept = make_kept(make_sensor(availability=AVAILABLE))

    def say(said: bytes, at_ms: int) -> None:
        kept.ingest.take([Message("shed/bag-07/state", said, at_ms)])

    for said, at_ms in ((b"up", 10), (b"up", 20), (b"gone", 30), (b"gone", 40)):
        say(said, at_ms)
    kept.store.close()
    again = make_kept(make_sensor(availability=AVAILABLE), path=kept.path)
    word = again.ingest.presence.current()["bag-07"]
    assert (word.up, word.since_ms, word.heard_ms) == (False, 30, 40)
