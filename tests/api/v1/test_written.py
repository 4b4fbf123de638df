"""Batches, observations and sensors entered over the API, and what it refuses."""

from __future__ import annotations

from datetime import timedelta

import pytest


@pytest.fixture
def open_book(tern_hollow):
    return tern_hollow.parts


def form_of(client, kind, key):
    answer = client.get(f"/api/v1/written/{kind}/{key}")
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert answer.headers["etag"] == f'"{body["revision"]}"'
    return body["form"], answer.headers["etag"]


def test_a_batch_is_entered_changed_with_its_etag_and_its_history_is_told(open_book, client):
    form, _ = form_of(client, "batch", "MG-07")
    new = {"by": "tobin", "note": "second tray", "form": {**form, "code": "MG-77"}}
    made = client.post("/api/v1/batches", json=new)
    assert made.status_code == 201
    assert made.headers["location"] == "/api/v1/written/batch/MG-77"
    assert client.get("/api/v1/batches/MG-77").json()["code"] == "MG-77"
    assert client.post("/api/v1/batches", json=new).status_code == 412

    change = {"by": "wren", "form": {**form, "code": "MG-77", "count": 3}}
    unsaid = client.put("/api/v1/batches/MG-77", json=change)
    assert unsaid.status_code == 428
    etag = made.headers["etag"]
    kept = client.put("/api/v1/batches/MG-77", json=change, headers={"if-match": etag})
    assert kept.status_code == 200
    late = client.put("/api/v1/batches/MG-77", json=change, headers={"if-match": etag})
    assert late.status_code == 412
    assert "was changed" in late.json()["detail"]
    assert late.headers["content-type"] == "application/problem+json"
    told = client.get("/api/v1/batches/MG-77/history").json()
    assert [(one["done"], one["by"]) for one in told["trail"]] == [
        ("entered", "tobin"),
        ("changed", "wren"),
    ]
    assert told["trail"][1]["differences"] == [
        {"field": "count", "was": form["count"], "now": 3},
    ]
    gone = client.delete(
        "/api/v1/written/batch/MG-77", params={"by": "wren"}, headers={"if-match": "*"}
    )
    assert gone.status_code == 204
    assert client.get("/api/v1/batches/MG-77").status_code == 404
    assert len(client.get("/api/v1/batches/MG-77/history").json()["trail"]) == 3


def test_faults_come_back_field_by_field_with_what_to_do(open_book, client):
    form, etag = form_of(client, "batch", "MG-07")
    wrong = {"by": "tobin", "form": {**form, "bench": "b77", "count": "many"}}
    answer = client.put("/api/v1/batches/MG-07", json=wrong, headers={"if-match": etag})
    assert answer.status_code == 422
    said = {one["where"]: one["detail"] for one in answer.json()["errors"]}
    assert (
        said["batch[MG-07].count"]
        == '"many" is not a whole number. Write digits only, without quotes.'
    )
    assert client.get("/api/v1/written/batch/MG-07").json()["form"] == form
    ghost = {"by": "ghost", "form": form}
    answer = client.put("/api/v1/batches/MG-07", json=ghost, headers={"if-match": etag})
    assert [one["where"] for one in answer.json()["errors"]] == ["by"]


def test_what_an_entry_changed_is_told_beside_the_file(open_book, client):
    form, etag = form_of(client, "batch", "MG-07")
    changed = {"by": "tobin", "form": {**form, "count": form["count"] + 1}}
    client.put("/api/v1/batches/MG-07", json=changed, headers={"if-match": etag})
    told = client.get("/api/v1/written/batch/MG-07/history").json()
    assert told["differs_from_file"] == [
        {"field": "count", "was": form["count"], "now": form["count"] + 1}
    ]
    assert [one["done"] for one in told["trail"]] == ["in_file", "changed"]


def test_a_sensor_and_a_person_are_changed_the_same_way(open_book, client):
    listed = client.get("/api/v1/written/sensor").json()
    name = listed[0]["key"]
    form, etag = form_of(client, "sensor", name)
    body = {"by": "wren", "form": {**form, "serial": "A-113"}}
    kept = client.put(f"/api/v1/written/sensor/{name}", json=body, headers={"if-match": etag})
    assert kept.json()["form"]["serial"] == "A-113"
    person = {"id": "nuria", "name": "Nuria Vale", "email": "nuria@small.example.invalid"}
    body = {"by": "wren", "form": person}
    new = client.put("/api/v1/written/person/nuria", json=body, headers={"if-none-match": "*"})
    assert new.status_code == 200, new.text
    assert client.get("/api/v1/written/person/nuria").json()["form"]["name"] == "Nuria Vale"
    assert client.get("/api/v1/written/moon/one").status_code == 422
    assert client.get("/api/v1/written/person/nobody").status_code == 404
    assert client.get("/api/v1/written/person/nobody/history").status_code == 404


def test_an_observation_sent_twice_is_one_and_is_taken_back_in_time(open_book, tern_hollow, client):
    body = {"by": "tobin", "seen": "watered", "note": "floor", "device_id": "phone-7"}
    first = client.post("/api/v1/batches/MG-07/observations", json=body)
    again = client.post("/api/v1/batches/MG-07/observations", json=body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["number"] == again.json()["number"]
    assert (first.json()["new"], again.json()["new"]) == (True, False)
    number = first.json()["number"]

    def seen():
        batch = next(one for one in open_book.site.batch if one.code == "MG-07")
        return [one.note for one in batch.observation]

    assert "floor" in seen()
    undo = {"by": "tobin", "note": "other bench"}
    back = client.post(f"/api/v1/observations/{number}/take-back", json=undo)
    assert back.status_code == 204
    assert "floor" not in seen()
    told = client.get("/api/v1/batches/MG-07/history").json()["trail"]
    assert [one["done"] for one in told] == ["observed", "taken_back"]

    second = client.post(
        "/api/v1/batches/MG-07/observations", json={"by": "tobin", "seen": "mould"}
    ).json()["number"]
    tern_hollow.clock.turn_by(timedelta(minutes=16))
    late = client.post(f"/api/v1/observations/{second}/take-back", json=undo)
    assert late.status_code == 409
    assert "over 15 minutes ago" in late.json()["detail"]
    assert client.post("/api/v1/observations/999/take-back", json=undo).status_code == 404


def test_an_observation_that_says_nothing_sensible_is_refused_by_field(open_book, client):
    wrong = {"by": "tobin", "seen": "watered", "share": 0.5}
    answer = client.post("/api/v1/batches/MG-07/observations", json=wrong)
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["where"] == "share"
    assert "is not done in parts" in error["detail"]
    nowhere = client.post(
        "/api/v1/batches/MG-00/observations", json={"by": "tobin", "seen": "mould"}
    )
    assert nowhere.status_code == 404


def test_a_harmful_step_is_refused_in_both_languages_and_overridden_by_the_lead(open_book, client):
    address = "/api/v1/batches/MG-07/observations"
    refused = client.post(address, json={"by": "tobin", "seen": "cover_off"})
    assert refused.status_code == 409
    told = {one["where"]: one["detail"] for one in refused.json()["errors"]}
    assert "new growth" in told["en"]
    assert "brotes" in told["es"]
    anyway = {"by": "tobin", "seen": "cover_off", "override": True, "note": "mould"}
    assert client.post(address, json=anyway).status_code == 403
    lead = open_book.site.lead
    assert client.post(address, json={**anyway, "by": lead}).status_code == 201
    trail = client.get("/api/v1/batches/MG-07/history").json()["trail"]
    told = {one["field"]: one["now"] for one in trail[-1]["differences"]}
    assert told["despite"] == "before_growth"


def test_a_count_and_a_move_are_entered_and_what_is_doubtful_is_said(open_book, client):
    address = "/api/v1/batches/AV-04/observations"
    counted = {"by": "tobin", "seen": "counted", "alive": 3, "dead": 1}
    assert client.post(address, json=counted).status_code == 201
    moved = client.post(address, json={"by": "tobin", "seen": "moved", "bench": "b1"}).json()
    assert client.get("/api/v1/written/batch/AV-04").json()["form"]["bench"] == "b1"
    client.post(f"/api/v1/observations/{moved['number']}/take-back", json={"by": "tobin"})
    assert client.get("/api/v1/written/batch/AV-04").json()["form"]["bench"] == "b3"
    off = client.post(address, json={"by": "tobin", "seen": "cover_off"})
    assert off.status_code == 201
    assert off.json()["warned"]


def test_the_clock_tells_the_time_here(open_book, client):
    assert client.get("/api/v1/clock").json() == {"now": "2026-11-14T15:10:00Z"}
