"""The first account needs the code of the machine; the others need a link of the lead."""

from __future__ import annotations

import re
import stat
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from api.accounts.roles import Role
from api.accounts.set_up import CODE_FILE, is_code, offer_code


def form(code: str, password: str, **more: str) -> dict[str, str]:
    return {"code": code, "person": "wren", "password": password, "again": password, **more}


def test_until_someone_is_set_up_every_page_leads_there(empty):
    one = empty.browser()
    for path in ("/", "/batches/MG-07", "/account", "/sign-in", "/nothing"):
        assert one.get(path).headers["location"] == "/set-up", path
    refused = empty.program(None).get("/api/v1/batches")
    assert refused.status_code == 401
    assert "/set-up" in refused.json()["detail"]
    page = one.get("/set-up").text
    assert "Set up the first account" in page
    assert "MG-07" not in page


def test_the_code_lies_where_only_this_user_reads_it_and_is_used_up(empty, password):
    code = offer_code(empty.data)
    file = empty.data / CODE_FILE
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert file.read_text().strip() == code
    assert re.fullmatch(r"([a-z2-9]{4}-){3}[a-z2-9]{4}", code)
    typed = code.upper().replace("-", " ")
    done = empty.browser().post("/set-up", data=form(typed, password))
    assert (done.status_code, done.headers["location"]) == (303, "/")
    assert not file.exists()
    again = empty.browser().post("/set-up", data=form(code, password))
    assert again.headers["location"] == "/sign-in"
    assert "Signed in: Wren Castellow (lead)." in empty.signed_in("wren").get("/").text


def test_without_a_code_file_no_code_is_right(empty, password, tmp_path):
    for guess in ("", "-", "abcd-efgh-jkmn-pqrs"):
        assert not is_code(tmp_path, guess)
    (tmp_path / CODE_FILE).write_text("")
    assert not is_code(tmp_path, "")
    assert empty.browser().post("/set-up", data=form("x", password)).status_code == 403


def test_an_earlier_start_s_code_no_longer_counts(empty, password):
    first, second = offer_code(empty.data), offer_code(empty.data)
    assert first != second
    assert empty.browser().post("/set-up", data=form(first, password)).status_code == 403
    assert empty.browser().post("/set-up", data=form(second, password)).status_code == 303


def test_guessing_the_code_is_slowed_down(empty, password):
    one = empty.browser()
    statuses = [one.post("/set-up", data=form("guess", password)).status_code for _ in range(6)]
    assert statuses == [403] * 5 + [429]
    empty.clock.turn_by(timedelta(seconds=30))
    code = offer_code(empty.data)
    assert one.post("/set-up", data=form(code, password)).status_code == 303


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"again": "another"}, "the two were not the same"),
        ({"password": "short", "again": "short"}, "12 letters or more"),
        ({"password": "Wren Castellow", "again": "Wren Castellow"}, "names first"),
        ({"person": "nobody"}, "people of the book"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_made(empty, password, more, said):
    code = offer_code(empty.data)
    answer = empty.browser().post("/set-up", data={**form(code, password), **more})
    assert answer.status_code in (409, 422)
    assert said in answer.text
    assert empty.signing.nobody_yet()


def test_two_at_once_make_one_lead(empty, password):
    code = offer_code(empty.data)

    def one(person: str) -> str:
        answer = empty.browser().post("/set-up", data=form(code, password, person=person))
        return answer.headers.get("location", str(answer.status_code))

    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(one, ["wren", "tobin", "pilar", "odell"]))
    assert found.count("/") == 1, found


def test_an_invitation_works_once_and_for_three_days(house, password):
    lead = house.signed_in("wren")
    page = lead.post("/accounts/invite", data={"person": "tobin", "role": "tend"}).text
    link = re.search(r'id="link">([^<]+)<', page)[1]
    assert link.startswith("http://127.0.0.1:8484/invited/")
    path = link.removeprefix("http://127.0.0.1:8484")
    assert "has not chosen a password yet" in lead.get("/accounts").text
    one = house.browser()
    assert "Choose your password, Tobin Quillfeather" in one.get(path).text
    weak = {"password": "tobin tobin tobin", "again": "tobin tobin tobin"}
    assert one.post(path, data=weak).status_code == 422
    good = {"password": password, "again": password}
    assert one.post(path, data=good).status_code == 303
    assert one.get("/").status_code == 200
    assert house.browser().get(path).status_code == 410
    assert house.browser().post(path, data=good).status_code == 410
    later = house.keeping.new_link("tobin", by="wren")
    newer = house.keeping.new_link("tobin", by="wren")
    assert house.browser().get(f"/invited/{later}").status_code == 410, "the newest alone counts"
    house.clock.turn_by(timedelta(days=3))
    assert house.browser().get(f"/invited/{newer}").status_code == 410


def test_a_new_link_sets_a_new_password_and_ends_what_was_open(house):
    house.invite("tobin", Role.TEND)
    before = house.signed_in("tobin")
    secret = house.keeping.new_link("tobin", by="wren")
    assert before.get("/").status_code == 200, "the old password counts until the link is used"
    fresh = "three snails on a wet brick"
    answer = house.browser().post(f"/invited/{secret}", data={"password": fresh, "again": fresh})
    assert answer.status_code == 303
    assert before.get("/").status_code == 303


def test_somebody_who_is_shut_out_takes_up_no_link(house):
    secret = house.keeping.invite("tobin", granted(Role.TEND), by="wren")
    house.keeping.disable("tobin", by="wren")
    assert house.browser().get(f"/invited/{secret}").status_code == 410
    assert house.browser().get(f"/invited/{house.keeping.new_link('tobin', by='wren')}").is_error


def granted(role: Role):
    from api.accounts.keeping import Granted

    return Granted(role)


def test_the_last_lead_stays_a_lead(house):
    lead = house.signed_in("wren")
    for path, data in (
        ("/accounts/wren/disable", {}),
        ("/accounts/wren/role", {"role": "look"}),
        ("/accounts/invite", {"person": "wren", "role": "look"}),
    ):
        refused = lead.post(path, data=data)
        assert refused.status_code == 409, path
        assert "Make somebody else a lead first" in refused.text
    house.invite("tobin", Role.LEAD)
    assert lead.post("/accounts/wren/role", data={"role": "look"}).status_code == 303
    assert lead.get("/accounts").status_code == 403, "from the next request on"


def test_the_trail_tells_who_changed_what(house):
    lead = house.signed_in("wren")
    house.invite("tobin", Role.LOOK)
    lead.post("/accounts/tobin/role", data={"role": "tend"})
    lead.post("/accounts/tobin/disable")
    page = lead.get("/accounts").text
    for said in (
        "Wren Castellow: set up the first account",
        "at the machine: made a link for Tobin Quillfeather: look",
        "Wren Castellow: changed Tobin Quillfeather: look to tend",
        "Wren Castellow: shut Tobin Quillfeather out",
    ):
        assert said in page, said
