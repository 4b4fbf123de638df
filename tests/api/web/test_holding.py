"""The forms that hold alarms back, as a phone sends them, and what the pages then say."""

from __future__ import annotations

import re
from html import unescape

import pytest

from api.records.alarms import standing_alarms
from api.records.session import reading


def text_of(page):
    inside = re.sub(r"(?s)<(script|style|svg).*?</\1>", " ", page)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", inside)).split())


@pytest.fixture
def danger(tern_hollow):
    with reading(tern_hollow.parts.records) as db:
        return next(one.id for one in standing_alarms(db) if one.batch == "MG-07")


def test_an_alarm_set_aside_says_until_when_by_whom_and_why(client, danger):
    sent = {"what": "shelve", "by": "tobin", "why": "bag open", "minutes": "30"}
    answer = client.post(f"/alarms/{danger}/hold", data=sent)
    assert answer.status_code == 303
    page = text_of(client.get(answer.headers["location"]).text)
    said = "Air too dry: set aside until 02:40 by Tobin Quillfeather (bag open)."
    assert said in page
    assert "Take it up again" in page
    assert said in text_of(client.get("/").text)  # the batch is still in danger, and why is said
    listed = text_of(client.get("/alarms").text)
    assert "Tell nobody now" in listed
    assert "One tells nobody now." in listed
    back = client.post(f"/alarms/{danger}/hold", data={"what": "let_go", "by": "tobin"})
    assert back.status_code == 303
    assert "set aside until" not in text_of(client.get(f"/alarms/{danger}").text)


def test_out_of_service_says_who_and_why_in_spanish_too(client, danger):
    sent = {"what": "take_out", "by": "tobin", "why": "sonda rota"}
    assert client.post(f"/alarms/{danger}/hold", data=sent).status_code == 303
    page = text_of(client.get(f"/alarms/{danger}?lang=es").text)
    assert "puesta fuera de servicio por Tobin Quillfeather (sonda rota)." in page
    assert "Reponer en servicio" in page


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"what": "shelve", "by": "tobin", "why": " ", "minutes": "30"}, 422),
        ({"what": "shelve", "by": "nobody", "why": "x", "minutes": "30"}, 422),
        ({"what": "shelve", "by": "tobin", "why": "x", "minutes": "61"}, 422),
        ({"what": "let_go", "by": "tobin"}, 409),
        ({"what": "burn", "by": "tobin"}, 422),
    ],
)
def test_what_cannot_be_done_is_refused_and_changes_nothing(client, danger, sent, status):
    before = text_of(client.get(f"/alarms/{danger}").text)
    assert client.post(f"/alarms/{danger}/hold", data=sent).status_code == status
    assert text_of(client.get(f"/alarms/{danger}").text) == before


def test_a_form_of_another_site_holds_nothing_back(client, danger):
    sent = {"what": "take_out", "by": "tobin", "why": "x"}
    headers = {"sec-fetch-site": "cross-site"}
    assert client.post(f"/alarms/{danger}/hold", data=sent, headers=headers).status_code == 403
    work = {"kind": "washing", "place": "healing", "by": "tobin", "minutes": "60"}
    assert client.post("/works", data=work, headers=headers).status_code == 403


def test_a_look_at_the_pages_begins_no_work(looking):
    for path in ("/works", "/works?kind=washing&place=healing", "/alarms"):
        assert looking.get(path).status_code == 200
    assert "No work is in hand" in looking.get("/works").text


def test_work_is_begun_with_its_caution_and_ends_by_itself(client, tern_hollow):
    sent = {"kind": "spraying", "place": "healing", "by": "tobin", "minutes": "60", "note": "oil"}
    assert client.post("/works", data=sent).status_code == 303
    page = text_of(client.get("/works").text)
    assert "One piece of work is in hand" in page
    assert "house being sprayed, Tobin Quillfeather, until 03:10 (oil)" in page
    assert "re-entry time on the label" in page
    assert "In hand : " in text_of(client.get("/").text)
    assert client.post("/works", data=sent).status_code == 409
    tern_hollow.stand_still(60)
    assert "No work is in hand" in client.get("/works").text
    assert "Ended" in client.get("/works").text


def test_work_is_ended_before_its_time(client):
    sent = {"kind": "cover_open", "place": "MG-07", "by": "tobin", "minutes": "30"}
    client.post("/works", data=sent)
    assert client.post("/works/1/end", data={"by": "tobin"}).status_code == 303
    assert client.post("/works/1/end", data={"by": "tobin"}).status_code == 409
    assert client.post("/works/9/end", data={"by": "tobin"}).status_code == 404
    assert "No work is in hand" in client.get("/works").text


def test_what_an_opened_cover_holds_back_is_named_on_the_alarms_page(client, tern_hollow):
    sent = {"kind": "cover_open", "place": "MG-09", "by": "tobin", "minutes": "120"}
    assert client.post("/works", data=sent).status_code == 303
    for _ in range(20):
        tern_hollow.stand_still(1)
        now = tern_hollow.clock.now()
        said = {"t": int(now.timestamp()), "temperature": 21.0, "humidity": 70.0}
        tern_hollow.hear("tern-hollow/bag-09", said, now)
        tern_hollow.watch.turn()
    with reading(tern_hollow.parts.records) as db:
        held = [one for one in standing_alarms(db) if one.state.value == "suppressed_by_design"]
    assert {one.condition for one in held} >= {"air-dry", "air-dry-danger"}
    assert {one.batch for one in held} == {"MG-09"}
    listed = text_of(client.get("/alarms").text)
    held_back = "held back on purpose (MG-09: cover opened on purpose, Tobin Quillfeather, until"
    assert listed.count(held_back) == len(held)
    one = text_of(client.get(f"/alarms/{held[0].id}").text)
    assert held_back in one
    assert "wrong meanwhile; told nobody" in one
    assert "callada a propósito" in client.get(f"/alarms/{held[0].id}?lang=es").text
