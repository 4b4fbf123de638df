"""Two clicks from a stranger on the sensors page to a sensor in the site file."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from api.settings import Settings
from api.site_files import read_site
from collector.gate import Message, PresenceWord
from collector.health import BrokerHealth

DEMO = Path(__file__).parents[3] / "demo_data"


@pytest.fixture
def site(tmp_path) -> Path:
    shutil.copytree(DEMO / "plans", tmp_path / "site" / "plans")
    return Path(shutil.copy(DEMO / "site.toml", tmp_path / "site" / "site.toml"))


@pytest.fixture
def client(tern_hollow, serving, site):
    settings = Settings(site=site, plans=site.parent / "plans", push_token=None)
    tern_hollow.hear("new/b9", {"temp": 21.5, "rh": 90, "q<b>": 3}, tern_hollow.clock.now())
    with (
        serving(replace(tern_hollow.parts, settings=settings)) as address,
        httpx.Client(base_url=address, timeout=30) as one,
    ):
        yield one


def form(page: str) -> dict[str, object]:
    """What a browser would send if nothing were changed."""
    inside = page.split('<form method="post" action="/adopt"')[1].split("</form>")[0]
    sent: dict[str, object] = dict(re.findall(r'<input[^>]*name="(\w+)" value="([^"]*)"', inside))
    for name, body in re.findall(r'<select name="(\w+)">(.*?)</select>', inside, re.S):
        options = re.findall(r'value="([^"]*)"( selected)?', body)
        chosen = next((value for value, selected in options if selected), options[0][0])
        sent.setdefault(name, [])
        sent[name] = [*sent[name], chosen] if name == "meant" else chosen
    return sent


def test_two_clicks_make_a_stranger_a_sensor(client, site):
    old = site.read_bytes()
    page = client.get("/sensors").text
    address = re.search(r'href="(/adopt\?[^"]+)"', page)[1].replace("&amp;", "&")
    sent = form(client.get(address).text)
    assert sent["name"] == "b9"
    answer = client.post("/adopt", data=sent)
    assert answer.status_code == 303, answer.text
    assert site.read_bytes().startswith(old)
    sensor = read_site(site)[0].sensor[-1]
    assert [(c.id, c.unit) for c in sensor.channel] == [("air", "degC"), ("humidity", "%RH")]
    after = client.get("/sensors").text
    assert "It counts from the next minute." in after
    assert "/adopt?" not in after
    assert client.get(address).status_code == 404


def test_what_is_put_right_on_the_page_is_what_is_written(client, site):
    sent = form(client.get("/adopt", params={"topic": "new/b9"}).text)
    sent |= {"name": "pot", "title": 'A "pot"', "place": "open_sky:"}
    sent["meant"] = ["0=leaf_temperature:degF", "1=", "2=substrate_moisture:%", "9=battery:V"]
    assert client.post("/adopt", data=sent).status_code == 303
    sensor = read_site(site)[0].sensor[-1]
    assert (sensor.id, sensor.title) == ("pot", 'A "pot"')
    assert sensor.position[0].open_sky
    assert [(c.quantity.value, c.unit, c.path) for c in sensor.channel] == [
        ("leaf_temperature", "degF", "temp"),
        ("substrate_moisture", "%", "q<b>"),
    ]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": "bag-07"}, "is already the id of the sensor"),
        ({"name": "no good"}, "cannot stand here"),
        ({"meant": ["0=", "1=", "2="]}, "nothing in it is known"),
        ({"place": "bench:nowhere"}, "there is no bench"),
        ({"like": "nobody"}, "there is no sensor"),
    ],
)
def test_what_cannot_be_written_is_told_and_the_choices_are_kept(client, site, changes, said):
    old = site.read_bytes()
    sent = form(client.get("/adopt", params={"topic": "new/b9"}).text)
    answer = client.post("/adopt", data=sent | changes)
    assert answer.status_code == 422
    assert said in answer.text
    assert site.read_bytes() == old
    again = form(answer.text)
    assert again["name"] == {**sent, **changes}["name"]
    assert again["meant"] == {**sent, **changes}["meant"]


@pytest.mark.parametrize(
    "headers", [{"sec-fetch-site": "cross-site"}, {"origin": "https://elsewhere.example"}]
)
def test_a_form_of_another_site_writes_nothing(client, site, headers):
    old = site.read_bytes()
    sent = form(client.get("/adopt", params={"topic": "new/b9"}).text)
    assert client.post("/adopt", data=sent, headers=headers).status_code == 403
    assert site.read_bytes() == old


def test_nobody_is_adopted_who_was_never_heard(client, site):
    old = site.read_bytes()
    assert client.get("/adopt", params={"topic": "made/up"}).status_code == 404
    sent = {"topic": "made/up", "name": "x", "title": "x"}
    assert client.post("/adopt", data=sent).status_code == 404
    assert site.read_bytes() == old


def test_a_topic_cannot_write_into_the_page(client, tern_hollow):
    topic = 'x"><script>alert(1)</script>'
    tern_hollow.hear(topic, {"temp": 1}, tern_hollow.clock.now())
    for page in (client.get("/sensors"), client.get("/adopt", params={"topic": topic})):
        assert page.status_code == 200
        assert "<script>alert" not in page.text


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_pages_speak_both_languages(client, language):
    page = client.get("/adopt", params={"topic": "new/b9", "lang": language}).text
    assert f'<html lang="{language}"' in page
    assert ("lo dice su nombre" in page) == (language == "es")


def test_doubts_about_a_sensor_and_the_collector_are_said(tern_hollow, serving):
    at_ms = int(tern_hollow.clock.now().timestamp() * 1000)
    tern_hollow.parts.ingest.presence.add([PresenceWord("bag-07", False, at_ms)])
    tern_hollow.parts.ingest.pulses.note_clocks([("bag-07", 300_000), ("bag-09", 40_000)])
    start = at_ms - 3_600_000
    instants = [start + n * 60_000 for n in (*range(10), 30)]
    tern_hollow.parts.ingest.pulses.note([("bag-07/air", at) for at in instants])
    trouble = BrokerHealth(connected=False, connections=1, trouble="the broker is gone")
    with serving(replace(tern_hollow.parts, broker=lambda: trouble)) as address:
        page = httpx.get(f"{address}/sensors").text
    for said in (
        "Said to be gone since 02:10",
        "Its clock is 5 min behind",
        "Silent once lately, last from 01:19 to 01:40",
        "Every 60 s",
        "No message can come in: the broker is gone.",
    ):
        assert said in page
    assert page.count("Its clock is") == 1
    silent_first = page.index("CI-15") < page.index("Said to be gone")
    assert silent_first


def test_how_soon_messages_are_kept_is_said(client, tern_hollow):
    assert "What comes in is kept within 0.1" in client.get("/sensors").text
    late = int(tern_hollow.clock.now().timestamp() * 1000) - 2_500
    tern_hollow.parts.ingest.take([Message("new/1", b"{}", late)])
    assert "What comes in is kept within 2.5" in client.get("/sensors").text
