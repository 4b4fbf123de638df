"""InfluxDB line protocol: what its reference page allows, and whose line it is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.gate import Gate, Heard, Message
from collector.payloads.line_protocol import NotALine, lines_in, parsed
from collector.rejects import kind_of
from rules.model.place import Sensor

NOW_MS = 1_772_000_000_000
NOW_NS = NOW_MS * 1_000_000
REFERENCE = "InfluxDB v2 documentation, reference, line protocol (from memory)"


def sensor(name: str = "bag-07", **changes: object) -> Sensor:
    return Sensor.model_validate(
        {
            "id": name,
            "title": name,
            "topic": "shed/lines",
            "payload": "line_protocol",
            "time": "unix_ns",
            "tags": {"device": name},
            "channel": [
                {"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "temp"},
                {"id": "rh", "quantity": "relative_humidity", "unit": "%RH", "path": "rh"},
            ],
        }
        | changes
    )


def heard(sensors: list[Sensor], payload: str | bytes, **more: object) -> Heard:
    raw = payload if isinstance(payload, bytes) else payload.encode()
    found = Heard()
    Gate(sensors).judge(Message("shed/lines", raw, NOW_MS, **more), found)
    return found


@pytest.mark.published(REFERENCE)
@pytest.mark.parametrize(
    ("line", "measurement", "tags", "fields", "time"),
    [
        (
            'myMeasurement,tag1=value1,tag2=value2 fieldKey="fieldValue" 1556813561098000000',
            "myMeasurement",
            {"tag1": "value1", "tag2": "value2"},
            {"fieldKey": "fieldValue"},
            1556813561098000000,
        ),
        ("m f=1.0", "m", {}, {"f": 1.0}, None),
        ("m f=1", "m", {}, {"f": 1.0}, None),
        ("m f=-1.234456e+78 5", "m", {}, {"f": -1.234456e78}, 5),
        ("m f=12485903i", "m", {}, {"f": 12485903}, None),
        ("m f=12485903u", "m", {}, {"f": 12485903}, None),
        ("m a=t,b=TRUE,c=f,d=False", "m", {}, {"a": True, "b": True, "c": False, "d": False}, None),
        (r"my\ Measure\,ment f=1i", "my Measure,ment", {}, {"f": 1}, None),
        (r"m,tag\ Key\=1=tag\,Value\ 1 f=1i", "m", {"tag Key=1": "tag,Value 1"}, {"f": 1}, None),
        (r"m field\ Key\,\==1i", "m", {}, {"field Key,=": 1}, None),
        (r'm f="a \"quoted\", text \\ with = and space"', "m", {}, None, None),
        (r"m\x,t=C:\dir f=1i", r"m\x", {"t": r"C:\dir"}, {"f": 1}, None),
        ("m,t=💧 f=1i -1", "m", {"t": "💧"}, {"f": 1}, -1),
    ],
)
def test_a_line_is_taken_apart(line, measurement, tags, fields, time):
    said = parsed(line)
    assert (said.measurement, dict(said.tags), said.time) == (measurement, tags, time)
    if fields is None:
        fields = {"f": 'a "quoted", text \\ with = and space'}
    assert said.fields == fields
    assert [type(value) for value in said.fields.values()] == [type(v) for v in fields.values()]


@pytest.mark.parametrize(
    "line",
    [
        "m",
        "m ",
        ",t=1 f=1",
        "m, f=1",
        "m,t f=1",
        "m,t= f=1",
        "m,t=1,t=2 f=1",
        "m f",
        "m f=",
        "m =1",
        "m f=1,",
        "m f=1,f=2",
        "m f=1 2 3",
        "m f=1 2.5",
        "m f=1 9223372036854775808",
        "m f=9223372036854775808i",
        "m f=18446744073709551616u",
        "m f=-1u",
        "m f=1.5i",
        "m f=yes",
        "m f=nan",
        "m f=0x10",
        "m f=1_000",
        "m f='text'",
        'm f="text',
        'm f="text"x',
        "m f=\u0661",
    ],
)
def test_what_is_no_line_is_refused(line):
    with pytest.raises(NotALine):
        parsed(line)


def test_the_largest_whole_numbers_are_read_exactly():
    assert parsed("m a=-9223372036854775808i,b=18446744073709551615u").fields == {
        "a": -(2**63),
        "b": 2**64 - 1,
    }


def test_comments_empty_lines_and_line_feeds_within_texts():
    text = '# a "comment\n\nm f="one\ntwo"\r\n  # more\nm g="x" 1\nm,t="a f=1\n'
    assert list(lines_in(text)) == ['m f="one\ntwo"', 'm g="x" 1', 'm,t="a f=1']


PLAIN = st.text(st.characters(codec="utf-8", exclude_characters='\n\r\\"'), min_size=1, max_size=8)
TEXT = st.text(st.characters(codec="utf-8"))
NUMBER = st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(2**63), 2**63 - 1)


def escaped(text: str, marks: str) -> str:
    return "".join(f"\\{mark}" if mark in marks else mark for mark in text)


def written(value: object) -> str:
    if isinstance(value, bool):
        return "t" if value else "F"
    if isinstance(value, int):
        return f"{value}i"
    if isinstance(value, float):
        return repr(value)
    return '"' + str(value).replace("\\", "\\\\").replace('"', '\\"') + '"'


@given(
    measurement=PLAIN.filter(lambda text: not text.startswith("#") and text.strip() == text),
    tags=st.dictionaries(PLAIN, PLAIN, max_size=3),
    fields=st.dictionaries(
        PLAIN,
        NUMBER | st.booleans() | st.text(st.characters(codec="utf-8")),
        min_size=1,
        max_size=3,
    ),
    time=st.none() | st.integers(-(2**63) + 1, 2**63 - 1),
)
def test_every_line_written_by_the_rules_is_read_back(measurement, tags, fields, time):
    line = escaped(measurement, ", ")
    line += "".join(f",{escaped(k, ',= ')}={escaped(v, ',= ')}" for k, v in tags.items())
    line += " " + ",".join(f"{escaped(k, ',= ')}={written(v)}" for k, v in fields.items())
    line += "" if time is None else f" {time}"
    said = parsed(line)
    assert (said.measurement, said.tags, said.fields, said.time) == (
        measurement,
        tags,
        fields,
        time,
    )


def test_lines_go_to_the_sensors_whose_tags_they_carry():
    found = heard(
        [sensor(), sensor("bag-08")],
        f"bag,device=bag-07,host=gw temp=21.5,rh=91i {NOW_NS}\n"
        f"bag,device=bag-08 temp=19 {NOW_NS - 10**9}\n"
        f"bag,device=bag-99 temp=18 {NOW_NS}\n",
    )
    assert [(r.channel, r.at_ms - NOW_MS, r.value) for r in found.readings] == [
        ("bag-07/air", 0, 21.5),
        ("bag-07/rh", 0, 91.0),
        ("bag-08/air", -1000, 19.0),
    ]
    assert [u.device for u in found.unclaimed] == ["device=bag-99"]
    assert [kind_of(r) for r in found.rejects] == ["unknown device"]


def test_lines_with_tags_are_never_taken_by_a_sensor_that_names_none():
    found = heard([sensor(tags={})], f"bag,device=a temp=1 {NOW_NS}\nbag temp=2 {NOW_NS}")
    assert [r.value for r in found.readings] == [2.0]
    assert [u.device for u in found.unclaimed] == ["device=a"]


@pytest.mark.parametrize(
    ("precision", "a_second"),
    [("unix_s", 1), ("unix_ms", 10**3), ("unix_us", 10**6), ("unix_ns", 10**9)],
)
def test_each_precision_of_the_time(precision, a_second):
    line = f"bag,device=bag-07 temp=21.5 {NOW_MS // 1000 * a_second}"
    assert [r.at_ms for r in heard([sensor(time=precision)], line).readings] == [NOW_MS]


def test_a_sensor_without_a_clock_has_its_times_left_out_of_account():
    found = heard([sensor(time="arrival")], "bag,device=bag-07 temp=21.5 5")
    assert [r.at_ms for r in found.readings] == [NOW_MS]


def test_a_line_without_a_time_is_refused_where_the_time_is_declared():
    found = heard([sensor()], "bag,device=bag-07 temp=21.5")
    assert found.readings == []
    assert [(kind_of(r), r.sensor) for r in found.rejects] == [("bad time", "bag-07")]


def test_a_bad_line_does_not_spoil_the_others():
    found = heard([sensor()], f"bag,device=bag-07 temp=x\nbag,device=bag-07 temp=21 {NOW_NS}")
    assert [r.value for r in found.readings] == [21.0]
    assert [(kind_of(r), r.field) for r in found.rejects] == [("not line protocol", "line 1")]


def test_switches_and_texts_are_no_numbers():
    found = heard([sensor()], f'bag,device=bag-07 temp=t,rh="91" {NOW_NS}')
    assert found.readings == []
    assert [kind_of(r) for r in found.rejects] == ["not a number"] * 2


def test_a_measurement_narrows_what_counts():
    channel = [
        {
            "id": "air",
            "quantity": "air_temperature",
            "unit": "degC",
            "path": "value",
            "measurement": "air",
        }
    ]
    lines = f"air,device=bag-07 value=21 {NOW_NS}\nsoil,device=bag-07 value=12 {NOW_NS}"
    found = heard([sensor(channel=channel)], lines)
    assert [r.value for r in found.readings] == [21.0]
    assert found.rejects == []


def test_a_sensor_whose_fields_never_come_is_told_so():
    found = heard([sensor()], f"bag,device=bag-07 temperature=21 {NOW_NS}")
    assert [(kind_of(r), r.field) for r in found.rejects] == [
        ("path missing", "temp"),
        ("path missing", "rh"),
    ]


@pytest.mark.parametrize("payload", [b"", b"# nothing\n", b"\xff\xfe"])
def test_no_line_at_all_is_said(payload):
    assert [kind_of(r) for r in heard([sensor()], payload).rejects] == ["not line protocol"]
