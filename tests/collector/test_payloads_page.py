"""Every example of docs/payloads.md is decoded as the page says, and every refusal refused so."""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.written.like import filled_in
from api.written.toml_text import TomlText
from collector.gate import Gate, Heard, Message
from collector.rejects import Kind, kind_of
from rules.model.payload import Payload
from rules.model.place import Sensor

PAGE = (Path(__file__).parents[2] / "docs" / "payloads.md").read_text(encoding="utf-8")
ARRIVES = datetime(2026, 11, 14, 21, tzinfo=UTC)
EXAMPLES = re.findall(
    r"^```toml\n(.*?)^```\n\n```text\n(\S+) (.*?)\n```\n\n```text\n(.*?)^```", PAGE, re.M | re.S
)
WRITTEN, _ = filled_in(
    TomlText("payloads.md", tomllib.loads("\n".join(written for written, *_ in EXAMPLES)), {})
)
SENSORS = [Sensor.model_validate(one) for one in WRITTEN.values["sensor"]]
REFUSED = re.findall(r"^\| `(shed/\S+) (.*)` \| (.*) \|$", PAGE, re.M)


def heard(topic: str, payload: str) -> Heard:
    found = Heard()
    arrived_ms = int(ARRIVES.timestamp() * 1000)
    Gate(SENSORS).judge(Message(topic, payload.encode(), arrived_ms), found)
    return found


def test_there_is_an_example_of_every_form():
    assert {sensor.payload for sensor in SENSORS} == set(Payload)
    assert f"{ARRIVES:%d %B %Y, %H:%M:%S} UTC" in PAGE


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda one: one[1])
def test_an_example_is_kept_as_the_page_says(example):
    _, topic, payload, kept = example
    found = heard(topic, payload)
    assert found.rejects == []
    said = [
        f"{one.channel} {datetime.fromtimestamp(one.at_ms / 1000, UTC):%Y-%m-%dT%H:%M:%S}."
        f"{one.at_ms % 1000:03d}Z {one.value}"
        for one in found.readings
    ]
    assert said == kept.splitlines()


@pytest.mark.parametrize(("topic", "payload", "kind"), REFUSED)
def test_what_the_page_calls_refused_is_refused_as_that(topic, payload, kind):
    found = heard(topic, payload)
    assert found.readings == []
    assert [kind_of(one) for one in found.rejects] == [kind]
    assert all(one.fix for one in found.rejects)


def test_the_refusals_name_kinds_that_there_are():
    assert len(REFUSED) == 14
    assert {kind for *_, kind in REFUSED} <= {kind.value for kind in Kind}
