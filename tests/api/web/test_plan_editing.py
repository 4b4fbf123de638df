"""A lead changes a care plan on its page: looks first, keeps with a reason, overwrites nobody."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from html import unescape

import httpx
import pytest

from api.plan_versions import next_minute, versions_kept
from api.replaying import Stretch, book_of, replayed
from rules.model.plan import plan_in_force

EDIT = "/plans/leafy-bag/edit"
FIRST = "stage/healing/limit/0"  # humidity at least 90 %, of medium priority
BOUND = f"{FIRST}/bound"


def text_of(answer) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def part_of(answer, name: str) -> str:
    """Return the words of the part of a page that begins with an id."""
    assert f'id="{name}"' in answer.text, f"{answer.status_code}: no {name} in {text_of(answer)}"
    after = answer.text.split(f'id="{name}"', 1)[1]
    end = re.search(r"</(section|ul|div)>", after)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", after[: end.start()])))


def form_in(answer) -> dict[str, str]:
    """Return what a browser would send of the form, without a button."""
    page = answer.text.split('id="plan-form"', 1)[1].split("</form>", 1)[0]
    found: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", page):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        found[name[1]] = unescape(value[1]) if value else ""
    for name, inside in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', inside) or re.search(
            r'value="([^"]*)"', inside
        )
        found[name] = chosen[1]
    text = re.search(r"<textarea[^>]*>\n(.*)</textarea>", page, re.S)
    return found | ({"text": unescape(text[1])} if text else {})


def looked_at(client, *, by: str = "wren", address: str = EDIT, **typed: str):
    """Open the form, type, and look."""
    form = form_in(client.get(address)) | typed | {"by": by, "deed": "look"}
    return client.post(EDIT, data=form)


def kept(client, looked, *, note: str = "hot week"):
    return client.post(EDIT, data=form_in(looked) | {"note": note, "deed": "keep"})


def changed(client, *, by: str = "wren", note: str = "hot week", **typed: str) -> str:
    answer = kept(client, looked_at(client, by=by, **typed), note=note)
    assert answer.status_code == 303, text_of(answer)
    return answer.headers["location"]


@pytest.fixture(scope="module")
def reader(pages_nursery, filled, tmp_path_factory):
    """A client for tests that keep nothing; the last of them would find out."""
    folder = tmp_path_factory.mktemp("reader") / "data"
    nursery = pages_nursery.nursery(pages_nursery.copied(filled, folder))
    with (
        pages_nursery.serving(nursery.parts) as address,
        httpx.Client(base_url=address, timeout=60) as one,
    ):
        yield one
    try:
        assert [len(versions) for versions in nursery.parts.plans.values()] == [1, 1, 1]
        assert versions_kept(nursery.parts.records, "leafy-bag") == {}
    finally:
        nursery.close()


def test_a_figure_is_changed_looked_at_and_kept_with_a_reason(client, tern_hollow):
    looked = looked_at(client, **{BOUND: "82,5", f"{FIRST}/on_delay_min": "4"})
    assert looked.status_code == 200
    said = part_of(looked, "changes")
    assert "Healing: humidity at least 90 % became humidity at least 82.5 %" in said
    assert "speaks after 10 min" in said
    assert "became speaks after 4 min" in said
    fields = part_of(looked, "every-field")
    assert "stage.healing.limit[air-dry].bound 90.0 82.5" in fields
    assert "stage.healing.limit[air-dry].on_delay_min 10 4" in fields
    begins = next_minute(tern_hollow.clock.now())
    meets = part_of(looked, "meets")
    assert re.search(r"MG-07 \(healing\).*: judged by it from 02:11\.", meets)
    assert re.search(r"AV-04 \(easing\).*: only once they come to a stage that is changed", meets)
    assert len(tern_hollow.parts.plans["leafy-bag"]) == 1
    before = client.get("/plans/leafy-bag/versions/1")

    without = kept(client, looked, note="  ")
    assert without.status_code == 422
    assert "note: Is missing. Say in a few words why" in part_of(without, "faults")
    answer = kept(client, looked)
    assert (answer.status_code, answer.headers["location"]) == (303, "/plans/leafy-bag?version=2")
    versions = tern_hollow.parts.plans["leafy-bag"]
    assert plan_in_force(versions, begins).version == 2
    assert plan_in_force(versions, begins - timedelta(seconds=1)).version == 1
    page = client.get("/plans/leafy-bag?version=2")
    assert "Version 2 from 02:11 · still to come Wren Castellow, 02:10: hot week" in text_of(page)
    assert "humidity at least 90 % became humidity at least 82.5 %" in part_of(page, "changed")

    after = client.get("/plans/leafy-bag/versions/2")
    assert after.headers["content-disposition"] == 'attachment; filename="leafy-bag-2.toml"'
    old, new = before.text.splitlines(), after.text.splitlines()
    assert [line for line in old if line not in new] == ["version = 1", "bound = 90.0"]
    assert new.count("bound = 82.5") == 1
    tern_hollow.stand_still(1)
    assert "Version 2 from 02:11 · in force" in text_of(client.get("/plans/leafy-bag"))


def test_the_new_limit_speaks_in_the_next_minute_and_the_night_before_stays_as_it_was(
    client, tern_hollow
):
    parts = tern_hollow.parts

    def judged(plans) -> list:
        first = int(tern_hollow.watch_began.timestamp()) // 60
        end = int(begins.timestamp()) // 60
        book = book_of(parts.site, plans, parts.records, lateness_s=90)
        blocks = replayed((Stretch(first, end, book),), tern_hollow.store, late_in=None)
        return [change for passage in blocks for change in passage.changes]

    begins = next_minute(tern_hollow.clock.now())
    tern_hollow.watch_began = begins - timedelta(hours=8)
    night = judged(parts.plans)
    looked = looked_at(client, **{BOUND: "99.9", f"{FIRST}/on_delay_min": "0"})
    assert "MG-07: go and look. An alarm that is open there ends" in part_of(looked, "meets")
    assert kept(client, looked).status_code == 303

    def rung(batch: str, condition: str) -> list[dict]:
        every = client.get(f"/api/v1/alarms?batch={batch}").json()
        return [one for one in every if one["condition"] == condition]

    assert rung("AV-12", "air-dry") == []
    (danger,) = rung("MG-07", "air-dry-danger")
    tern_hollow.go_on(4)
    # What the edit leaves as it was goes on: the danger of another limit is not ended by it.
    assert danger["state"] == "unacknowledged"
    assert rung("MG-07", "air-dry-danger") == [danger]
    (alarm,) = rung("AV-12", "air-dry")
    assert alarm["opened_at"] == begins.isoformat().replace("+00:00", "Z")
    assert alarm["state"] == "unacknowledged"
    assert judged(parts.plans) == night
    assert night
    new = parts.plans["leafy-bag"][1].model_copy(update={"in_force_from": None})
    assert judged({**parts.plans, "leafy-bag": (new,)}) != night


def test_two_leads_at_once_never_write_over_each_other(client, tern_hollow):
    mine = looked_at(client, by="wren", **{BOUND: "88"})
    changed(client, by="pilar", note="probe reads low", **{f"{FIRST}/deadband": "3.25"})
    late = kept(client, mine)
    assert late.status_code == 409
    said = part_of(late, "meanwhile")
    assert "version 2 by Pilar Ondarreta, 02:10 (probe reads low)" in said
    assert "back inside by 2 % became" in said
    assert "back inside by 3.25 %" in said
    assert form_in(late)[BOUND] == "88"
    assert "looked" not in form_in(late)
    assert len(tern_hollow.parts.plans["leafy-bag"]) == 2
    again = client.post(EDIT, data=form_in(late) | {"deed": "look"})
    assert "Version 2 has not begun, and will then never count." in text_of(again)
    assert kept(client, again).headers["location"] == "/plans/leafy-bag?version=3"
    assert [one.version for one in tern_hollow.parts.plans["leafy-bag"]] == [1, 3]
    page = text_of(client.get("/plans/leafy-bag"))
    assert "Version 2 from 02:11 · never counted: version 3 took its place" in page
    assert client.get("/plans/leafy-bag?version=2").status_code == 200
    assert "deadband = 3.25" in client.get("/plans/leafy-bag/versions/2").text


def test_only_what_was_looked_at_is_kept_and_a_second_press_keeps_nothing_more(client, tern_hollow):
    looked = looked_at(client, **{BOUND: "88"})
    unseen = form_in(looked) | {BOUND: "70", "note": "hot", "deed": "keep"}
    never = {name: value for name, value in unseen.items() if name != "looked"}
    for typed in (unseen, never):
        answer = client.post(EDIT, data=typed)
        assert answer.status_code == 409
        assert "Look at it as it is now" in text_of(answer)
        assert "at least 70 %" in part_of(answer, "changes")
    assert len(tern_hollow.parts.plans["leafy-bag"]) == 1
    assert kept(client, looked).status_code == 303
    twice = kept(client, looked)
    assert (twice.status_code, twice.headers["location"]) == (303, "/plans/leafy-bag?version=2")
    assert len(versions_kept(tern_hollow.parts.records, "leafy-bag")) == 1


def test_an_older_version_is_taken_up_again_and_a_moment_can_be_named(client, tern_hollow):
    changed(client, **{BOUND: "88"})
    tern_hollow.stand_still(30)
    assert 'href="/plans/leafy-bag/edit?of=1"' in client.get("/plans/leafy-bag?version=1").text
    filled = client.get(f"{EDIT}?of=1")
    assert "Filled in with version 1" in text_of(filled)
    past = {"begins": "2026-11-15T01:00", "by": "wren", "deed": "look"}
    answer = client.post(EDIT, data=form_in(filled) | past)
    assert answer.status_code == 422
    assert re.search(r"Line \d+, in_force_from: Is over", part_of(answer, "faults"))
    looked = client.post(EDIT, data=form_in(filled) | past | {"begins": "2026-11-20T06:00"})
    assert "It counts from Fri 06:00." in part_of(looked, "preview")
    assert kept(client, looked).status_code == 303
    third = tern_hollow.parts.plans["leafy-bag"][2]
    assert third.in_force_from.isoformat() == "2026-11-20T06:00:00+11:00"
    assert third.stage["healing"].limit[0].bound == 90.0
    page = client.get(EDIT)
    assert "You change version 3, which is still to come" in text_of(page)
    assert form_in(page)["begins"] == "2026-11-20T06:00"


@pytest.mark.parametrize(
    ("was", "now", "english", "spanish"),
    [
        ("bound = 90.0", 'bound = "90"',
         'stage.healing.limit[air-dry].bound: "90" is not a number. Write digits with a point',
         '"90" no es un número. Escriba cifras con punto, sin comillas.'),
        ("on_delay_min = 10", "on_delay_min = 2000",
         "on_delay_min: Is 2000. Write a number that is at most 1440.",
         "Es 2000. Escriba un número que sea como mucho 1440."),
        ("bound = 90.0", "bound = 120.0", "bound: 120 lies outside what relative_humidity can be",
         "120 queda fuera de lo que relative_humidity puede ser, de 0 a 110 %RH"),
        ("bound = 90.0", "bound = ", "Is not TOML: invalid value", "No es TOML"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_the_text_is_told_with_its_line_in_the_readers_language(
    reader, was, now, english, spanish
):
    form = form_in(reader.get(f"{EDIT}?way=text")) | {"by": "wren", "deed": "look"}
    assert "text" in form
    assert BOUND not in form
    typed = form["text"].replace(was, now, 1)
    lines = [one.strip() for one in typed.splitlines()]
    line = lines.index(now.strip()) + 1
    # A browser ends the lines of what is typed in its own way.
    sent = form | {"text": typed.replace("\n", "\r\n")}
    for language, said, word in (("en", english, "Line"), ("es", spanish, "Línea")):
        answer = reader.post(f"{EDIT}?lang={language}", data=sent)
        assert answer.status_code == 422
        assert said.lower() in part_of(answer, "faults").lower().replace("  ", " ")
        assert f"{word} {line}, " in part_of(answer, "faults")
        assert form_in(answer)["text"].strip() == typed.strip()
        assert 'value="keep"' not in answer.text


def test_what_is_wrong_in_a_field_stands_at_the_field(reader):
    answer = looked_at(reader, **{BOUND: "damp"})
    assert answer.status_code == 422
    assert form_in(answer)[BOUND] == "damp"
    assert len(re.findall('aria-invalid="true"', answer.text)) == 1
    at = answer.text.index('aria-invalid="true"')
    assert f'name="{BOUND}"' in answer.text[at - 200 : at]


def test_going_over_to_the_text_takes_what_was_typed_along(reader):
    form = form_in(reader.get(EDIT)) | {BOUND: "88.5", "by": "wren"}
    text = reader.post(EDIT, data=form | {"deed": "text"})
    assert text.status_code == 200
    assert "bound = 88.5" in form_in(text)["text"]
    back = reader.post(EDIT, data=form_in(text) | {"deed": "figures"})
    assert form_in(back)[BOUND] == "88.5"


def test_page_is_whole_in_spanish(reader):
    form = form_in(reader.get(f"{EDIT}?lang=es")) | {BOUND: "88,5", "by": "wren", "deed": "look"}
    looked = reader.post(f"{EDIT}?lang=es", data=form)
    said = text_of(looked)
    assert "humedad al menos 90 % pasó a humedad al menos 88,5 %" in said
    assert "Guardar la versión 2" in said
    assert "se juzgan por ella desde 02:11" in said
    for english in ("Keep", "Look at", "counts", "batch", "became", "Why"):
        assert english not in said.replace("leafy-bag", "")


def test_pages_stay_small_and_the_enter_key_keeps_nothing(reader):
    looked = looked_at(reader, **{BOUND: "88"})
    for page in (reader.get(EDIT), reader.get(f"{EDIT}?way=text"), looked):
        assert len(page.content) < 200_000
        form = page.text.split('id="plan-form"', 1)[1]
        first = re.search(r"<button[^>]*>", form)[0]
        assert 'value="look"' in first
    ids = re.findall(r'\sid="([^"]*)"', looked.text)
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize(
    "headers",
    [{"sec-fetch-site": "cross-site"}, {"origin": "http://elsewhere.example.invalid"}],
)
def test_a_page_of_another_site_changes_no_plan(reader, headers):
    form = form_in(looked_at(reader, **{BOUND: "70"})) | {"note": "x", "deed": "keep"}
    assert reader.post(EDIT, data=form, headers=headers).status_code == 403


def test_unknown_plans_versions_and_people_are_refused(reader):
    assert reader.get("/plans/none/edit").status_code == 404
    assert reader.get(f"{EDIT}?of=9").status_code == 404
    assert reader.get("/plans/leafy-bag/versions/9").status_code == 404
    assert reader.post("/plans/none/edit", data={"deed": "look"}).status_code == 404
    answer = looked_at(reader, by="ghost", **{BOUND: "70"})
    assert answer.status_code == 422
    assert 'by: Nobody has the id "ghost"' in part_of(answer, "faults")
    assert reader.post(EDIT, data={}).status_code == 422
    assert reader.post(EDIT, data={"text": "#" * 900_000}).status_code == 413


def test_nothing_changed_makes_no_version(reader):
    answer = looked_at(reader)
    assert answer.status_code == 422
    assert "Says the same as version 1" in part_of(answer, "faults")


def test_every_source_of_a_figure_stands_on_the_sheet(reader):
    for name in ("leafy-bag", "leafless-film", "top-working"):
        text = text_of(reader.get(f"/plans/{name}"))
        form = reader.get(f"/api/v1/plans/{name}/versions/1").json()["form"]
        sources = set(re.findall(r'"source": "((?:[^"\\]|\\.)*)"', json.dumps(form)))
        assert len(sources) > 1
        for source in sources:
            assert re.sub(r"\s+", " ", json.loads(f'"{source}"')) in text
