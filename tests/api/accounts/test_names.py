"""Whoever is signed in is who did it; a token may no more than its owner."""

from __future__ import annotations

import io
from datetime import timedelta

import pytest
from PIL import Image

from api.accounts.keeping import NotDone
from api.accounts.roles import Role

SEEN = {"seen": "watered"}
WHERE = "/api/v1/batches/MG-07/observations"


def token_of(house, person: str, role: Role, lasts: timedelta | None = None) -> str:
    return house.keeping.make_token(person, name="sheet", role=role, lasts=lasts, by=person)


def test_by_may_be_left_out_and_is_then_whoever_is_signed_in(house):
    house.invite("tobin", Role.TEND)
    for one in (house.signed_in("tobin"), house.program(token_of(house, "tobin", Role.TEND))):
        assert one.post(WHERE, json=SEEN).status_code == 201
    trail = house.signed_in("wren").get("/api/v1/batches/MG-07/history").json()["trail"]
    assert [line["by"] for line in trail[-2:]] == ["tobin", "tobin"]


@pytest.mark.parametrize(
    "by", ["wren", "nobody", "", "TOBIN", ["tobin", "wren"], None, 7, {"a": 1}]
)
def test_another_name_is_refused_in_words(house, by):
    house.invite("tobin", Role.TEND)
    for one in (house.signed_in("tobin"), house.program(token_of(house, "tobin", Role.TEND))):
        refused = one.post(WHERE, json={**SEEN, "by": by})
        assert refused.status_code == 403
        assert "you act as tobin" in refused.json()["detail"]


def test_a_form_and_a_query_cannot_name_somebody_else_either(house):
    house.invite("tobin", Role.TEND)
    one = house.signed_in("tobin")
    for data in ({"by": "wren"}, {"by": ["tobin", "wren"]}, {"by": ["wren", "tobin"]}):
        assert one.post("/acknowledge", data={"alarm": "1", **data}).status_code == 403
    parts = [("alarm", (None, "1")), ("by", (None, "wren"))]
    assert one.post("/acknowledge", files=parts).status_code == 403
    assert one.post("/acknowledge?by=wren", data={"alarm": "1", "by": "tobin"}).status_code == 403
    assert one.get("/api/v1/alarms/1").json()["acknowledged_by"] is None
    own = [("alarm", (None, "1")), ("by", (None, "tobin"))]
    assert one.post("/acknowledge", files=own).status_code == 303
    assert one.get("/api/v1/alarms/1").json()["acknowledged_by"] == "tobin"


def test_json_that_says_by_twice_counts_as_the_route_reads_it(house):
    house.invite("tobin", Role.TEND)
    one = house.signed_in("tobin")
    headers = {"content-type": "application/json"}
    twice = '{"by": "tobin", "seen": "watered", "by": "wren"}'
    assert one.post(WHERE, content=twice, headers=headers).status_code == 403
    other = '{"by": "wren", "seen": "watered", "by": "tobin"}'
    assert one.post(WHERE, content=other, headers=headers).status_code == 201


def test_a_lead_may_name_others_and_a_leads_lesser_token_may_not(house):
    lead = house.signed_in("wren")
    assert lead.post(WHERE, json={**SEEN, "by": "tobin"}).status_code == 201
    whole = house.program(token_of(house, "wren", Role.LEAD))
    assert whole.post(WHERE, json={**SEEN, "by": "tobin"}).status_code == 201
    lesser = house.program(token_of(house, "wren", Role.TEND))
    assert lesser.post(WHERE, json={**SEEN, "by": "tobin"}).status_code == 403


def test_taking_away_names_whoever_is_signed_in_without_a_body(house):
    lead = house.signed_in("wren")
    new = {"form": {"who": "tobin", "first": "2026-12-24", "last": "2026-12-26"}}
    path = "/api/v1/written/absence/tobin 2026-12-24"
    made = lead.put(path, json=new, headers={"if-none-match": "*"})
    assert made.status_code == 200, made.text
    assert lead.delete(path, headers={"if-match": "*"}).status_code == 204
    trail = lead.get(f"{path}/history").json()["trail"]
    assert [line["by"] for line in trail] == ["wren", "wren"]


def test_pages_offer_one_name_to_most_and_all_to_a_lead(house):
    house.invite("tobin", Role.TEND)
    assert '<input type="hidden" name="by" value="tobin">' in house.signed_in("tobin").get("/").text
    page = house.signed_in("wren").get("/").text
    assert '<option value="wren" selected>' in page
    assert '<option value="tobin">' in page


def test_a_shared_tablet_acts_for_its_people_and_for_nobody_else(house):
    house.invite("bench-tablet", Role.TEND, ("tobin", "pilar"))
    one = house.signed_in("bench-tablet")
    page = one.get("/").text
    assert "Shared device: bench-tablet (tend)." in page
    assert '<option value="tobin" selected>' in page, "tobin has the night"
    assert '<option value="pilar">' in page
    assert '<option value="wren"' not in page
    assert one.post(WHERE, json={**SEEN, "by": "wren"}).status_code == 403
    assert one.post(WHERE, json=SEEN).status_code == 422, "it must say for whom"
    assert one.post(WHERE, json={**SEEN, "by": "pilar"}).status_code == 201
    chosen = one.post("/acknowledge", data={"alarm": "1", "by": "pilar", "back": "/works"})
    assert chosen.status_code == 303
    assert '<option value="pilar" selected>' in one.get("/works").text, "it remembers"


@pytest.mark.parametrize(
    ("person", "role", "names"),
    [
        ("tobin", Role.TEND, ("pilar",)),
        ("bench-tablet", Role.LEAD, ("pilar",)),
        ("bench-tablet", Role.TEND, ("nobody",)),
        ("bench-tablet", Role.TEND, ()),
        ("Bench Tablet", Role.TEND, ("pilar",)),
        ("stranger", Role.TEND, None),
    ],
)
def test_what_cannot_be_invited(house, person, role, names):
    with pytest.raises(NotDone):
        house.invite(person, role, names)


def test_a_token_may_no_more_than_its_role_and_its_owner(house):
    house.invite("tobin", Role.TEND)
    looks = house.program(token_of(house, "tobin", Role.LOOK))
    assert looks.get("/api/v1/batches").status_code == 200
    assert looks.post(WHERE, json=SEEN).status_code == 403
    with pytest.raises(NotDone):
        token_of(house, "tobin", Role.LEAD)
    with pytest.raises(NotDone):
        token_of(house, "tobin", Role.TECHNICIAN)
    tends = house.program(token_of(house, "tobin", Role.TEND))
    assert tends.post(WHERE, json=SEEN).status_code == 201
    lead = house.signed_in("wren")
    assert lead.post("/accounts/tobin/role", data={"role": "look"}).status_code == 303
    assert tends.post(WHERE, json=SEEN).status_code == 403, "its owner may no more either"


def test_a_token_ends_when_revoked_and_when_its_time_is_over(house):
    lead = house.signed_in("wren")
    made = lead.post("/account/tokens", data={"name": "sheet", "role": "look", "days": "30"})
    token = made.text.split('id="token">')[1].split("<")[0]
    assert token.startswith("gvp_")
    assert token not in lead.get("/account").text, "shown once"
    one = house.program(token)
    assert one.get("/api/v1/watch").status_code == 200
    assert "last used" in lead.get("/account").text
    other = house.program(token_of(house, "wren", Role.LOOK, timedelta(days=30)))
    assert other.get("/api/v1/watch").status_code == 200
    assert lead.post("/account/tokens/1/revoke").status_code == 303
    assert one.get("/api/v1/watch").status_code == 401
    assert lead.post("/account/tokens/1/revoke").status_code == 404
    house.clock.turn_by(timedelta(days=30))
    assert other.get("/api/v1/watch").status_code == 401


def test_nobody_revokes_anothers_token(house):
    house.invite("tobin", Role.LEAD)
    token = token_of(house, "wren", Role.LOOK)
    assert house.signed_in("tobin").post("/account/tokens/1/revoke").status_code == 404
    assert house.program(token).get("/api/v1/watch").status_code == 200


@pytest.mark.parametrize("path", ["/account", "/accounts"])
def test_no_token_opens_accounts(house, path):
    one = house.program(token_of(house, "wren", Role.LEAD))
    refused = one.get(path)
    assert refused.status_code == 403
    assert "no token may do it" in refused.text
    made = one.post("/account/tokens", data={"name": "more", "role": "lead", "days": "0"})
    assert made.status_code == 403


@pytest.mark.parametrize(
    "header",
    ["Bearer gvp_made-up", "Bearer", "Basic d3JlbjpwYXNz", "gvp_x", "bearer é"],
)
def test_what_is_no_token_opens_nothing_even_beside_a_session(house, header):
    one = house.signed_in("wren")
    sent = {"authorization": header.encode("latin-1")}
    assert one.get("/api/v1/watch", headers=sent).status_code == 401


def test_a_program_needs_no_origin_and_is_given_no_cookie(house):
    one = house.program(token_of(house, "wren", Role.TEND))
    answer = one.post(WHERE, json=SEEN)
    assert answer.status_code == 201
    assert "set-cookie" not in answer.headers


def test_a_body_too_large_is_refused_before_it_is_looked_at(house):
    one = house.signed_in("wren")
    assert one.post(WHERE, content=b"x" * (17 * 1024 * 1024)).status_code == 413


def test_against_the_plan_counts_the_role_of_a_lead_and_not_the_leads_name(house):
    """A tablet at the bench may write in everybody's name; it leads nobody."""
    against = {"seen": "cover_off", "override": True, "note": "full of mould"}
    house.invite("tablet", Role.TEND, ("tobin", "wren"))
    tablet = house.signed_in("tablet")
    form = {"what": "cover_off", "by": "wren", "note": "full of mould", "override": "true"}
    assert tablet.post(WHERE, json={**against, "by": "wren"}).status_code == 403
    assert tablet.post("/bench/MG-07", data=form).status_code == 403
    stage = {"stage": "hardening", "by": "wren", "because": "no bag left", "override": "true"}
    assert tablet.post("/bench/MG-07/stage", data=stage).status_code == 403
    narrow = house.program(token_of(house, "wren", Role.TEND))
    assert narrow.post(WHERE, json={**against, "by": "wren"}).status_code == 403

    house.invite("odell", Role.LEAD)
    assert house.signed_in("odell").post(WHERE, json=against).status_code == 201
    trail = house.signed_in("wren").get("/api/v1/batches/MG-07/history").json()["trail"]
    assert trail[-1]["by"] == "odell"


def test_a_photo_sent_as_it_is_goes_under_the_name_of_whoever_is_signed_in(house):
    sent = io.BytesIO()
    Image.new("RGB", (20, 20)).save(sent, "PNG")
    house.invite("tobin", Role.TEND)
    tobin = house.signed_in("tobin")
    number = tobin.post(WHERE, json=SEEN).json()["number"]
    to, kind = f"/api/v1/observations/{number}/photo", {"content-type": "image/png"}
    stolen = tobin.post(f"{to}?by=wren", content=sent.getvalue(), headers=kind)
    assert stolen.status_code == 403
    kept = tobin.post(to, content=sent.getvalue(), headers=kind)
    assert (kept.status_code, kept.json()["by"]) == (201, "tobin")
    assert tobin.delete(f"{to}?by=tobin").status_code == 403
    assert house.browser().get(to).status_code == 401
    form = f"/batches/MG-07/photos/{number}/remove"
    assert tobin.post(form, data={"by": "tobin"}).status_code == 403
    wren = house.signed_in("wren")
    assert wren.get(to).headers["content-type"] == "image/jpeg"
    assert wren.post(form, data={"by": "wren"}).status_code == 303
    assert wren.get(to).status_code == 404
