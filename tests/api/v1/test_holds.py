"""Holding alarms back over the API: by whom, why, until when; and what speaks against it."""

from __future__ import annotations

import pytest

V1 = "/api/v1"


@pytest.fixture
def danger(client):
    """Return the alarm of the batch that is in danger at ten past two."""
    wanted = {"batch": "MG-07", "state": "unacknowledged"}
    found = client.get(f"{V1}/alarms", params=wanted).json()
    return next(one for one in found if one["priority"] == "high")


def test_an_alarm_is_shelved_with_a_reason_and_taken_up_again(client, danger):
    path = f"{V1}/alarms/{danger['id']}"
    held = client.post(f"{path}/shelve", json={"by": "tobin", "why": "bag open", "minutes": 20})
    assert held.status_code == 200
    assert (held.json()["state"], held.json()["held_by"], held.json()["held_why"]) == (
        "shelved",
        "tobin",
        "bag open",
    )
    assert held.json()["held_until"] == "2026-11-14T15:30:00Z"
    again = client.post(f"{path}/shelve", json={"by": "tobin", "why": "bag open"})
    assert again.status_code == 409
    back = client.post(f"{path}/let-go", json={"by": "tobin", "note": "tied"}).json()
    assert back["state"] == "unacknowledged"
    changes = client.get(path).json()["changes"]
    assert [(one["cue"], one["by"], one["note"]) for one in changes[-2:]] == [
        ("shelved", "tobin", "bag open"),
        ("unshelved", "tobin", "tied"),
    ]


def test_a_danger_is_shelved_for_an_hour_at_most(client, danger):
    path = f"{V1}/alarms/{danger['id']}/shelve"
    answer = client.post(path, json={"by": "tobin", "why": "later", "minutes": 61})
    assert answer.status_code == 422
    assert "1 to 60 min" in answer.json()["detail"]


def test_an_alarm_is_taken_out_of_service_and_put_back(client, danger):
    path = f"{V1}/alarms/{danger['id']}"
    out = client.post(f"{path}/take-out", json={"by": "odell", "why": "probe broken"}).json()
    assert (out["state"], out["held_until"]) == ("out_of_service", None)
    assert client.post(f"{path}/acknowledge", json={"by": "odell"}).status_code == 409
    assert client.post(f"{path}/let-go", json={"by": "odell"}).json()["state"] == "unacknowledged"
    assert client.post(f"{path}/let-go", json={"by": "odell"}).status_code == 409


def test_nobody_unknown_and_no_reason_is_taken(client, danger):
    path = f"{V1}/alarms/{danger['id']}"
    assert client.post(f"{path}/shelve", json={"by": "zz", "why": "x"}).status_code == 422
    assert client.post(f"{path}/shelve", json={"by": "tobin", "why": ""}).status_code == 422
    assert (
        client.post(f"{V1}/alarms/999/shelve", json={"by": "tobin", "why": "x"}).status_code == 404
    )


def test_work_in_hand_is_begun_listed_and_ended(client):
    asked = {"kind": "spraying", "place": "healing", "by": "tobin", "note": "oil"}
    begun = client.post(f"{V1}/works", json=asked)
    assert begun.status_code == 201
    one = begun.json()
    assert one["until"] == "2026-11-14T16:10:00Z"
    assert "relative_humidity" in one["suppresses"]
    assert "air_temperature" not in one["suppresses"]
    assert client.post(f"{V1}/works", json=asked).status_code == 409
    assert [work["id"] for work in client.get(f"{V1}/works").json()] == [one["id"]]
    ended = client.post(f"{V1}/works/{one['id']}/end", json={"by": "odell"})
    assert ended.json()["ended"] == "2026-11-14T15:10:00Z"
    assert client.get(f"{V1}/works").json() == []
    assert client.post(f"{V1}/works/{one['id']}/end", json={"by": "odell"}).status_code == 409
    assert client.post(f"{V1}/works/99/end", json={"by": "odell"}).status_code == 404


def test_work_that_is_not_possible_says_what_is(client):
    wrong = client.post(f"{V1}/works", json={"kind": "washing", "place": "MG-07", "by": "tobin"})
    assert wrong.status_code == 422
    assert "healing" in wrong.json()["detail"]
