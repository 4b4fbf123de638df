"""Each page answers its question in its first line, and reading one changes nothing."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from datetime import timedelta
from html import unescape

import httpx
import pytest

from api.records.outbox import messages_of
from api.records.session import reading
from api.records.tables import METADATA


def first_line(page: str) -> str:
    found = re.search(r"<h1[^>]*>(.*?)</h1>", page, re.DOTALL)
    assert found is not None
    return unescape(found[1])


def text_of(page: str) -> str:
    inside = re.sub(r"(?s)<(script|style|svg).*?</\1>", " ", page)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", inside)).split())


def everything_kept(parts) -> str:
    digest = hashlib.sha256()
    with reading(parts.records) as db:
        for table in METADATA.sorted_tables:
            for row in db.execute(table.select()):
                digest.update(repr(tuple(row)).encode())
    digest.update(str(parts.store.count()).encode())
    return digest.hexdigest()


def test_now_says_who_needs_someone(looking):
    page = looking.get("/").text
    assert (
        first_line(page)
        == "One of 12 batches is in danger. One can't be seen. The rest are steady."
    )


def test_now_says_what_is_wrong_how_bad_since_when_and_what_to_do(looking):
    text = text_of(looking.get("/").text)
    assert "MG-07 mango early yellow, under a tied bag, bench 1 in danger" in text
    assert re.search(
        r"Air too dry: 7\d\N{NO-BREAK SPACE}?\s?%, falling \d+\s?% an hour; should be at least 80",
        text,
    )
    assert "Since 01:54 (16 min)." in text
    assert "Do Mist inside and retie the bag." in text
    assert "Tobin Quillfeather" in text


def test_now_puts_danger_before_blindness_before_the_steady(looking):
    page = looking.get("/").text
    places = [page.index(f"/batches/{code}") for code in ("MG-07", "CI-15", "AV-12")]
    assert places == sorted(places)


def test_blind_batch_says_what_cannot_be_seen_and_which_sensor_to_look_at(looking):
    text = text_of(looking.get("/").text)
    assert "We can't see the dryness of the air." in text
    assert "then at bag-15 (Probe in the bag of CI-15)" in text


def test_blind_hours_of_a_ribbon_are_a_gap_though_darkness_is_within_every_limit(looking):
    page = looking.get("/").text
    ribbon = re.search(r'<svg class="ribbon"[^>]*aria-label="CI-15.*?</svg>.*?</svg>', page, re.S)
    assert ribbon is not None
    assert 'class="gap-end"' in ribbon[0]
    area = re.search(r'd="(M[^"]*)" class="margin"', ribbon[0])
    assert area is not None
    right_edge = sum(int(step) for step in re.findall(r"h(\d+)", area[1]))
    assert right_edge / 288 < (22 - 12 + 1) / 24


def test_page_of_a_still_watch_says_so_before_anything_else(client, tern_hollow):
    tern_hollow.stand_still(45)
    page = client.get("/").text
    assert first_line(page) == (
        "The watch has stood still since 02:08. Nothing after that has been judged."
    )
    assert "No sensor has been heard since 02:09." in text_of(page)
    assert "steady" not in text_of(page).split("The rest, by bench")[0]


def test_page_before_the_first_minute_is_judged_claims_nothing(serving, tmp_path):
    import sys

    fresh = sys.modules["pages_nursery"].nursery(tmp_path)
    with serving(fresh.parts) as address:
        page = httpx.get(address).text
    fresh.close()
    assert first_line(page) == "No sensor has been heard yet."
    assert "has not judged a minute yet" in text_of(page)
    assert "steady" not in text_of(page)


def test_batch_sets_what_it_needs_beside_what_is(looking):
    page = looking.get("/batches/MG-07").text
    assert re.match(r"MG-07, air too dry: 7\d", first_line(page))
    text = text_of(page)
    assert "at least 80 %" in text.replace("\N{NO-BREAK SPACE}", " ")
    assert "healing, Tue 3 November: grafted and bagged" in text
    assert "12 days ago" in text
    assert "common practice, no source" in text
    assert "droplets all over the film" in text
    assert 'class="wrong low"' in page


def test_batch_draws_a_chart_for_each_judged_quantity_that_was_seen(looking):
    page = looking.get("/batches/MG-07").text
    described = re.findall(r'<svg class="chart"[^>]*aria-label="([^"]+)"', page)
    assert [one.split(",")[0] for one in described] == [
        "Moisture reserve",
        "Hours of water left",
        "Humidity",
        "Dryness of the air",
        "Light",
        "Air temperature",
        "Leaf temperature",
        "Light",
        "Dryness of the air above 0.30\N{NO-BREAK SPACE}kPa",
        "Air temperature above 32.0\N{NO-BREAK SPACE}°C",
        "Direct sun",
    ]
    assert all(re.search(r"from .+ to .+; last .+\.", unescape(one)) for one in described)
    assert page.count('class="dark"') >= 5


def test_night_before_can_be_looked_at(client, tern_hollow):
    tern_hollow.go_on(12 * 60)
    page = client.get("/batches/MG-07?day=2026-11-14").text
    assert "noon Sat 14 November to noon Sun 15 November" in page
    today = client.get("/batches/MG-07").text
    assert "noon Sun 15 November to noon Mon 16 November" in today
    assert 'class="ghost"' in today
    assert re.search(r"6\d\N{NO-BREAK SPACE}%, 02:\d\d", today)


def test_alarms_say_what_waits(looking):
    assert first_line(looking.get("/alarms").text) == (
        "Three of 3 alarms wait for someone to answer."
    )


def test_alarm_says_state_action_and_history(looking):
    number = looking.get("/api/v1/alarms", params={"batch": "MG-07"}).json()[0]["id"]
    text = text_of(looking.get(f"/alarms/{number}").text)
    assert "MG-07: air too dry; nobody has answered." in text
    assert "Mist inside and retie the bag." in text
    assert re.search(r"How fast: it fell by \d+\.\d % in 20 minutes\.", text)
    assert re.search(r"the scions' water lasts .*look at the leaves and the wood\.", text)
    assert re.search(r"What came of it 02:\d\d nobody has answered", text)


def test_alarm_page_says_who_was_told(client, tern_hollow):
    number = client.get("/api/v1/alarms", params={"batch": "MG-07"}).json()[0]["id"]
    with reading(tern_hollow.parts.records) as db:
        owed = messages_of(db, number)
    text = text_of(client.get(f"/alarms/{number}").text)
    assert len(owed) > 0 or "No message has been written for this alarm." in text
    for message in owed:
        assert message.sent_at is None
        assert "Tobin Quillfeather: waiting to go out since" in text


def test_sensors_say_which_are_silent_first(looking):
    page = looking.get("/sensors").text
    assert first_line(page) == "Two of 16 sensors are silent."
    assert page.index("bag-15") < page.index("bag-07")
    assert "Speaks for CI-15." in text_of(page)


def test_sensors_list_what_was_refused_with_its_remedy(client, tern_hollow):
    at = tern_hollow.clock.now()
    tern_hollow.hear("tern-hollow/bag-07", {"t": 1, "temperature": "<b>warm</b>"}, at)
    tern_hollow.hear("strange/topic", {"x": 1}, at)
    page = client.get("/sensors").text
    text = text_of(page)
    assert "not a number" in text
    assert "strange/topic json, heard once, last 0 s ago" in text
    assert "<b>warm" not in page
    assert "&lt;b&gt;warm" in page


def test_acknowledging_says_who_is_on_it_and_remembers_whose_device_it_is(client):
    page = client.get("/").text
    numbers = re.findall(r'name="alarm" value="(\d+)"', page.split("CI-15")[0])
    answer = client.post("/acknowledge", data={"alarm": numbers, "by": "odell", "back": "/"})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"]
    assert "who=odell" in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    text = text_of(client.get("/").text)
    assert "Odell Marrash is on it (02:10)." in text


def test_acknowledging_twice_is_refused_and_says_why(client):
    number = client.get("/api/v1/alarms").json()[0]["id"]
    form = {"alarm": number, "by": "odell"}
    assert client.post("/acknowledge", data=form).status_code == 303
    again = client.post("/acknowledge", data=form)
    assert again.status_code == 409
    assert "Someone else has answered" in again.text


@pytest.mark.parametrize(
    ("form", "status"),
    [
        ({"alarm": "1", "by": "stranger"}, 422),
        ({"alarm": "99999", "by": "wren"}, 404),
        ({"alarm": "one", "by": "wren"}, 422),
        ({"by": "wren"}, 422),
    ],
)
def test_acknowledging_what_makes_no_sense_changes_nothing(client, tern_hollow, form, status):
    before = everything_kept(tern_hollow.parts)
    assert client.post("/acknowledge", data=form).status_code == status
    assert everything_kept(tern_hollow.parts) == before


@pytest.mark.parametrize(
    "back", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "x"]
)
def test_a_form_never_sends_people_elsewhere(client, back):
    answer = client.post("/choose", data={"view": "night", "back": back})
    assert answer.headers["location"] == "/"


def test_reading_any_page_changes_nothing(client, tern_hollow):
    before = everything_kept(tern_hollow.parts)
    for path in ("/", "/batches/MG-07", "/alarms", "/alarms/1", "/sensors", "/acknowledge"):
        client.get(path)
        client.head(path)
    assert everything_kept(tern_hollow.parts) == before


def test_view_follows_the_sun_until_someone_chooses(client, tern_hollow):
    assert 'data-view="night"' in client.get("/").text
    tern_hollow.clock.turn_by(timedelta(hours=8))
    assert 'data-view="paper"' in client.get("/").text
    answer = client.post("/choose", data={"view": "night", "back": "/sensors"})
    assert answer.headers["location"] == "/sensors"
    client.cookies.set("view", "night")
    assert 'data-view="night"' in client.get("/").text
    client.cookies.set("view", "nonsense")
    assert 'data-view="paper"' in client.get("/").text


def test_spanish_reader_gets_spanish(looking):
    page = looking.get("/", headers={"accept-language": "es-MX,es;q=0.9"}).text
    assert 'lang="es"' in page
    assert first_line(page) == (
        "Uno de 12 lotes está en peligro. Uno no se puede ver. Los demás están estables."
    )
    assert "Rocíe por dentro y vuelva a atar la bolsa." in page
    assert "Uno de 12" in looking.get("/?lang=es").text


def test_demonstration_says_so_on_every_page(tern_hollow, serving):
    notice = "This is a demonstration; nothing here is real."
    with serving(replace(tern_hollow.parts, notice=notice)) as address:
        for path in ("/", "/batches/MG-07", "/alarms", "/sensors", "/nothing"):
            assert notice in httpx.get(address + path).text


@pytest.mark.parametrize("path", ["/nothing", "/batches/XX-99", "/alarms/99999", "/alarms/one"])
def test_missing_page_says_where_to_go(looking, path):
    answer = looking.get(path)
    assert answer.status_code == 404
    assert first_line(answer.text) == "There is no such page."


def test_page_works_without_script_by_reloading(looking):
    assert '<noscript><meta http-equiv="refresh" content="60"></noscript>' in looking.get("/").text


def test_nothing_is_loaded_from_elsewhere_and_nothing_runs_inline(looking):
    for path in ("/", "/batches/MG-07", "/alarms", "/sensors"):
        page = looking.get(path).text
        addresses = re.findall(r'(?:src|href|action)="([^"]*)"', page)
        assert addresses
        assert all(one.startswith(("/", "#", "?")) for one in addresses)
        assert re.findall(r"<script(?![^>]*src=)", page) == []
        assert re.findall(r'\sstyle="|\son\w+="', page) == []
    for asset in ("/static/style.css", "/static/page.js"):
        assert "//" not in re.sub(r"(?m)^\s*//.*$|/\*.*?\*/|; //.*$", "", looking.get(asset).text)


def test_healthz_fails_when_a_store_is_gone(client, tern_hollow):
    assert client.get("/healthz").text == "good\n"
    tern_hollow.store.close()
    assert client.get("/healthz").status_code == 503
