"""SenML packs resolved as RFC 8428 prints them, and given to the channels that name them."""

from __future__ import annotations

import json

import pytest

from collector.gate import Gate, Heard, Message
from collector.payloads.senml import ABSOLUTE_FROM_S, NotSenML, Record, resolved
from collector.rejects import kind_of
from rules.model.place import Sensor

NOW_MS = 1_772_000_000_000
BAG = "urn:dev:ow:10e2073a01080063:"


def pack(*records: dict[str, object]) -> bytes:
    return json.dumps(records).encode()


def sensor(name: str = "bag-07", prefix: str = BAG, **changes: object) -> Sensor:
    return Sensor.model_validate(
        {
            "id": name,
            "title": name,
            "topic": "shed/packs",
            "payload": "senml",
            "time": "unix_s",
            "channel": [
                {
                    "id": "air",
                    "quantity": "air_temperature",
                    "unit": "degC",
                    "path": prefix + "temp",
                },
                {
                    "id": "rh",
                    "quantity": "relative_humidity",
                    "unit": "%RH",
                    "path": prefix + "rh",
                },
            ],
        }
        | changes
    )


def heard(sensors: list[Sensor], payload: bytes, **more: object) -> Heard:
    found = Heard()
    Gate(sensors).judge(Message("shed/packs", payload, NOW_MS, **more), found)
    return found


@pytest.mark.published("RFC 8428 (2018), section 5.1.1")
def test_a_single_datapoint():
    said = b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    assert resolved(said) == [Record("urn:dev:ow:10e2073a01080063", "Cel", 0.0, 23.1, None)]


@pytest.mark.published("RFC 8428 (2018), section 5.1.2")
def test_voltage_and_current_with_a_base_name():
    said = b"""[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
      {"n":"current","u":"A","v":1.2}]"""
    assert [(r.name, r.unit, r.value) for r in resolved(said)] == [
        ("urn:dev:ow:10e2073a01080063:voltage", "V", 120.1),
        ("urn:dev:ow:10e2073a01080063:current", "A", 1.2),
    ]


@pytest.mark.published("RFC 8428 (2018), section 5.1.2, second example, base version and times")
def test_base_time_base_unit_and_an_older_version():
    said = b"""[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
      "bu":"A","bver":5, "n":"voltage","u":"V","v":120.1},
      {"n":"current","t":-5,"v":1.2}, {"n":"current","t":-4,"v":1.3},
      {"n":"current","t":-3,"v":1.4}, {"n":"current","t":-2,"v":1.5},
      {"n":"current","t":-1,"v":1.6}, {"n":"current","v":1.7}]"""
    name = "urn:dev:ow:10e2073a0108006:"
    assert [(r.name, r.unit, r.time_s, r.value) for r in resolved(said)] == [
        (name + "voltage", "V", 1.276020076001e09, 120.1),
        (name + "current", "A", 1.276020071001e09, 1.2),
        (name + "current", "A", 1.276020072001e09, 1.3),
        (name + "current", "A", 1.276020073001e09, 1.4),
        (name + "current", "A", 1.276020074001e09, 1.5),
        (name + "current", "A", 1.276020075001e09, 1.6),
        (name + "current", "A", 1.276020076001e09, 1.7),
    ]


HUMIDITY = b"""[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
  {"u":"lon","v":24.30621}, {"u":"lat","v":60.07965},
  {"t":60,"v":20.3}, {"u":"lon","t":60,"v":24.30622}, {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7}, {"u":"lon","t":120,"v":24.30623}, {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2}, {"u":"lon","t":180,"v":24.30628}, {"u":"lat","t":180,"v":60.07967}]"""


@pytest.mark.published("RFC 8428 (2018), sections 5.1.3 and 5.1.4, resolved data")
def test_many_measurements_resolve_as_printed():
    start = 1320067464
    assert [(r.unit, r.time_s - start, r.value) for r in resolved(HUMIDITY)] == [
        ("%RH", 0, 20),
        ("lon", 0, 24.30621),
        ("lat", 0, 60.07965),
        ("%RH", 60, 20.3),
        ("lon", 60, 24.30622),
        ("lat", 60, 60.07965),
        ("%RH", 120, 20.7),
        ("lon", 120, 24.30623),
        ("lat", 120, 60.07966),
        ("%EL", 150, 98),
        ("%RH", 180, 21.2),
        ("lon", 180, 24.30628),
        ("lat", 180, 60.07967),
    ]
    assert {r.name for r in resolved(HUMIDITY)} == {"urn:dev:ow:10e2073a01080063"}


def test_one_name_with_several_quantities_gives_the_channel_its_own():
    channel = {
        "id": "rh",
        "quantity": "relative_humidity",
        "unit": "%RH",
        "path": "urn:dev:ow:10e2073a01080063",
    }
    mobile = sensor(channel=[channel])
    found = Heard()
    Gate([mobile]).judge(Message("shed/packs", HUMIDITY, 1_320_067_664_000), found)
    assert [(r.at_ms // 1000 - 1_320_067_464, r.value) for r in found.readings] == [
        (0, 20.0),
        (60, 20.3),
        (120, 20.7),
        (180, 21.2),
    ]
    assert found.rejects == []


@pytest.mark.published("RFC 8428 (2018), section 5.1.5")
def test_texts_switches_and_data_are_resolved_and_never_taken_for_numbers():
    said = b"""[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
      {"n":"label","vs":"Machine Room"}, {"n":"open","vb":false},
      {"n":"nfc-reader","vd":"aGkgCg"}]"""
    assert [r.value for r in resolved(said)] == [23.1, "Machine Room", False, "aGkgCg"]
    channel = [
        {"id": "a", "quantity": "battery", "unit": "V", "path": BAG + part}
        for part in ("label", "open", "nfc-reader")
    ]
    for place, one in enumerate(channel):
        one["id"] = f"a{place}"
    found = heard([sensor(channel=channel)], said)
    assert found.readings == []
    kinds = [kind_of(r) for r in found.rejects]
    assert kinds == ["not a number"] * 3 + ["unknown device"]


@pytest.mark.published("RFC 8428 (2018), section 5.1.6")
def test_the_base_time_stays_where_the_base_name_changes():
    said = b"""[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
      {"n":"humidity","u":"%RH","v":30},
      {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
      {"n":"humidity","u":"%RH","v":67}]"""
    assert [(r.name, r.time_s, r.value) for r in resolved(said)] == [
        ("2001:db8::2/temperature", 1320078429, 25.2),
        ("2001:db8::2/humidity", 1320078429, 30),
        ("2001:db8::1/temperature", 1320078429, 12.3),
        ("2001:db8::1/humidity", 1320078429, 67),
    ]


def test_a_base_value_and_a_base_sum_are_added_and_a_missing_part_counts_as_zero():
    said = pack(
        {"bn": "a:", "bv": 20, "bs": 100, "n": "t", "v": 1.5, "s": 5},
        {"n": "t"},
        {"n": "t", "s": 7},
        {"n": "t", "vs": "text"},
    )
    assert [(r.value, r.sum_s) for r in resolved(said)] == [
        (21.5, 105.0),
        (20.0, 100.0),
        (None, 107.0),
        ("text", 100.0),
    ]


def test_a_first_record_may_hold_the_base_alone():
    said = pack({"bn": "a:", "bt": 1_772_000_000, "bu": "Cel"}, {"n": "t", "v": 3})
    assert resolved(said) == [Record("a:t", "Cel", 1_772_000_000.0, 3, None)]


@pytest.mark.parametrize(
    ("said", "where"),
    [
        (b"", "payload"),
        (b"21.5", "payload"),
        (b'{"n":"a","v":1}', "payload"),
        (b"[]", "payload"),
        (b"[1]", "0"),
        (b'[{"n":"a","v":NaN}]', "payload"),
        (b'[{"n":"a","v":"1"}]', "0.v"),
        (b'[{"n":"a","v":true}]', "0.v"),
        (b'[{"n":"a","vb":1}]', "0.vb"),
        (b'[{"n":5,"v":1}]', "0.n"),
        (b'[{"v":1}]', "0.n"),
        (b'[{"n":"-a","v":1}]', "0.n"),
        (b'[{"n":"a b","v":1}]', "0.n"),
        (b'[{"n":"a"}]', "0"),
        (b'[{"n":"a","v":1,"vs":"x"}]', "0"),
        (b'[{"n":"a","v":1,"t":1e300}]', "0.t"),
        (b'[{"n":"a","v":1,"t":"now"}]', "0.t"),
        (b'[{"n":"a","v":1,"bver":11}]', "0.bver"),
        (b'[{"n":"a","v":1,"bver":0}]', "0.bver"),
        (b'[{"n":"a","v":1,"bver":10},{"n":"a","v":1,"bver":9}]', "1.bver"),
        (b'[{"n":"a","v":1,"near_":2}]', "0.near_"),
        (b'[{"n":"a","v":1},{"n":"b","v":1,"x_":null}]', "1.x_"),
    ],
)
def test_a_pack_that_breaks_a_rule_is_refused_as_a_whole(said, where):
    with pytest.raises(NotSenML) as caught:
        resolved(said)
    assert caught.value.place == where
    found = heard([sensor(prefix="")], said)
    assert found.readings == []
    assert [(kind_of(r), r.sensor) for r in found.rejects] == [("not SenML", "bag-07")]


def test_an_unknown_field_that_need_not_be_understood_is_passed_over():
    assert resolved(b'[{"n":"a","v":1,"foo":{"x":[1]},"l":"x"}]')[0].value == 1


def test_records_go_to_the_channels_of_several_sensors_on_one_topic():
    other = "urn:dev:ow:20:"
    found = heard(
        [sensor(), sensor("bag-08", other)],
        pack(
            {"bn": BAG, "bt": NOW_MS / 1000, "n": "temp", "u": "Cel", "v": 21.5},
            {"n": "rh", "u": "%RH", "v": 91, "t": -1},
            {"bn": other, "n": "temp", "u": "Cel", "v": 19},
        ),
    )
    assert [(r.channel, r.at_ms - NOW_MS, r.value) for r in found.readings] == [
        ("bag-07/air", 0, 21.5),
        ("bag-07/rh", -1000, 91.0),
        ("bag-08/air", 0, 19.0),
    ]
    assert found.rejects == []


def test_a_device_nobody_declared_is_named_and_the_others_are_read():
    said = pack(
        {"bn": BAG, "n": "temp", "u": "Cel", "v": 21.5},
        {"bn": "urn:dev:ow:99:", "n": "temp", "u": "Cel", "v": 20},
        {"n": "rh", "u": "%RH", "v": 90},
    )
    found = heard([sensor()], said)
    assert [r.channel for r in found.readings] == ["bag-07/air"]
    assert [(u.topic, u.device) for u in found.unclaimed] == [("shed/packs", "urn:dev:ow:99:")]


@pytest.mark.parametrize(
    ("time_s", "at_ms"),
    [
        (0, NOW_MS),
        (-10, NOW_MS - 10_000),
        (ABSOLUTE_FROM_S - 1, None),  # relative still: eight years ahead of us
        (-90 * 86_400, None),
        (NOW_MS / 1000 - 7, NOW_MS - 7_000),
    ],
)
@pytest.mark.published("RFC 8428 (2018), section 4.5.3: below 2**28 s a time is relative to now")
def test_times_near_zero_count_from_the_arrival(time_s, at_ms):
    found = heard([sensor()], pack({"n": BAG + "temp", "u": "Cel", "v": 20, "t": time_s}))
    assert [r.at_ms for r in found.readings] == ([] if at_ms is None else [at_ms])
    assert len(found.rejects) == (at_ms is None)


@pytest.mark.published("RFC 8428 (2018), section 4.5.3: 2**28 is 1978-07-04T21:24:16Z")
def test_the_first_absolute_time_is_an_instant_in_1978():
    assert ABSOLUTE_FROM_S == 268_435_456
    found = heard([sensor()], pack({"n": BAG + "temp", "u": "Cel", "v": 20, "t": 268_435_456}))
    assert [kind_of(r) for r in found.rejects] == ["clock behind"]
    found = heard([sensor()], pack({"n": BAG + "temp", "u": "Cel", "v": 20, "t": 268_435_455}))
    assert [kind_of(r) for r in found.rejects] == ["clock ahead"]


def test_a_device_whose_clock_is_not_trusted_still_tells_the_steps_between_its_records():
    records = [
        {"n": BAG + "temp", "u": "Cel", "v": v, "t": 1_000_000_000 + step}
        for step, v in ((0, 20.0), (60, 20.5), (120, 21.0))
    ]
    found = heard([sensor(time="arrival")], pack(*records))
    assert [(r.at_ms - NOW_MS, r.value) for r in found.readings] == [
        (-120_000, 20.0),
        (-60_000, 20.5),
        (0, 21.0),
    ]


@pytest.mark.parametrize(
    ("declared", "said", "value", "taken"),
    [
        ("%RH", "%RH", 91.0, True),
        ("%RH", None, 91.0, True),
        ("%RH", "%", 91.0, False),
        ("%RH", "/", 0.91, False),
        ("fraction", "/", 0.91, True),
        ("fraction", "%", 0.91, True),
        ("fraction", "%", 91.0, False),
        ("fraction", "%RH", 91.0, False),
    ],
)
@pytest.mark.published('RFC 8428 (2018), section 12.1, note 1 on "/" and "%": a ratio')
def test_percent_is_a_ratio_in_senml_and_relative_humidity_has_its_own_unit(
    declared, said, value, taken
):
    channel = [
        {"id": "rh", "quantity": "relative_humidity", "unit": declared, "path": BAG + "rh"},
    ]
    record = {"n": BAG + "rh", "v": value} | ({} if said is None else {"u": said})
    found = heard([sensor(channel=channel)], pack(record))
    assert bool(found.readings) is taken
    assert len(found.rejects) == (0 if taken else 1)


def test_the_refused_unit_names_the_one_to_write():
    found = heard([sensor()], pack({"n": BAG + "temp", "u": "K", "v": 294.0}))
    assert [(kind_of(r), r.fix) for r in found.rejects] == [
        ("wrong unit", 'Write unit = "K" for channel air')
    ]
    found = heard([sensor()], pack({"n": BAG + "rh", "u": "%", "v": 91}))
    assert 'send "%RH"' in found.rejects[0].fix


def test_records_without_a_time_are_one_moment_and_a_second_value_is_another():
    found = heard(
        [sensor()],
        pack(
            {"bn": BAG, "n": "temp", "u": "Cel", "v": 20},
            {"n": "rh", "u": "%RH", "v": 90},
            {"n": "temp", "u": "Cel", "v": 21},
        ),
    )
    assert [(r.channel, r.at_ms - NOW_MS, r.value) for r in found.readings] == [
        ("bag-07/air", 0, 20.0),
        ("bag-07/rh", 0, 90.0),
        ("bag-07/air", 1, 21.0),
    ]


def test_a_sum_alone_is_no_value_for_a_channel():
    found = heard([sensor()], pack({"n": BAG + "temp", "u": "Cel", "s": 50}))
    assert found.readings == []
    assert [kind_of(r) for r in found.rejects] == ["not a number"]


def test_an_old_copy_with_relative_times_is_not_taken_for_new():
    found = heard([sensor()], pack({"n": BAG + "temp", "u": "Cel", "v": 20}), retained=True)
    assert [kind_of(r) for r in found.rejects] == ["old copy"]
    assert found.readings == []
