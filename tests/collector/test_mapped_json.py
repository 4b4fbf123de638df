"""What a sensor may send, and what it is told when it sends something else."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.payloads.mapped_json import MappedJson
from collector.payloads.mapping import SPELLINGS, mapping_of
from rules.model.place import Sensor
from rules.model.quantities import MEANINGS


class Read:
    """A message read for one sensor: its one sample taken apart, if there is one."""

    def __init__(self, sensor: Sensor, payload: object) -> None:
        raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
        self.samples, self.refusals, unclaimed = MappedJson(mapping_of(sensor)).read(raw)
        assert len(self.samples) <= 1
        assert unclaimed == ()
        _, self.at_ms, self.values, _ = self.samples[0] if self.samples else (None, None, (), 0)


def decoded(sensor: Sensor, payload: object) -> Read:
    return Read(sensor, payload)


def values(sensor: Sensor, payload: object) -> dict[str, float]:
    return {channel.id: value for channel, value in decoded(sensor, payload).values}


def refusals(sensor: Sensor, payload: object) -> list[tuple[str, str]]:
    return [(r.field, r.kind.value) for r in decoded(sensor, payload).refusals]


def test_values_are_found_at_dotted_paths_and_list_places(make_sensor):
    payload = {"ts": 1_772_000_000_123, "air": {"temp": 21.5, "rh": 94}, "light": [130.25, 9]}
    got = decoded(make_sensor(), payload)
    assert {c.key: v for c, v in got.values} == {
        "bag-07/air": 21.5,
        "bag-07/rh": 94,
        "bag-07/par": 130.25,
    }
    assert got.at_ms == 1_772_000_000_123
    assert list(got.refusals) == []


def test_a_number_may_also_be_a_key(make_sensor):
    assert values(make_sensor(), {"ts": 1, "light": {"0": 5.0}}) == {"par": 5.0}


def test_a_list_may_be_the_whole_message(make_sensor):
    channel = [{"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "1"}]
    sensor = make_sensor(time="arrival", time_path=None, channel=channel)
    assert values(sensor, [7, 21.5]) == {"air": 21.5}


@pytest.mark.parametrize(
    ("payload", "kind"),
    [
        (b"", "not JSON"),
        (b'{"ts": 1, "air": {"temp": 21.5', "not JSON"),
        (b"temp=21.5", "not JSON"),
        (b"\xff\xfe\x00", "not JSON"),
        (b"[" * 100_000, "not JSON"),
        (b'{"ts": ' + b"9" * 5_000 + b"}", "not JSON"),
        (b"21.5", "not an object"),
        (b'"21.5"', "not an object"),
        (b"null", "not an object"),
        (b"true", "not an object"),
    ],
)
def test_a_message_that_is_no_object_is_refused_as_a_whole(make_sensor, payload, kind):
    assert refusals(make_sensor(), payload) == [("payload", kind)]


@pytest.mark.parametrize(
    ("written", "fix"),
    [
        ('"21.5"', "without quotation marks"),
        ('"21,5"', "a point, not a comma"),
        ("null", "nothing to say"),
        ("true", "a switch"),
        ("{}", "must lead to one number"),
        ("[21.5]", "must lead to one number"),
    ],
)
def test_what_is_no_number_is_refused_and_the_other_fields_are_taken(make_sensor, written, fix):
    payload = f'{{"ts": 5, "air": {{"temp": {written}, "rh": 90}}}}'.encode()
    got = decoded(make_sensor(), payload)
    assert {c.id: v for c, v in got.values} == {"rh": 90}
    (refusal,) = got.refusals
    assert (refusal.field, refusal.kind.value) == ("air.temp", "not a number")
    assert fix in refusal.fix


def test_a_channel_left_out_is_no_fault_while_another_is_there(make_sensor):
    got = decoded(make_sensor(), {"ts": 5, "light": [3]})
    assert {c.id: v for c, v in got.values} == {"par": 3}
    assert list(got.refusals) == []


def test_a_message_with_none_of_the_channels_is_refused(make_sensor):
    assert refusals(make_sensor(), {"ts": 5, "battery": 3.6, "light": []}) == [
        ("air.temp", "path missing"),
        ("air.rh", "path missing"),
        ("light.0", "path missing"),
    ]


@pytest.mark.parametrize(
    ("kind", "said", "at_ms"),
    [
        ("unix_s", 1_772_000_000, 1_772_000_000_000),
        ("unix_s", 1_772_000_000.1234, 1_772_000_000_123),
        ("unix_ms", 1_772_000_000_123, 1_772_000_000_123),
        ("iso8601", "2026-02-25T06:13:20Z", 1_772_000_000_000),
        ("iso8601", "2026-02-25T16:13:20.5+10:00", 1_772_000_000_500),
        ("iso8601", "2026-02-24T22:43:20-07:30", 1_772_000_000_000),
    ],
)
def test_each_way_to_tell_the_time(make_sensor, kind, said, at_ms):
    got = decoded(make_sensor(time=kind), {"ts": said, "light": [3]})
    assert got.at_ms == at_ms


@pytest.mark.parametrize(
    ("kind", "written", "fix"),
    [
        ("unix_s", '"1772000000"', "send a number"),
        ("unix_s", "true", "send a number"),
        ("unix_s", "NaN", "clock"),
        ("unix_s", "1e999", "clock"),
        ("unix_ms", "1" + "0" * 400, "clock"),
        ("unix_ms", "null", "send a number"),
        ("iso8601", '"2026-02-25T06:13:20"', "zone"),
        ("iso8601", '"25.02.2026 06:13"', "as in"),
        ("iso8601", '"2026-02-25T06:13:60Z"', "as in"),
        ("iso8601", "1772000000", "as in"),
        ("unix_ms", None, "time_path"),
    ],
)
def test_a_message_whose_time_cannot_be_read_is_refused(make_sensor, kind, written, fix):
    time = "" if written is None else f'"ts": {written}, '
    payload = f'{{{time}"air": {{"temp": 21.5}}}}'.encode()
    got = decoded(make_sensor(time=kind), payload)
    assert list(got.values) == []
    (refusal,) = got.refusals
    assert (refusal.field, refusal.kind.value) == ("ts", "bad time")
    assert fix in refusal.fix


def test_a_sensor_without_a_clock_leaves_the_time_to_us(make_sensor):
    sensor = make_sensor(time="arrival", time_path=None)
    assert decoded(sensor, {"light": [3]}).at_ms is None


@pytest.mark.parametrize(
    ("declared", "said", "taken"),
    [
        ("degC", "degC", True),
        ("degC", "°C", True),
        ("degC", "F", False),
        ("degF", "°F", True),
        ("degF", "C", False),
        ("degC", None, False),
        ("degC", 7, False),
        ("degC", "", False),
    ],
)
def test_a_value_in_another_unit_than_declared_is_refused(make_sensor, declared, said, taken):
    channel = {
        "id": "air",
        "quantity": "air_temperature",
        "unit": declared,
        "path": "t",
        "unit_path": "u",
    }
    sensor = make_sensor(channel=[channel])
    got = decoded(sensor, {"ts": 5, "t": 70.5, "u": said})
    assert bool(got.values) is taken
    assert [r.kind.value for r in got.refusals] == ([] if taken else ["wrong unit"])


def test_the_refusal_names_the_unit_to_write(make_sensor):
    channel = {
        "id": "air",
        "quantity": "air_temperature",
        "unit": "degC",
        "path": "t",
        "unit_path": "u",
    }
    (refusal,) = decoded(make_sensor(channel=[channel]), {"ts": 5, "t": 70, "u": "°F"}).refusals
    assert refusal.fix == 'Write unit = "degF" for channel air'
    (refusal,) = decoded(make_sensor(channel=[channel]), {"ts": 5, "t": 70}).refusals
    assert "unit_path" in refusal.fix


def test_every_unit_that_a_site_file_may_declare_has_its_spellings():
    assert {unit for meaning in MEANINGS.values() for unit in meaning.units} == set(SPELLINGS)


def test_no_spelling_means_two_units_of_one_quantity():
    for meaning in MEANINGS.values():
        said = [word for unit in meaning.units for word in (unit, *SPELLINGS[unit])]
        assert len(said) == len(set(said))


@given(number=st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_is_read_to_its_last_bit(number):
    channel = [{"id": "v", "quantity": "battery", "unit": "V", "path": "v"}]
    sensor = Sensor.model_validate({"id": "a", "title": "a", "topic": "a", "channel": channel})
    assert values(sensor, f'{{"v": {number!r}}}'.encode()) == {"v": number}
