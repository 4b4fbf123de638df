"""Strangers are kept in a list that stays short, and what they send is guessed with reasons."""

from __future__ import annotations

import json

import pytest

from collector.gate import Message, Unclaimed
from collector.guess import Candidate, candidate_of, candidates
from collector.meanings import Why, meaning_of, words_in
from collector.waiting import MOST_A_BATCH, MOST_NEW, MOST_STEADY, SAMPLE_BYTES, Waiting
from rules.model.payload import Payload, Timestamp
from rules.model.quantities import Quantity

NOW_MS = 1_772_000_000_000


def waiting(topic: str, payload: object, device: str = "") -> Waiting:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return Waiting(topic, device, raw, len(raw), NOW_MS, NOW_MS, 1, None)


def guess(topic: str, payload: object, device: str = "") -> Candidate:
    return candidate_of(waiting(topic, payload, device))


def meanings(one: Candidate) -> dict[str, tuple[str | None, str | None]]:
    return {f.path: (f.meant.quantity and f.meant.quantity.value, f.meant.unit) for f in one.found}


def test_a_stranger_is_listed_with_its_newest_message_and_how_often(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    kept.ingest.take([Message("new/1", b"1", NOW_MS + n) for n in range(3)])
    kept.ingest.take([Message("new/1", b"2", NOW_MS + 10), Message("new/2", b"x" * 9000, NOW_MS)])
    one, two = kept.ingest.waiting.listed()
    assert (one.topic, one.sample, one.count) == ("new/1", b"2", 4)
    assert (one.first_ms, one.last_ms, one.adopted_ms) == (NOW_MS, NOW_MS + 10, None)
    assert (two.size, len(two.sample)) == (9000, SAMPLE_BYTES)
    assert kept.store.count() == 0


def test_a_storm_of_invented_topics_neither_fills_the_list_nor_drives_out_a_device(
    make_kept, make_sensor
):
    kept = make_kept(make_sensor())
    for minute in range(40):
        at_ms = NOW_MS + minute * 60_000
        storm = [Message(f"x/{minute}/{n}", b"{}", at_ms) for n in range(300)]
        kept.ingest.take([*storm, Message("new/device", b"1", at_ms), *storm[:1]])
    listed = kept.ingest.waiting.listed()
    assert len(listed) <= MOST_STEADY + MOST_NEW
    steady = [one for one in listed if one.topic == "new/device"]
    assert [one.count > 20 for one in steady] == [True]
    assert kept.rejects.counts()["unknown topic"] == 40 * 302


def test_a_new_device_is_seen_though_the_list_is_full_of_chatty_ones(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    for batch in range(8):
        chatty = [
            Unclaimed(f"chatty/{n}", "", b"1", NOW_MS)
            for n in range(batch * 50, batch * 50 + 50)
            for _ in range(20)
        ]
        kept.ingest.waiting.add(chatty)
    kept.ingest.waiting.add([Unclaimed("new/device", "", b"1", NOW_MS + 1)])
    assert "new/device" in {one.topic for one in kept.ingest.waiting.listed()}
    assert len(kept.ingest.waiting.listed()) <= MOST_STEADY + MOST_NEW


def test_of_one_batch_no_more_than_so_many_strangers_are_written(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    kept.ingest.waiting.add([Unclaimed(f"x/{n}", "", b"", NOW_MS) for n in range(1000)])
    assert len(kept.ingest.waiting.listed()) == MOST_A_BATCH


def test_devices_on_a_shared_topic_wait_one_by_one(make_kept, make_sensor):
    channel = [{"id": "a", "quantity": "battery", "unit": "V", "path": "known:v"}]
    sensor = make_sensor(
        topic="packs", payload="senml", time="arrival", time_path=None, channel=channel
    )
    kept = make_kept(sensor)
    pack = [{"bn": f"d{n}:", "n": "v", "u": "V", "v": 3} for n in range(3)]
    kept.ingest.take([Message("packs", json.dumps(pack).encode(), NOW_MS)])
    assert {(w.topic, w.device) for w in kept.ingest.waiting.listed()} == {
        ("packs", "d0:"),
        ("packs", "d1:"),
        ("packs", "d2:"),
    }


@pytest.mark.parametrize(
    ("payload", "expected", "time", "path"),
    [
        (
            {"ts": NOW_MS // 1000, "air": {"temp": 21.5, "rh": 90}, "batt": 3.1},
            {
                "air.temp": ("air_temperature", "degC"),
                "air.rh": ("relative_humidity", "%RH"),
                "batt": ("battery", "V"),
            },
            Timestamp.UNIX_S,
            "ts",
        ),
        (
            {"time": "2026-02-25T06:13:00Z", "tempF": 70.1, "vbat": 3100, "rssi": -70},
            {
                "tempF": ("air_temperature", "degF"),
                "vbat": ("battery", "mV"),
                "rssi": (None, None),
            },
            Timestamp.ISO_8601,
            "time",
        ),
        (
            {"data": [{"temperature": 294.6}, {"lux": 1200}], "at": NOW_MS * 1000},
            {
                "data.0.temperature": ("air_temperature", "K"),
                "data.1.lux": ("illuminance", "lx"),
            },
            Timestamp.UNIX_US,
            "at",
        ),
        (
            {"temperature": {"value": 71.2, "unit": "F"}, "humidity": {"value": 0.91}},
            {
                "temperature.value": ("air_temperature", "degF"),
                "humidity.value": ("relative_humidity", "fraction"),
            },
            Timestamp.ARRIVAL,
            None,
        ),
        (
            {"soil_humidity": 31, "soilTemp": 20, "leaf_temp": 24, "dew_point": 11, "on": True},
            {
                "soil_humidity": ("substrate_moisture", "%"),
                "soilTemp": (None, None),
                "leaf_temp": ("leaf_temperature", "degC"),
                "dew_point": (None, None),
            },
            Timestamp.ARRIVAL,
            None,
        ),
    ],
)
def test_json_is_guessed_field_by_field(payload, expected, time, path):
    one = guess("new/1", payload)
    assert one.payload is Payload.JSON
    assert meanings(one) == expected
    assert (one.time, one.time_path) == (time, path)


def test_a_time_is_one_only_if_it_is_near_the_arrival():
    one = guess("new/1", {"counter": 1_600_000_000, "temp": 20})
    assert (one.time, one.time_path) == (Timestamp.ARRIVAL, None)


def test_tenths_of_a_degree_are_seen():
    meant = meaning_of("temperature", 217)
    assert (meant.unit, meant.scale) == ("degC", 0.1)
    assert meant.why == (Why.NAME, Why.TENTHS)


def test_what_fits_no_unit_says_so():
    meant = meaning_of("humidity", 65535)
    assert (meant.quantity, meant.unit, meant.why) == (
        Quantity.RELATIVE_HUMIDITY,
        None,
        (Why.NAME, Why.NO_FIT),
    )


@pytest.mark.parametrize("name", ["dewTemp", "battery_percent", "temp_max", "rh_set"])
def test_what_only_sounds_like_one_of_ours_is_left_out(name):
    assert meaning_of(name, 20).quantity is None


def test_every_guess_gives_its_reason():
    for name, value in (("t", 21), ("x", 5), ("tempF", 70), ("rh", 0.9), ("vbat", 3100)):
        assert meaning_of(name, value).why


def test_senml_is_guessed_by_its_units():
    pack = [
        {"bn": "urn:dev:b9:", "bt": NOW_MS / 1000, "n": "a", "u": "Cel", "v": 21.5},
        {"n": "b", "u": "%RH", "v": 90},
        {"n": "open", "vb": True},
        {"bn": "urn:dev:other:", "n": "a", "u": "Cel", "v": 3},
    ]
    one = guess("packs", pack, "urn:dev:b9:")
    assert (one.payload, one.time) == (Payload.SENML, Timestamp.UNIX_S)
    assert meanings(one) == {
        "urn:dev:b9:a": ("air_temperature", "degC"),
        "urn:dev:b9:b": ("relative_humidity", "%RH"),
    }
    alone = guess("packs", pack[:3])
    assert alone.device == "urn:dev:b9:"


def test_senml_with_a_clock_that_is_off_is_to_count_from_its_arrival():
    pack = [{"bn": "b:", "bt": 1_000_000_000, "n": "t", "u": "Cel", "v": 21.5}]
    assert guess("packs", pack).time is Timestamp.ARRIVAL


def test_line_protocol_is_guessed_with_its_tags_and_precision():
    line = f"bag,device=b9,host=gw temp=21.5,ok=t {NOW_MS}\nbag,device=b8 temp=3 {NOW_MS}"
    one = guess("lines", line.encode(), "device=b9,host=gw")
    assert (one.payload, one.time) == (Payload.LINE_PROTOCOL, Timestamp.UNIX_MS)
    assert one.tags == (("device", "b9"), ("host", "gw"))
    assert meanings(one) == {"temp": ("air_temperature", "degC")}


def test_plain_numbers_side_by_side_are_one_device():
    found = candidates(
        [
            waiting("new/b9/temperature", b"21.5"),
            waiting("new/b9/humidity", b"90"),
            waiting("new/b8/temperature", b"20"),
            waiting("alone", b"1"),
        ]
    )
    assert [(one.topic, len(one.of)) for one in found] == [
        ("new/b9", 2),
        ("new/b8", 1),
        ("alone", 1),
    ]
    assert meanings(found[0]) == {
        "humidity": ("relative_humidity", "%RH"),
        "temperature": ("air_temperature", "degC"),
    }
    assert found[2].found[0].path == "."


@pytest.mark.parametrize(
    "payload", [b"", b"online", b"\xff\x00", b"nan", b"[", b"true", b"hello world", b'"21.5"']
)
def test_what_nothing_of_ours_reads_is_listed_as_such(payload):
    one = guess("new/1", payload)
    assert (one.payload, one.found) == (None, ())


def test_words_of_a_name():
    assert words_in("airTemp_C2") == ("air", "temp", "c")
    assert words_in("RH2m") == ("rh", "m")
