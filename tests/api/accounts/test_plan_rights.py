"""Only a lead changes a care plan, in their own name, from our own page, and never by a link."""

from __future__ import annotations

import re
from html import unescape

from api.accounts.roles import Role
from api.plan_versions import versions_kept

EDIT = "/plans/leafy-bag/edit"
PLAN = "/api/v1/plans/leafy-bag"


def test_a_lead_changes_a_plan_and_nobody_else_does(house):
    house.invite("tobin", Role.TEND)
    house.invite("odell", Role.TECHNICIAN)
    lead = house.signed_in("wren")
    revision = re.search(r'name="revision" value="([^"]*)"', lead.get(EDIT).text)[1]
    text = lead.get("/plans/leafy-bag/versions/1").text.replace("bound = 90.0", "bound = 88.0", 1)
    form = {"text": text, "way": "text", "revision": revision, "note": "hot", "deed": "look"}
    looked = lead.post(EDIT, data=form | {"by": "wren"})
    assert looked.status_code == 200
    mark = re.search(r'name="looked" value="([^"]*)"', looked.text)[1]
    keeping = form | {"looked": mark, "deed": "keep"}
    body = {"toml": text, "note": "hot"}
    match = {"if-match": f'"{revision}"'}

    for who in ("tobin", "odell"):
        other = house.signed_in(who)
        assert other.get("/plans/leafy-bag").status_code == 200
        assert other.get(PLAN).status_code == 200
        assert other.get(EDIT).status_code == 403
        assert other.post(EDIT, data=keeping | {"by": who}).status_code == 403
        assert other.post(EDIT, data=keeping | {"by": "wren"}).status_code == 403
        assert other.put(PLAN, json=body, headers=match).status_code == 403
        assert other.post(f"{PLAN}/preview", json=body, headers=match).status_code == 403

    stranger = house.browser()
    assert stranger.post(EDIT, data=keeping | {"by": "wren"}).status_code == 303
    foreign = {"origin": "http://elsewhere.example.invalid", "sec-fetch-site": "cross-site"}
    assert lead.post(EDIT, data=keeping | {"by": "wren"}, headers=foreign).status_code == 403
    assert versions_kept(house.parts.records, "leafy-bag") == {}

    kept = lead.post(EDIT, data=keeping | {"by": "wren"})
    assert (kept.status_code, kept.headers["location"]) == (303, "/plans/leafy-bag?version=2")
    page = unescape(lead.get("/plans/leafy-bag?version=2").text)
    assert "Wren Castellow" in page
    # A program of the lead's that names nobody writes in the lead's name.
    etag = {"if-match": lead.get(PLAN).headers["etag"]}
    body["toml"] = text.replace("bound = 88.0", "bound = 87.0", 1)
    assert lead.put(PLAN, json=body, headers=etag).status_code == 201
    assert [one.by for one in versions_kept(house.parts.records, "leafy-bag").values()] == [
        "wren", "wren"
    ]  # fmt: skip
