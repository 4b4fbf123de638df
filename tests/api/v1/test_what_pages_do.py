"""Whatever a page does, a program can do by the API, or it is said here why not."""

from __future__ import annotations

import pytest

from api.accounts.roles import ACCESS

V1 = "/api/v1"
SAME = {
    "/acknowledge": ("POST", f"{V1}/alarms/{{alarm_id}}/acknowledge"),
    "/alarms/{alarm_id}/hold": ("POST", f"{V1}/alarms/{{alarm_id}}/shelve"),
    "/works": ("POST", f"{V1}/works"),
    "/works/{work_id}/end": ("POST", f"{V1}/works/{{work_id}}/end"),
    "/adopt": ("PUT", f"{V1}/written/{{kind}}/{{key}}"),
    "/bench/{code}": ("POST", f"{V1}/batches/{{code}}/observations"),
    "/bench/{code}/stage": ("PUT", f"{V1}/batches/{{code}}"),
    "/bench/{code}/photo": ("POST", f"{V1}/observations/{{number}}/photo"),
    "/batches/{code}/photos/{number}/remove": ("DELETE", f"{V1}/observations/{{number}}/photo"),
    "/bench/{code}/take-back": ("POST", f"{V1}/observations/{{number}}/take-back"),
    "/staff/days-off": ("PUT", f"{V1}/written/{{kind}}/{{key}}"),
    "/staff/swaps": ("PUT", f"{V1}/written/{{kind}}/{{key}}"),
    "/staff/take-out": ("DELETE", f"{V1}/written/{{kind}}/{{key}}"),
    "/plans/{name}/edit": ("PUT", f"{V1}/plans/{{name}}"),
    "/replay": ("POST", f"{V1}/replays"),
    "/replay/begin": ("POST", f"{V1}/replays/{{number}}/begin"),
    "/replay/end": ("DELETE", f"{V1}/replays/{{number}}"),
    "/staff/test": ("POST", f"{V1}/staff/{{person}}/test"),
    "/staff/light": ("POST", f"{V1}/lamps/{{lamp}}/light"),
}
PEOPLE_ONLY = {
    "/choose": "view and language of one device",
    "/who": "who holds this device",
    "/sign-in": "a program shows a token",
    "/sign-out": "a program shows a token",
    "/set-up": "the first lead is a person",
    "/invited/{token}": "an account is a person's",
    "/answer/{token}": "the link of one message to one person",
    "/answer/all/{token}": "the link of one message to one person",
}
NO_TOKEN = ("/account/", "/accounts/")
"""Who found a token must not make accounts or more tokens with it (docs/accounts.md)."""


def test_every_form_of_a_page_has_its_like_in_the_api():
    forms = {path for method, path in ACCESS if method == "POST" and not path.startswith(V1)}
    left = {path for path in forms - set(SAME) - set(PEOPLE_ONLY) if not path.startswith(NO_TOKEN)}
    assert left == set(), "give these a route of the API, or say why they are for people only"
    assert set(SAME) | set(PEOPLE_ONLY) <= forms
    assert {like for like in SAME.values() if like not in ACCESS} == set()


def test_each_like_asks_for_the_same_right():
    for path, like in SAME.items():
        need = ACCESS[like]
        if not isinstance(need, dict):
            assert ACCESS["POST", path] == need or path == "/bench/{code}/stage", path


def test_the_way_out_of_a_batch_is_told_day_by_day(looking):
    care = looking.get(f"{V1}/batches/MG-07/care").json()
    assert care["stage"] == "healing"
    days = [one["on"] for one in care["steps"]]
    assert days == sorted(days)
    assert care["steps"][0]["kind"] == "look_for_new_growth"
    assert "full_sun" in [one["kind"] for one in care["steps"]]
    assert all(one["says"]["en"] != one["says"]["es"] for one in care["steps"])
    sun = next(one for one in care["not_now"] if one["what"] == "full_sun")
    assert sun["refused"]
    assert looking.get(f"{V1}/batches/XX-99/care").status_code == 404


def test_what_was_entered_is_listed_the_newest_first_page_by_page(client):
    numbers = []
    for note in ("one", "two", "three"):
        told = client.post(
            f"{V1}/batches/MG-07/observations",
            json={"by": "pilar", "seen": "watered", "note": note},
        )
        assert told.status_code == 201, told.text
        numbers.append(told.json()["number"])
    first = client.get(f"{V1}/batches/MG-07/observations?limit=2")
    assert [one["note"] for one in first.json()] == ["three", "two"]
    assert [one["number"] for one in first.json()] == numbers[:0:-1]
    following = client.get(first.links["next"]["url"])
    assert following.json()[0]["note"] == "one"
    taken = client.post(f"{V1}/observations/{numbers[2]}/take-back", json={"by": "pilar"})
    assert taken.status_code == 204
    left = client.get(f"{V1}/batches/MG-07/observations").json()
    assert [one["taken_back"] for one in left[:3]] == [True, False, False]


def test_staff_and_duty_name_the_same_people(looking):
    staff = looking.get(f"{V1}/staff").json()
    duty = looking.get(f"{V1}/staff/duty?days=2").json()
    assert {one["id"] for one in staff if one["on_duty"]} == set(duty[0]["people"])
    assert [one["start"] for one in duty[1:]] == [one["end"] for one in duty[:-1]]
    assert "@" not in str(staff)


def test_a_test_message_is_owed_once_a_minute(client):
    told = client.post(f"{V1}/staff/pilar/test")
    assert told.status_code == 202, told.text
    assert told.json()["messages"] >= 1
    assert client.post(f"{V1}/staff/pilar/test").json() == {"messages": 0}
    assert client.post(f"{V1}/staff/nobody/test").status_code == 404
    kinds = [one["kind"] for one in client.get(f"{V1}/messages?person=pilar").json()]
    assert "test" in kinds


def test_what_is_missing_is_told_by_kind(looking):
    kinds = {one["kind"]: one for one in looking.get(f"{V1}/settings/lacking").json()}
    assert "no_mail" in kinds
    assert "bag-07/air" in kinds["never_calibrated"]["about"]


@pytest.mark.parametrize("days", [0, 32])
def test_duty_is_told_for_a_month_at_most(looking, days):
    assert looking.get(f"{V1}/staff/duty?days={days}").status_code == 422
