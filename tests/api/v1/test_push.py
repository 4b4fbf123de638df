"""Who may push, for which sensor, in which payload."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from pydantic import SecretStr

from api.settings import Settings
from collector.gate import Gate
from collector.ingest import Ingest
from collector.tokens import DeviceTokens
from rules.model.place import Sensor

BAG = "/api/v1/readings/tern-hollow/bag-07"
AIR = {"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "t"}


@pytest.fixture
def tokens(tern_hollow) -> DeviceTokens:
    return DeviceTokens(tern_hollow.parts.rejects.file)


@pytest.fixture
def push(tern_hollow, serving):
    """Push to a nursery without a common token; `base_url` and `sensors` can be changed."""

    def at(
        topic: str,
        body: bytes,
        *,
        token: str | None = None,
        settings: Settings | None = None,
        sensors: list[Sensor] | None = None,
        headers: dict[str, str] | None = None,
    ) -> httpx.Response:
        parts = replace(tern_hollow.parts, settings=settings or Settings(push_token=None))
        if sensors is not None:
            gate = Gate(sensors)
            ingest = Ingest(
                gate,
                parts.store,
                rejects=parts.rejects,
                together=parts.rejects.file.writing,
                clock_ms=lambda: 0,
            )
            parts = replace(parts, ingest=ingest)
        sent = dict(headers or {})
        if token is not None:
            sent["authorization"] = f"Bearer {token}"
        with serving(parts) as address:
            return httpx.post(f"{address}/api/v1/readings/{topic}", content=body, headers=sent)

    return at


def shared(name: str) -> Sensor:
    channel = AIR | {"path": f"shed:{name}:air"}
    return Sensor.model_validate(
        {"id": name, "title": name, "topic": "packs", "payload": "senml", "channel": [channel]}
    )


GOOD = b'{"t": 1794669000, "temperature": 21.5, "humidity": 88.0, "battery": 3.0}'


def test_this_machine_may_push_until_a_token_is_made_and_never_again(push, tokens):
    assert push("tern-hollow/bag-07", GOOD).json()["kept"] == 3
    tokens.make("bag-07", sensor="bag-07", at_ms=1)
    assert push("tern-hollow/bag-07", GOOD).status_code == 401
    tokens.revoke("bag-07", at_ms=2)
    refused = push("tern-hollow/bag-07", GOOD)
    assert refused.status_code == 401
    assert "graftvigil device add" in refused.json()["detail"]


@pytest.mark.parametrize(
    "headers", [{"x-forwarded-for": "203.0.113.9"}, {"forwarded": "for=203.0.113.9"}, {"via": "x"}]
)
def test_nobody_may_push_through_a_proxy_without_a_token(push, tokens, headers):
    refused = push("tern-hollow/bag-07", GOOD, headers=headers)
    assert refused.status_code == 403
    assert "graftvigil device add" in refused.json()["detail"]
    token = tokens.make("bag-07", sensor=None, at_ms=1)
    assert push("tern-hollow/bag-07", GOOD, headers=headers, token=token).status_code == 200


def test_nobody_may_push_without_a_token_where_the_pages_are_open_to_others(push):
    settings = Settings(push_token=None, base_url="https://watch.nursery.example")
    assert push("tern-hollow/bag-07", GOOD, settings=settings).status_code == 403


def test_a_token_speaks_for_its_sensor_alone(push, tokens, tern_hollow):
    token = tokens.make("bag-07", sensor="bag-07", at_ms=1)
    assert push("tern-hollow/bag-07", GOOD, token=token).json()["kept"] == 3
    for topic in ("tern-hollow/bag-09", "nobody/here"):
        before = tern_hollow.store.count()
        refused = push(topic, GOOD, token=token)
        assert refused.status_code == 403
        assert "bag-07" in refused.json()["detail"]
        assert tern_hollow.store.count() == before


def test_on_a_shared_topic_a_token_gives_nobody_elses_values(push, tokens, tern_hollow):
    token = tokens.make("one", sensor="one", at_ms=1)
    pack = (
        b'[{"bn":"shed:one:","n":"air","u":"Cel","v":21},'
        b'{"bn":"shed:two:","n":"air","u":"Cel","v":44}]'
    )
    answer = push("packs", pack, token=token, sensors=[shared("one"), shared("two")])
    assert answer.json()["kept"] == 1
    assert [one["problem"].split(":")[0] for one in answer.json()["rejected"]] == ["not allowed"]
    latest = tern_hollow.store.latest()
    assert latest["one/air"].value == 21.0
    assert "two/air" not in latest


def test_wrong_revoked_and_ill_written_tokens_are_refused(push, tokens):
    token = tokens.make("bag-07", sensor=None, at_ms=1)
    gone = tokens.make("old", sensor=None, at_ms=1)
    tokens.revoke("old", at_ms=2)
    for wrong in (gone, token + "x", token[:-1], token.upper(), "x", "\u00fc"):
        headers = {"authorization": f"Bearer {wrong}".encode()}
        assert push("tern-hollow/bag-07", GOOD, headers=headers).status_code == 401
    basic = {"authorization": f"Basic {token}"}
    assert push("tern-hollow/bag-07", GOOD, headers=basic).status_code == 401
    assert push("tern-hollow/bag-07", GOOD, token=token).status_code == 200


def test_the_common_token_of_the_settings_still_counts(push, tokens):
    settings = Settings(push_token=SecretStr("common"))
    assert push("tern-hollow/bag-07", GOOD, settings=settings).status_code == 401
    assert push("tern-hollow/bag-07", GOOD, settings=settings, token="common").status_code == 200


@pytest.mark.parametrize(
    ("payload", "topic", "path", "body"),
    [
        ("json", "x", "t", b'{"t": 21.5}'),
        ("senml", "x", "x:t", b'[{"n":"x:t","u":"Cel","v":21.5}]'),
        ("plain", "x/t", "t", b"21.5"),
        ("line_protocol", "x", "t", b"m t=21.5"),
    ],
)
def test_every_payload_may_be_pushed(push, tern_hollow, payload, topic, path, body):
    channel = AIR | {"path": path}
    sensor = Sensor.model_validate(
        {"id": "x", "title": "x", "topic": "x", "payload": payload, "channel": [channel]}
    )
    assert push(topic, body, sensors=[sensor]).json() == {"kept": 1, "rejected": []}
    assert tern_hollow.store.latest()["x/air"].value == 21.5


def test_only_a_hash_of_a_token_is_on_disk(tokens, tern_hollow, tmp_path):
    token = tokens.make("bag-07", sensor=None, at_ms=1)
    with tern_hollow.parts.rejects.file.reading() as db:
        stored = " ".join(str(row) for row in db.execute("SELECT * FROM device_token"))
        (where,) = db.execute("SELECT file FROM pragma_database_list").fetchone()
    assert token not in stored
    assert token.removeprefix("gvd_") not in stored
    for suffix in ("", "-wal"):
        assert token.encode() not in Path(where + suffix).read_bytes()
