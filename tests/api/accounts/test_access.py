"""Nothing answers a stranger but what must; each role does what it is for and no more."""

from __future__ import annotations

import re

import pytest

from api.accounts.roles import ACCESS, MAY, Need, Role, demand
from api.v1.sight import Sight
from api.web.app import create_app
from collector.tokens import DeviceTokens

BATCH, OPEN_ALARM = "MG-07", 1
FILLED = {
    "code": BATCH, "token": "x", "alarm_id": "1", "work_id": "1", "group_id": "1", "number": "1",
    "kind": "batch", "key": BATCH, "person": "tobin", "lamp": "shed", "quantity": "x",
    "topic": "a/b", "path": "style.css", "name": "leafy-bag", "version": "1",
}  # fmt: skip
SPAN = "from=2026-11-14T00:00:00Z&to=2026-11-14T01:00:00Z"
GOOD_QUERY = {
    "/api/v1/readings": f"?channel=bag-07/air&{SPAN}",
    "/api/v1/readings/cells": f"?channel=bag-07/air&{SPAN}",
    "/api/v1/batches/{code}/record": f"?{SPAN}",
    "/labels.pdf": f"?batch={BATCH}",
}


def routes_of(routes, prefix=""):
    """Every method and address of the application, whichever router it came by."""
    for one in routes:
        inner = getattr(one, "original_router", None)
        if inner is not None:
            yield from routes_of(inner.routes, prefix + (one.include_context.prefix or ""))
        elif type(one).__name__ == "Mount":
            yield ("GET", f"{prefix}{one.path}/{{path:path}}")
        else:
            yield from ((method, prefix + one.path) for method in one.methods - {"HEAD"})


def filled(path: str) -> str:
    return re.sub(r"{(\w+)(?::path)?}", lambda found: FILLED[found[1]], path)


def test_every_address_of_the_application_is_in_exactly_one_class(empty):
    there = set(routes_of(create_app(empty.parts, Sight(empty.parts)).router.routes))
    assert len(there) > 60
    assert there - set(ACCESS) == set(), "give these a class in api/accounts/roles.py"
    assert set(ACCESS) - there == set(), "these are gone from the application"


@pytest.mark.parametrize("path", ["/x", "/api/v1/x", "/set-up/x", "/answer", "/static"])
def test_an_address_in_no_class_is_closed_to_strangers(house, path):
    assert house.browser().get(path).status_code in (303, 401)


def test_a_route_that_nobody_classed_is_closed_to_everyone(house, monkeypatch):
    from api.accounts import roles

    kept = [line for line in roles._COMPILED if line[2] is not Need.LOOK]
    lead = house.signed_in("wren")
    assert lead.get("/rings").status_code == 200
    monkeypatch.setattr(roles, "_COMPILED", kept)
    assert lead.get("/rings").status_code == 403
    assert lead.get("/api/v1/watch").status_code == 403


def test_nothing_but_what_must_answers_a_stranger(house):
    """Every address, by a browser and by a program without a token."""
    site_words = [batch.code for batch in house.parts.site.batch]
    for (method, path), need in ACCESS.items():
        if need in (Need.OPEN, Need.DEVICE):
            continue
        for one in (house.browser(), house.program(None)):
            answer = one.request(method, filled(path) + GOOD_QUERY.get(path, ""))
            wanted = 401 if path.startswith("/api/") or path in {"/events", "/metrics"} else 303
            assert answer.status_code == wanted, (method, path)
            told = answer.text.replace(filled(path), "")
            assert not any(word in told for word in site_words), (method, path)
            if wanted == 303:
                assert answer.headers["location"].startswith("/sign-in")


def test_what_is_open_tells_nothing_of_the_nursery(house):
    for path in (
        "/sign-in",
        "/cautions",
        "/healthz",
        "/answer/x",
        "/invited/x",
        "/static/style.css",
    ):
        text = house.browser().get(path).text
        for batch in house.parts.site.batch:
            assert batch.code not in text, path
        for person in house.parts.site.person:
            assert person.name not in text, path


def test_a_device_pushes_with_its_own_token_and_nothing_else(house):
    path = "/api/v1/readings/tern-hollow/hand-probe"
    body = '{"temperature": 24.1, "humidity": 93}'
    token = DeviceTokens(house.parts.rejects.file).make("gate", sensor=None, at_ms=0)
    assert house.program(None).post(path, content=body).status_code == 401
    assert house.program(token).post(path, content=body).status_code == 200
    assert house.program(token).get("/api/v1/batches").status_code == 401


ROLE_CASES = [
    (role, method, path)
    for role in Role
    for (method, path), need in ACCESS.items()
    if isinstance(need, Need) and need not in (Need.OPEN, Need.DEVICE) and path != "/events"
]


@pytest.mark.parametrize("role", list(Role))
def test_each_role_gets_in_where_it_may_and_nowhere_else(house, role):
    who = "wren" if role is Role.LEAD else "tobin"
    if role is not Role.LEAD:
        house.invite("tobin", role)
    one = house.signed_in(who)
    for of, method, path in ROLE_CASES:
        # What ends the very session we look with is tried elsewhere.
        if (
            of is not role
            or path.startswith("/account/")
            or path.endswith(("/disable", "/sign-out"))
        ):
            continue
        answer = one.request(method, filled(path) + GOOD_QUERY.get(path, ""))
        allowed = ACCESS[method, path] in MAY[role]
        assert (answer.status_code != 403) == allowed, (method, path, answer.status_code)
        led_to = answer.headers.get("location", "")
        assert answer.status_code != 401, path
        assert not led_to.startswith("/sign-in"), path


@pytest.mark.parametrize(
    ("kind", "need"),
    [("sensor", Need.FIX), ("batch", Need.LEAD), ("person", Need.LEAD), ("new-kind", Need.LEAD)],
)
def test_who_may_change_a_written_thing_depends_on_its_kind(kind, need):
    assert demand("PUT", f"/api/v1/written/{kind}/x").needs == {need}
    assert demand("DELETE", f"/api/v1/written/{kind}/x").needs == {need}


def test_a_technician_changes_sensors_and_no_batches(house):
    house.invite("odell", Role.TECHNICIAN)
    one = house.signed_in("odell")
    sensor = one.get("/api/v1/written/sensor/bag-07").json()
    body = {"form": sensor["form"]}
    etag = {"if-match": f'"{sensor["revision"]}"'}
    put = one.put("/api/v1/written/sensor/bag-07", json=body, headers=etag)
    assert put.status_code == 200, put.text
    refused = one.put(f"/api/v1/written/batch/{BATCH}", json=body, headers=etag)
    assert refused.status_code == 403
    assert refused.headers["content-type"] == "application/problem+json"
    assert "Ask the lead" in refused.json()["detail"]
    assert "technician" in refused.json()["detail"]


def test_roles_only_ever_add_up():
    assert MAY[Role.LOOK] < MAY[Role.TEND] < MAY[Role.LEAD]
    assert MAY[Role.LOOK] < MAY[Role.TECHNICIAN] < MAY[Role.LEAD]
    assert Need.LEAD not in MAY[Role.TECHNICIAN]
    assert Need.FIX not in MAY[Role.TEND]
    assert Need.TEND not in MAY[Role.TECHNICIAN]


def test_no_address_that_changes_something_does_so_by_get(house):
    one = house.signed_in("wren")
    reads = {path for method, path in ACCESS if method == "GET"}
    for method, path in ACCESS:
        if method == "GET" or path in reads:
            continue
        status = one.get(filled(path)).status_code
        # A longer pattern may fit the address too, as /written/{kind}/{key} does; it only reads.
        assert status in (403, 404, 405), (method, path, status)


def test_pages_show_nobody_what_they_may_not_do(house):
    house.invite("tobin", Role.LOOK)
    looks, leads = house.signed_in("tobin"), house.signed_in("wren")
    assert 'action="/acknowledge"' in leads.get("/").text
    assert 'action="/acknowledge"' not in looks.get("/").text
    assert 'id="hold"' in leads.get("/alarms/1").text
    assert 'id="hold"' not in looks.get("/alarms/1").text
    assert 'href="/accounts"' in leads.get("/").text
    assert 'href="/accounts"' not in looks.get("/").text
    assert 'id="change"' in leads.get("/plans/leafy-bag").text
    assert 'id="change"' not in looks.get("/plans/leafy-bag").text
    assert 'action="/works"' not in looks.get("/works").text
    assert 'action="/staff/test"' not in looks.get("/staff").text
