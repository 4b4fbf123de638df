"""The page of things to do, ticked off in place, and the plan of the house to scale."""

from __future__ import annotations

import dataclasses
import json
import re
from dataclasses import replace
from datetime import datetime
from html import unescape
from pathlib import Path
from zoneinfo import ZoneInfo

import httpx
import pytest

from api.cli.main import main
from api.drawing.house_plan import UNIT, BenchShape, OnPlan, house_plan
from api.web.words.places import ENGLISH, SPANISH

DEMO = Path(__file__).parents[3] / "demo_data"


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def ticks(page: str, code: str) -> list[str]:
    return re.findall(
        rf'action="/bench/{code}" data-deeds>.*?<button name="what" value="([^"]+)"', page
    )


def test_what_is_due_is_ticked_off_in_place_and_taken_back(client):
    page = client.get("/todo").text
    assert "checked.droop" in ticks(page, "AV-04")
    form = {"what": "checked.droop", "by": "tobin", "back": "/todo"}
    sent = client.post("/bench/AV-04", data=form)
    assert (sent.status_code, sent.headers["location"]) == (303, "/todo")
    after = client.get("/todo").text
    assert "checked.droop" not in ticks(after, "AV-04")
    assert "Just written down" in after
    number = re.search(r'name="number" value="(\d+)"', after)[1]
    back = {"number": number, "by": "tobin", "back": "/todo"}
    client.post("/bench/AV-04/take-back", data=back)
    assert "checked.droop" in ticks(client.get("/todo").text, "AV-04")


def test_the_first_line_says_how_many_where_and_how_many_are_late(looking):
    tasks = looking.get("/api/v1/todo").json()["tasks"]
    late = sum(1 for one in tasks if one["overdue_days"])
    heading = text_of(re.search(r"<h1>(.*?)</h1>", looking.get("/todo").text)[1])
    assert heading.startswith(f"{len(tasks)} things are due today, on bench 1, ")
    assert heading.endswith(f"{late} are late.")


def test_page_api_and_command_agree_on_what_is_due(client, capsys):
    site = ["--site", str(DEMO / "site.toml"), "--today", "2026-11-15", "--json"]
    main(["next", *site])
    told = json.loads(capsys.readouterr().out)
    by_command = {
        (batch["code"], due["id"])
        for batch in told["batches"]
        for due in batch["due"]
        if due["due_on"] <= "2026-11-15"
    } | {
        (batch["code"], batch["next"]["kind"])
        for batch in told["batches"]
        if batch["next"] and batch["next"]["on"] <= "2026-11-15"
    }
    by_api = client.get("/api/v1/todo").json()
    assert by_api["today"] == "2026-11-15"
    assert {(one["batch"], one["id"]) for one in by_api["tasks"]} == by_command
    assert len(re.findall(r'class="log tasks"', client.get("/todo").text)) == 6


def test_the_house_says_where_those_are_that_need_someone(looking):
    page = looking.get("/house").text
    heading = text_of(re.search(r"<h1>(.*?)</h1>", page)[1])
    assert heading == "In danger: MG-07 (bench 1). Blind: CI-15 (bench 2)."
    shown = re.search(r'(?s)<h3 id="bench-b1">.*?</ul>', page)[0]
    assert "MG-07 in danger mango early yellow" in text_of(shown)
    assert "Probe in the bag of MG-07: under the cover of MG-07" in text_of(shown)


def test_every_batch_on_the_plan_leads_to_its_page_and_says_its_standing(looking):
    page = looking.get("/house").text
    for plan in re.findall(r'(?s)<svg class="house-plan".*?</svg>', page):
        for code, says in re.findall(r'<a href="/bench/([^"]+)" aria-label="([^"]+)"', plan):
            assert says.startswith(code)
            assert re.search(r": (steady|drifting|strained|in danger|blind)", says)
    assert len(re.findall(r'<a href="/bench/[^"]+" aria-label', page)) == 12


def test_sun_is_told_by_bench_and_unknown_where_there_is_no_skyline(tern_hollow, serving):
    zone = ZoneInfo(tern_hollow.parts.site.site.time_zone)

    class Morning:
        def now(self):
            return datetime(2026, 11, 15, 9, 0, tzinfo=zone).astimezone(ZoneInfo("UTC"))

    with (
        serving(replace(tern_hollow.parts, clock=Morning())) as address,
        httpx.Client(base_url=address, timeout=30) as client,
    ):
        page = client.get("/house").text
    bench_5 = text_of(re.search(r'(?s)<h3 id="bench-b5">.*?</p>', page)[0])
    assert "is not known: the bench has no skyline" in bench_5
    bench_4 = text_of(re.search(r'(?s)<h3 id="bench-b4">.*?</p>', page)[0])
    assert "Direct sun can reach it 09:00 to 10:00" in bench_4


def test_at_night_the_sun_is_known_to_be_down_everywhere(looking):
    page = looking.get("/house").text
    assert page.count("The sun is down this hour.") == 7
    assert "not known: the bench" not in page


def bench(count, **more):
    batches = tuple(
        OnPlan(f"MG-{n:02d}", "steady", f"MG-{n:02d}: steady", False) for n in range(count)
    )
    given = {"x_m": 1.0, "y_m": 2.0, "length_m": 6.0, "width_m": 1.5, "sun": False} | more
    return BenchShape(id="b1", title="bench 1", batches=batches, has_sensor=False, **given)


def test_the_plan_is_to_scale_with_north_above():
    drawn = str(house_plan("Plan", "A plan.", length_m=18.0, width_m=8.0, benches=[bench(1)]))
    top = re.search(r'class="bench-top" x="(\d+)" y="(\d+)" width="(\d+)" height="(\d+)"', drawn)
    x, y, wide, high = (int(one) / UNIT for one in top.groups())
    assert (x, wide, high) == (1.0, 6.0, 1.5)
    assert y == 8.0 - 2.0 - 1.5, "metres are counted from the south, the drawing from the north"


def test_a_bench_too_full_for_codes_leads_to_the_list():
    drawn = str(house_plan("Plan", "A plan.", length_m=18.0, width_m=8.0, benches=[bench(12)]))
    assert 'href="#bench-b1"' in drawn
    assert "/bench/MG-" not in drawn
    assert drawn.count('class="on-bench') == 12


def test_a_sun_that_is_not_known_is_marked_so_on_the_plan():
    marks = {True: "☀", None: "?", False: None}
    for sun, mark in marks.items():
        drawn = str(
            house_plan("P", "A plan.", length_m=18.0, width_m=8.0, benches=[bench(1, sun=sun)])
        )
        for one in ("☀", "?"):
            assert (one in drawn) is (one == mark)


def test_both_languages_say_everything_about_places():
    for field in dataclasses.fields(ENGLISH):
        english, spanish = getattr(ENGLISH, field.name), getattr(SPANISH, field.name)
        assert english != spanish, field.name
        names = re.findall(r"{\w+}", english)
        assert sorted(names) == sorted(re.findall(r"{\w+}", spanish)), field.name


@pytest.mark.parametrize("path", ["/todo", "/house"])
def test_the_pages_speak_spanish(looking, path):
    page = text_of(looking.get(f"{path}?lang=es").text)
    assert "Pendientes" in page
    for field in dataclasses.fields(ENGLISH):
        said = getattr(ENGLISH, field.name)
        if "{" not in said and len(said) > 12:
            assert said not in page
