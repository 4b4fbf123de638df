"""The JSON API says what the pages say, and refuses with problem details (RFC 9457)."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, timezone
from pathlib import Path

import httpx
import pytest
from sqlalchemy import text

from api.v1.readings import MOST_BODY_BYTES

V1 = "/api/v1"
TERN_HOLLOW = timezone(timedelta(hours=11))
DOCUMENT = Path(__file__).parents[3] / "docs" / "api.md"
TOKEN = {"authorization": "Bearer a token only this test knows"}


def test_every_batch_is_listed_with_its_standing(looking):
    standing = {one["code"]: one["standing"] for one in looking.get(f"{V1}/batches").json()}
    assert len(standing) == 12
    assert standing["MG-07"] == "in_danger"
    assert standing["CI-15"] == "blind"
    assert sorted(set(standing.values()) - {"in_danger", "blind"}) == ["steady"]


def test_one_batch_says_value_limit_and_since(looking):
    body = looking.get(f"{V1}/batches/MG-07").json()
    dry = next(one for one in body["judged"] if one["limit"] == "air-dry-danger")
    assert dry["raised"]
    assert dry["bound"] == 80.0
    assert dry["value"] < 80.0
    assert dry["margin"] == pytest.approx((dry["value"] - 80.0) / 15.0)
    assert dry["since"] == "2026-11-14T14:54:00Z"


def test_what_no_sensor_tells_is_said_to_be_reckoned(looking):
    felt = {one["quantity"]: one for one in looking.get(f"{V1}/batches/MG-07").json()["felt"]}
    assert (felt["relative_humidity"]["reckoned"], felt["relative_humidity"]["channel"]) == (
        False,
        "bag-07/humidity",
    )
    leaf = felt["leaf_temperature"]
    assert (leaf["reckoned"], leaf["channel"], leaf["age_min"]) == (True, None, None)
    assert 10.0 < leaf["value"] < 40.0
    assert 0.0 <= felt["moisture_reserve"]["value"] <= 100.0


def test_record_has_an_entry_per_minute_and_null_where_blind(looking):
    span = {"from": "2026-11-14T10:00:00Z", "to": "2026-11-14T15:00:00Z"}
    body = looking.get(f"{V1}/batches/CI-15/record", params=span).json()
    assert len(body["margin"]) == len(body["standing"]) == 300
    humidity = body["felt"]["relative_humidity"]
    assert humidity[0] is not None
    assert humidity[-1] is None
    assert body["standing"][-1] == "blind"
    assert body["units"]["relative_humidity"] == "%"


def test_record_read_twice_while_time_passes_grows_and_keeps_what_it_said(
    client, tern_hollow, serving
):
    span = {"from": "2026-11-14T12:00:00Z", "to": "2026-11-14T16:00:00Z"}
    first = client.get(f"{V1}/batches/MG-07/record", params=span).json()
    tern_hollow.go_on(5)
    second = client.get(f"{V1}/batches/MG-07/record", params=span).json()
    assert len(second["margin"]) == len(first["margin"]) + 5
    assert second["margin"][: len(first["margin"])] == first["margin"]
    assert second["standing"][: len(first["standing"])] == first["standing"]
    with serving(tern_hollow.parts) as anew:
        assert httpx.get(f"{anew}{V1}/batches/MG-07/record", params=span).json() == second


def test_alarm_is_acknowledged_once(client):
    waiting = client.get(f"{V1}/alarms", params={"state": "unacknowledged"}).json()
    number = next(one["id"] for one in waiting if one["condition"] == "air-dry-danger")
    first = client.post(f"{V1}/alarms/{number}/acknowledge", json={"by": "tobin"})
    assert first.status_code == 200
    assert first.json()["state"] == "acknowledged"
    assert first.json()["acknowledged_by"] == "tobin"
    again = client.post(f"{V1}/alarms/{number}/acknowledge", json={"by": "wren"})
    assert again.status_code == 409
    whole = client.get(f"{V1}/alarms/{number}").json()
    assert [change["cue"] for change in whole["changes"]] == ["raised", "acknowledged"]


def test_an_alarm_says_how_fast_it_got_worse_as_its_page_does(looking):
    found = looking.get(f"{V1}/alarms", params={"batch": "MG-07"}).json()
    number = next(one["id"] for one in found if one["condition"] == "air-dry")
    pace = looking.get(f"{V1}/alarms/{number}").json()["pace"]
    page = looking.get(f"/alarms/{number}").text
    assert pace["change_min"] == 20
    assert f"it fell by {-pace['change']:.1f} % in 20 minutes" in page
    graver_at = datetime.fromisoformat(pace["graver_at"]).astimezone(TERN_HOLLOW)
    assert f"it passes {pace['graver']:.0f} % about {graver_at:%H:%M}" in page
    hours = pace["hours"]
    assert 0.0 < hours["low"] < 72.0 < hours["likely"] <= hours["high"]
    assert f"water lasts more than 72 h, at worst {hours['low']:.0f} h" in page


def test_alarms_can_be_asked_for_by_batch(looking):
    found = looking.get(f"{V1}/alarms", params={"batch": "MG-07"}).json()
    assert {one["batch"] for one in found} == {"MG-07"}
    assert {one["condition"] for one in found} == {"air-dry", "air-dry-danger"}


def test_readings_come_raw_with_their_declared_unit(looking):
    latest = {one["channel"]: one for one in looking.get(f"{V1}/readings/latest").json()}
    assert latest["air-5/humidity"]["declared_unit"] == "fraction"
    assert 0.3 < latest["air-5/humidity"]["value"] < 1.0
    span = {
        "channel": "bag-07/air",
        "from": "2026-11-14T15:00:00Z",
        "to": "2026-11-14T15:05:00Z",
    }
    found = looking.get(f"{V1}/readings", params=span).json()
    assert len(found) >= 4
    assert [one["at"] for one in found] == sorted(one["at"] for one in found)


def test_sensor_says_what_it_speaks_for(looking):
    sensors = {one["id"]: one for one in looking.get(f"{V1}/sensors").json()}
    assert sensors["bag-15"]["channels"][0]["speaks_for"]["cover_of"] == "CI-15"
    assert sensors["sky"]["channels"][0]["speaks_for"]["open_sky"] is True
    assert sensors["hand-probe"]["channels"][0]["last_at"] is None


def test_watch_says_how_far_it_has_come(client, tern_hollow):
    before = client.get(f"{V1}/watch").json()
    assert before["judged_to"] == "2026-11-14T15:08:00Z"
    assert before["lag_s"] == 120
    tern_hollow.stand_still(30)
    assert client.get(f"{V1}/watch").json()["lag_s"] == 120 + 1800


def test_pushed_message_is_kept_before_the_answer(client, tern_hollow):
    payload = {"t": 1794669000, "temperature": 21.5, "humidity": 88.0, "battery": 3.0}
    before = tern_hollow.store.count()
    answer = client.post(f"{V1}/readings/tern-hollow/bag-07", json=payload, headers=TOKEN)
    assert answer.status_code == 200, answer.text
    assert answer.json() == {"kept": 3, "rejected": []}
    assert tern_hollow.store.count() == before + 3


def test_pushed_value_that_is_refused_says_why_and_is_listed(client):
    payload = {"t": 1794669000, "temperature": "warm", "humidity": 88.0, "battery": 3.0}
    body = client.post(f"{V1}/readings/tern-hollow/bag-07", json=payload, headers=TOKEN).json()
    assert body["kept"] == 2
    (refused,) = body["rejected"]
    assert refused["field"] == "temperature"
    assert refused["fix"]
    listed = client.get(f"{V1}/rejects").json()
    assert listed["newest"][0]["topic"] == "tern-hollow/bag-07"
    assert sum(listed["counts"].values()) >= 1


def test_push_of_an_unknown_topic_keeps_nothing_and_says_so(client):
    body = client.post(f"{V1}/readings/nobody/here", json={"x": 1}, headers=TOKEN).json()
    assert body["kept"] == 0
    assert body["rejected"][0]["problem"].startswith("unknown topic")


@pytest.mark.parametrize(
    "headers", [{}, {"authorization": "Bearer wrong"}, {"authorization": "Basic dG9rZW4="}]
)
def test_push_without_the_token_is_refused(client, tern_hollow, headers):
    before = tern_hollow.store.count()
    answer = client.post(f"{V1}/readings/tern-hollow/bag-07", json={}, headers=headers)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert tern_hollow.store.count() == before


def test_push_that_is_too_long_is_refused(client):
    body = b"x" * (MOST_BODY_BYTES + 1)
    answer = client.post(f"{V1}/readings/tern-hollow/bag-07", content=body, headers=TOKEN)
    assert answer.status_code == 413


def test_store_that_refuses_makes_the_device_send_again(client, tern_hollow):
    tern_hollow.store.close()
    answer = client.post(f"{V1}/readings/tern-hollow/bag-07", json={"t": 1}, headers=TOKEN)
    assert answer.status_code == 503
    assert answer.headers["retry-after"] == "30"
    assert client.get(f"{V1}/readings/latest").status_code == 503


@pytest.mark.published("RFC 9457, Problem Details for HTTP APIs, section 3")
@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/nothing", 404),
        ("GET", "/batches/XX-99", 404),
        ("GET", "/alarms/999999", 404),
        ("GET", "/alarms/one", 422),
        ("POST", "/alarms/999999/acknowledge", 422),
        ("DELETE", "/batches", 405),
        ("GET", "/readings?channel=bag-07/air&from=2026&to=now", 422),
        ("GET", "/readings?channel=x/y&from=2026-01-01T00:00Z&to=2026-01-02T00:00Z", 404),
        ("GET", "/batches/MG-07/record?from=2026-11-14T00:00Z&to=2026-11-13T00:00Z", 422),
    ],
)
def test_every_refusal_is_a_problem_detail(client, method, path, status):
    answer = client.request(method, f"{V1}{path}")
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert body["status"] == status
    assert body["type"] == "about:blank"
    assert body["instance"].startswith(V1)
    assert body["detail"].strip()
    assert body["title"]
    if status == 405:
        assert "GET" in answer.headers["allow"]


def test_our_own_fault_is_a_problem_detail_too(client, tern_hollow):
    with tern_hollow.parts.records.begin() as db:
        db.execute(text("ALTER TABLE alarms RENAME TO elsewhere"))
    answer = client.get(f"{V1}/alarms")
    assert answer.status_code == 500
    assert answer.headers["content-type"] == "application/problem+json"
    assert "elsewhere" not in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    page = httpx.get(f"{client.base_url}/alarms")  # after a fault the server drops the connection
    assert page.status_code == 500
    assert "Something went wrong here." in page.text


def test_the_document_of_the_api_names_every_route_and_no_other(looking):
    schema = looking.get(f"{V1}/openapi.json").json()
    described = {
        f"{method.upper()} {re.sub('{[^}]*}', '{}', path.removeprefix(V1))}"
        for path, methods in schema["paths"].items()
        for method in methods
    }
    written = re.findall(r"`(GET|POST|PUT|DELETE) ([^`? ]*)", DOCUMENT.read_text(encoding="utf-8"))
    beside_it = {"GET /events", "GET /healthz", "GET /metrics"}
    assert described | beside_it == {
        f"{method} {re.sub('{[^}]*}', '{}', path)}" for method, path in written
    }


def test_openapi_loads_nothing_from_elsewhere(looking):
    assert looking.get("/docs").status_code == 404
    assert looking.get("/redoc").status_code == 404


def test_cells_tell_a_stretch_of_raw_values(looking):
    span = {"channel": "bag-07/air", "from": "2000-01-01T00:00Z", "to": "2100-01-01T00:00Z"}
    raw = looking.get(f"{V1}/readings", params=span).json()
    cells = looking.get(f"{V1}/readings/cells", params=span | {"minutes": 1440}).json()
    assert sum(cell["count"] for cell in cells) == len(raw) > 0
    assert min(cell["lowest"] for cell in cells) == min(one["value"] for one in raw)
    assert max(cell["highest"] for cell in cells) == max(one["value"] for one in raw)
    assert looking.get(f"{V1}/readings/cells", params=span | {"minutes": 7}).status_code == 422
    assert looking.get(f"{V1}/readings/cells", params=span).status_code == 422
    nobody = looking.get(f"{V1}/readings/cells", params=span | {"channel": "x/y"})
    assert nobody.status_code == 404


def test_a_day_is_worked_out_from_every_sensor_also_those_that_speak_for_no_batch(
    client, tern_hollow, monkeypatch
):
    # The quality tests hold neighbours together: without them a day would not be as it was live.
    asked = []
    series = tern_hollow.store.series

    def noted(channels, start_ms, end_ms):
        asked.append(set(channels))
        return series(channels, start_ms, end_ms)

    monkeypatch.setattr(tern_hollow.store, "series", noted)
    day = {"from": "2026-11-14T02:00:00Z", "to": "2026-11-14T03:00:00Z"}
    assert client.get(f"{V1}/batches/MG-07/record", params=day).status_code == 200
    assert asked == [set(tern_hollow.parts.site.channels)]
    assert set(tern_hollow.parts.site.channels) > set(tern_hollow.parts.watchlist.channels)
