"""Care plans over the API: read with their versions, looked at, changed, never written over."""

from __future__ import annotations

import tomllib

import pytest

PLAN = "/api/v1/plans/leafy-bag"


def read(client):
    answer = client.get(PLAN)
    assert answer.status_code == 200
    assert answer.headers["etag"] == f'"{answer.json()["revision"]}"'
    return answer.json()["toml"], {"if-match": answer.headers["etag"]}


def drier(text, was="bound = 90.0", now="bound = 82.5"):
    assert was in text
    return text.replace(was, now, 1)


def test_a_plan_is_looked_at_changed_and_read_with_its_versions(client, tern_hollow):
    text, match = read(client)
    body = {"by": "wren", "toml": drier(text)}
    looked = client.post(f"{PLAN}/preview", json=body, headers=match)
    assert looked.status_code == 200, looked.text
    said = looked.json()
    assert said["differences"] == [
        {"field": "stage.healing.limit[air-dry].bound", "was": 90.0, "now": 82.5}
    ]
    assert (said["version"], said["before"], said["overtakes"]) == (2, 1, [])
    assert said["in_force_from"] == "2026-11-14T15:11:00Z"
    met = {one["batch"]: (one["stage"], one["at_once"]) for one in said["batches"]}
    assert met["MG-07"] == ("healing", True)
    assert met["AV-04"] == ("easing", False)
    assert client.get(PLAN).json()["version"] == 1

    unsaid = client.put(PLAN, json=body, headers=match)
    assert [one["where"] for one in unsaid.json()["errors"]] == ["note"]
    made = client.put(PLAN, json=body | {"note": "hot week"}, headers=match)
    assert made.status_code == 201, made.text
    assert {**made.json(), "toml": ""} == {**said, "toml": ""}
    whole = client.get(PLAN)
    assert whole.headers["etag"] == made.headers["etag"]
    first, second = whole.json()["versions"]
    assert (first["by"], first["at"], first["in_force_from"]) == ("", None, None)
    assert (second["by"], second["note"], second["overtaken"]) == ("wren", "hot week", False)
    one = client.get(made.headers["location"]).json()
    assert one["line"] == second
    assert one["form"]["stage"]["healing"]["limit"][0]["bound"] == 82.5
    assert tomllib.loads(one["toml"])["version"] == 2
    listed = {one["id"]: one["version"] for one in client.get("/api/v1/plans").json()}
    assert listed == {"leafless-film": 1, "leafy-bag": 2, "top-working": 1}

    late = client.put(PLAN, json=body | {"note": "me too"}, headers=match)
    assert late.status_code == 412
    assert "version 2 is the newest now" in late.json()["detail"]
    again = {"by": "tobin", "note": "too far", "toml": drier(one["toml"], "= 82.5", "= 85.0")}
    again = client.put(PLAN, json=again, headers={"if-match": whole.headers["etag"]})
    assert again.json()["overtakes"] == [2]
    assert [one["overtaken"] for one in client.get(PLAN).json()["versions"]] == [False, True, False]


@pytest.fixture(scope="module")
def reader(pages_nursery, filled, tmp_path_factory):
    import httpx

    folder = tmp_path_factory.mktemp("api-reader") / "data"
    nursery = pages_nursery.nursery(pages_nursery.copied(filled, folder))
    with (
        pages_nursery.serving(nursery.parts) as address,
        httpx.Client(base_url=address, timeout=60) as one,
    ):
        yield one
    nursery.close()


@pytest.mark.parametrize("way", ["put", "preview"])
def test_faults_come_with_their_lines_and_nothing_is_kept(reader, way):
    text, match = read(reader)
    typed = drier(drier(text, "bound = 90.0", 'bound = "x"'), "deadband = 3.0", "deadband = -3.0")
    lines = typed.splitlines()
    body = {"by": "wren", "note": "n", "toml": typed.replace("\n", "\r\n")}
    answer = (
        reader.put(PLAN, json=body, headers=match)
        if way == "put"
        else reader.post(f"{PLAN}/preview", json=body, headers=match)
    )
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    first, second = answer.json()["errors"]
    assert first == {
        "where": "stage.healing.limit[air-dry].bound",
        "detail": '"x" is not a number. Write digits with a point, without quotes.',
        "line": lines.index('bound = "x"') + 1,
    }
    assert second["line"] == lines.index("deadband = -3.0") + 1
    assert "at least 0" in second["detail"]
    assert reader.get(PLAN).json()["version"] == 1


def test_a_change_must_say_what_it_changes_and_of_which_plan(reader):
    text, match = read(reader)
    body = {"by": "wren", "note": "n", "toml": drier(text)}
    assert reader.put(PLAN, json=body).status_code == 428
    assert reader.post(f"{PLAN}/preview", json=body).status_code == 428
    stale = {"if-match": '"7-0123456789ab"'}
    assert reader.post(f"{PLAN}/preview", json=body, headers=stale).status_code == 412
    for answer in (
        reader.put("/api/v1/plans/none", json=body, headers=match),
        reader.get("/api/v1/plans/none"),
        reader.get(f"{PLAN}/versions/9"),
    ):
        assert answer.status_code == 404
    assert "'none'" in reader.get("/api/v1/plans/none").json()["detail"]
