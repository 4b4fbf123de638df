"""Whatever arrives: nothing raises, nothing is kept that cannot be accounted for."""

from __future__ import annotations

import json
import os
from math import isfinite

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.gate import MOST_AHEAD_MS, MOST_BEHIND_MS, Gate, Heard, Message
from collector.guess import candidate_of
from collector.payloads.mapping import MOST_SAMPLES
from collector.rejects import Kind, kind_of
from collector.waiting import Waiting
from rules.model.place import Sensor
from rules.model.quantities import MEANINGS, in_our_unit

NOW_MS = 1_772_000_000_000
NOW_S = NOW_MS // 1000
IN_CI = bool(os.environ.get("CI"))
FUZZ = settings(max_examples=2_000 if IN_CI else 300, deadline=None)
FUZZ_GUESSES = settings(max_examples=1_000 if IN_CI else 100, deadline=None)


def channel(name: str, quantity: str, unit: str, path: str, **more: object) -> dict[str, object]:
    return {"id": name, "quantity": quantity, "unit": unit, "path": path, **more}


def sensor(name: str, payload: str, **more: object) -> Sensor:
    return Sensor.model_validate(
        {"id": name, "title": name, "topic": f"fuzz/{name}", "payload": payload, **more}
    )


AIR = ("air_temperature", "degC")
RH = ("relative_humidity", "fraction")
SENSORS = {
    "json": sensor(
        "json",
        "json",
        time="unix_s",
        time_path="t",
        channel=[
            channel("air", *AIR, "air.temp", unit_path="u", scale=0.1),
            channel("rh", *RH, "l.0"),
        ],
    ),
    "samples": sensor(
        "samples",
        "json",
        time="iso8601",
        time_path="t",
        samples_path="s",
        channel=[channel("air", *AIR, "v")],
    ),
    "written": sensor(
        "written",
        "json",
        time="written",
        time_path="t",
        time_format="%d.%m.%Y %H:%M:%S",
        time_zone="Europe/Madrid",
        channel=[channel("air", *AIR, "v")],
    ),
    "senml": sensor(
        "senml",
        "senml",
        time="unix_s",
        channel=[channel("air", *AIR, "b:t"), channel("rh", *RH, "b:h")],
    ),
    "plain": sensor("plain", "plain", channel=[channel("air", *AIR, ".")]),
    "line_protocol": sensor(
        "line_protocol",
        "line_protocol",
        time="unix_ms",
        tags={"d": "b"},
        channel=[channel("air", *AIR, "t", scale=0.1), channel("rh", *RH, "h")],
    ),
}

NUMBERS = st.one_of(
    st.integers(),
    st.floats(),
    st.sampled_from([0, 1, 21.5, 2**28, NOW_S, NOW_MS, 10**400, -(10**400), 1e308, 5e-324]),
)
TEXTS = st.text(max_size=8) | st.sampled_from(
    ["21.5", "degC", "2026-02-25T06:13:20Z", "25.02.2026 07:13:20", "29.03.2026 02:30:00", "b:t"]
)
SCALARS = st.none() | st.booleans() | NUMBERS | TEXTS
NAMES = ["t", "air", "temp", "u", "l", "s", "v", "0", ""]
LABELS = [
    "bn",
    "bt",
    "bu",
    "bv",
    "bs",
    "bver",
    "n",
    "u",
    "v",
    "vb",
    "vs",
    "vd",
    "s",
    "t",
    "ut",
    "x_",
]


def tree(names: list[str]) -> st.SearchStrategy[object]:
    return st.recursive(
        SCALARS,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(names), inner),
        max_leaves=15,
    )


def written(values: st.SearchStrategy[object]) -> st.SearchStrategy[bytes]:
    return values.map(lambda value: json.dumps(value).encode("utf-8", "surrogatepass"))


@st.composite
def bent(draw: st.DrawFn, payloads: st.SearchStrategy[bytes]) -> bytes:
    """A payload with a piece cut out, doubled or overwritten, as a bad line does it."""
    payload = draw(payloads)
    if draw(st.booleans()):
        return payload
    start = draw(st.integers(0, len(payload)))
    end = draw(st.integers(start, len(payload)))
    return (
        payload[:start]
        + draw(st.binary(max_size=6))
        + payload[draw(st.sampled_from([start, end])) :]
    )


GOOD_JSON = st.fixed_dictionaries(
    {},
    optional={
        "t": st.sampled_from([NOW_S, NOW_S - 60, NOW_S + 10**6, "x"]) | NUMBERS,
        "air": st.fixed_dictionaries({"temp": NUMBERS | SCALARS}),
        "u": st.sampled_from(["degC", "°C", "F", 5]),
        "l": st.lists(NUMBERS | SCALARS, max_size=2),
        "v": NUMBERS,
        "s": st.lists(
            st.fixed_dictionaries({"t": TEXTS | NUMBERS, "v": NUMBERS | SCALARS}), max_size=4
        ),
    },
)
RECORD = st.fixed_dictionaries(
    {},
    optional={
        "bn": st.sampled_from(["b:", "", "c/", 5]),
        "n": st.sampled_from(["t", "h", "b:t", "-x", None]),
        "u": st.sampled_from(["Cel", "%RH", "%", "/", "K", "lon", 7]),
        "v": NUMBERS,
        "vb": SCALARS,
        "vs": SCALARS,
        "s": NUMBERS,
        "bt": NUMBERS,
        "t": NUMBERS,
        "bv": NUMBERS,
        "bs": NUMBERS,
        "bver": st.sampled_from([5, 10, 11, "10", True]),
        "near_": SCALARS,
    },
)
WORDS = st.text(st.sampled_from(r"bdt=h, \"#0159.-ieutf" + "\n\x00é"), max_size=60)
LINE = st.builds(
    "{} {}={}{}{}".format,
    st.sampled_from(["m,d=b", "m,d=b,x=\\ y", "m", "m,d=c", ""]),
    st.sampled_from(["t", "h", "x", "t=1,h"]),
    NUMBERS.map(str) | st.sampled_from(["21.5", "1i", "3u", "t", '"x"', '"']),
    st.sampled_from(["", f" {NOW_MS}", f" {NOW_MS}000", " 1.5", " -1"]),
    st.sampled_from(["", "\n", "\nm,d=b t=2 1", "\r\n#"]),
)
USUAL = st.floats(-50, 400).map(lambda value: round(value, 2)) | st.integers(-50, 400)
WHEN = st.sampled_from([NOW_S, NOW_S - 3600, NOW_S + 100])
RIGHT_JSON = st.fixed_dictionaries(
    {
        "t": WHEN,
        "air": st.fixed_dictionaries({"temp": USUAL}),
        "u": st.just("degC"),
        "l": st.lists(st.floats(0, 1.2), min_size=1, max_size=2),
    }
)
RIGHT_SAMPLES = st.fixed_dictionaries(
    {
        "s": st.lists(
            st.fixed_dictionaries({"t": st.just("2026-02-25T06:13:20Z"), "v": USUAL}), max_size=4
        )
    }
)
RIGHT_WRITTEN = st.fixed_dictionaries({"t": st.just("25.02.2026 07:13:20"), "v": USUAL})
RIGHT_SENML = st.lists(
    st.fixed_dictionaries(
        {"n": st.just("b:t"), "u": st.just("Cel"), "v": USUAL, "t": WHEN | st.integers(-90, 0)}
    ),
    min_size=1,
    max_size=4,
)
PAYLOADS = {
    "json": bent(written(RIGHT_JSON | GOOD_JSON | tree(NAMES))),
    "samples": bent(written(RIGHT_SAMPLES | GOOD_JSON | tree(NAMES))),
    "written": bent(written(RIGHT_WRITTEN | GOOD_JSON | tree(NAMES))),
    "senml": bent(written(RIGHT_SENML | st.lists(RECORD, max_size=5) | tree(LABELS))),
    "plain": st.binary(max_size=30)
    | NUMBERS.map(lambda n: str(n)[:200].encode())
    | TEXTS.map(lambda text: text.encode("utf-8", "surrogatepass")),
    "line_protocol": bent((LINE | WORDS).map(lambda text: text.encode())),
}


GATE = Gate(list(SENSORS.values()))


def judged(name: str, payload: bytes, *, retained: bool = False, gate: Gate = GATE) -> Heard:
    heard = Heard()
    gate.judge(Message(f"fuzz/{name}", payload, NOW_MS, retained), heard)
    return heard


def check(name: str, heard: Heard) -> None:
    """Every value kept is finite, within its range, of its sensor, at a time that can be so."""
    own = SENSORS[name]
    channels = {f"{own.id}/{one.id}": one for one in own.channel}
    for reading in heard.readings:
        one = channels[reading.channel]
        assert type(reading.value) is float
        assert isfinite(reading.value)
        meaning = MEANINGS[one.quantity]
        ours = in_our_unit(one.quantity, one.unit, reading.value)
        assert meaning.lowest <= ours <= meaning.highest
        assert type(reading.at_ms) is int
        assert -MOST_BEHIND_MS <= reading.at_ms - NOW_MS <= MOST_AHEAD_MS
    for reject in heard.rejects:
        assert kind_of(reject) in set(Kind)
        assert reject.field
        assert reject.fix
        assert len(reject.payload) <= 200
    assert len(heard.readings) <= MOST_SAMPLES * len(own.channel)


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(SENSORS))
def test_ten_thousand_bent_payloads_do_no_harm(name):
    seen = {"kept": 0, "refused": 0}

    @FUZZ
    @given(payload=PAYLOADS[name], retained=st.booleans())
    def run(payload: bytes, retained: bool) -> None:
        heard = judged(name, payload, retained=retained)
        check(name, heard)
        seen["kept"] += bool(heard.readings)
        seen["refused"] += bool(heard.rejects)

    run()
    # A fuzz that never gets anything past the door has tried nothing.
    assert seen["kept"] > 0
    assert seen["refused"] > 0


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(SENSORS))
def test_whatever_a_stranger_sends_is_guessed_without_harm(name):
    @FUZZ_GUESSES
    @given(payload=PAYLOADS[name], device=st.sampled_from(["", "b:", "d=b"]))
    def run(payload: bytes, device: str) -> None:
        one = candidate_of(Waiting("a/b", device, payload, len(payload), 0, NOW_MS, 1, None))
        assert all(isfinite(found.value) or one.payload is not None for found in one.found)
        assert all(found.path and found.meant.why for found in one.found)

    run()


@given(number=st.floats(-40, 65, allow_nan=False))
@settings(max_examples=300)
def test_a_good_value_is_kept_to_its_last_bit_in_every_payload(number):
    number = number or 0.0
    said = {
        "senml": json.dumps([{"n": "b:t", "u": "Cel", "v": number, "t": NOW_S}]),
        "plain": repr(number),
        "written": json.dumps({"t": "25.02.2026 07:13:20", "v": number}),
        "samples": json.dumps({"s": [{"t": "2026-02-25T06:13:20Z", "v": number}]}),
    }
    # A gate of its own: one that has heard a clockless sensor at this instant moves the next on.
    gate = Gate(list(SENSORS.values()))
    for name, payload in said.items():
        heard = judged(name, payload.encode(), gate=gate)
        assert [(r.value, r.at_ms) for r in heard.readings] == [(number, NOW_MS)], name
        assert heard.rejects == []


LARGEST = {
    "json": b'{"t":1,"air":{"temp":[' + b"[" * 200_000 + b"1",
    "samples": b'{"s":[' + b"{}," * 80_000 + b"{}]}",
    "written": b"[" + b'{"t":0},' * 30_000 + b"0]",
    "senml": b"[" + b'{"n":"b:t","v":1},' * 13_000 + b'{"n":"b:t","v":1}]',
    "plain": b"1" * 250_000,
    "line_protocol": b'm,d=b t="' + b"\\\n," * 80_000,
}


@pytest.mark.parametrize("name", sorted(SENSORS))
def test_the_largest_payload_takes_bounded_memory_and_makes_few_rejects(name):
    import tracemalloc

    tracemalloc.start()
    heard = judged(name, LARGEST[name])
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    check(name, heard)
    assert peak < 64 * 1024 * 1024
    assert 0 < len(heard.rejects) <= MOST_SAMPLES * 2 + 1
