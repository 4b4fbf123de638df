"""The page at the bench as plain forms: no script is needed for any of it."""

from __future__ import annotations

import dataclasses
import re
from html import unescape

import httpx
import pytest

from api.records.entries import Kind
from api.records.observations import entered
from api.records.session import reading
from api.web.bench_deeds import deed_fields, deed_value
from api.web.words.bench import ENGLISH, SPANISH
from rules.model.batch import Seen, Stage


def words_written(tern_hollow, code="MG-07"):
    with reading(tern_hollow.parts.records) as db:
        return [one.observation for one in entered(db, batch=code)]


def text_of(page: httpx.Response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page.text)).split())


def token_of(page: httpx.Response) -> str:
    return re.search(r'name="token" value="(\w+)"', page.text)[1]


def test_a_form_sent_twice_is_kept_once_and_can_be_taken_back(client, tern_hollow):
    form = {"what": "droop", "by": "tobin", "token": token_of(client.get("/bench/MG-07"))}
    for _ in range(2):
        sent = client.post("/bench/MG-07", data=form)
        assert (sent.status_code, sent.headers["location"]) == (303, "/bench/MG-07")
        assert "who=tobin" in sent.headers["set-cookie"]
    (kept,) = words_written(tern_hollow)
    assert (kept.seen, kept.by) == (Seen.DROOP, "tobin")
    page = client.get("/bench/MG-07")
    assert "Just written down" in page.text
    number = re.search(r'name="number" value="(\d+)"', page.text)[1]
    back = client.post("/bench/MG-07/take-back", data={"number": number, "by": "tobin"})
    assert back.status_code == 303
    assert "Just written down" not in client.get("/bench/MG-07").text


def test_a_count_goes_with_its_figures_and_an_impossible_one_is_told(client, tern_hollow):
    form = {"what": "counted", "by": "tobin", "alive": "20", "dead": ""}
    assert client.post("/bench/MG-07", data=form).status_code == 303
    assert [(o.alive, o.dead) for o in words_written(tern_hollow)] == [(20, None)]
    wrong = client.post("/bench/MG-07", data={**form, "alive": "25"})
    assert wrong.status_code == 422
    assert "25 plants are more than the 24 of MG-07" in text_of(wrong)
    assert len(words_written(tern_hollow)) == 1


def test_a_harmful_step_says_why_and_needs_the_lead_with_a_note(client, tern_hollow):
    lead = tern_hollow.parts.site.lead
    form = {"what": "cover_off", "by": lead}
    refused = client.post("/bench/MG-07", data=form)
    assert refused.status_code == 409
    assert "Nothing was written down." in text_of(refused)
    assert 'role="alert"' in refused.text
    noteless = client.post("/bench/MG-07", data={**form, "override": "true"})
    assert noteless.status_code == 403
    other = {**form, "by": "odell", "note": "mould", "override": "true"}
    assert client.post("/bench/MG-07", data=other).status_code == 403
    assert words_written(tern_hollow) == []
    said = client.post("/bench/MG-07", data={**form, "note": "mould", "override": "true"})
    assert said.status_code == 303
    assert words_written(tern_hollow)[0].despite == "before_growth"
    assert "against the plan, by the lead" in text_of(client.get("/batches/MG-07"))


def test_a_stage_is_moved_with_its_reason(client, tern_hollow):
    form = {"stage": "new_growth", "by": "tobin", "because": "buds open"}
    assert client.post("/bench/MG-07/stage", data=form).status_code == 409
    client.post("/bench/MG-07", data={"what": "new_growth", "by": "tobin"})
    page = client.get("/bench/MG-07")
    assert re.search(r'<option value="new_growth" selected>', page.text)
    assert client.post("/bench/MG-07/stage", data=form).status_code == 303
    form_now = tern_hollow.parts.book.now.written(Kind.BATCH, "MG-07")
    assert form_now["stage"][-1]["stage"] == Stage.NEW_GROWTH
    assert form_now["stage"][-1]["because"] == "buds open"


def test_looking_for_new_growth_is_not_done_by_a_button_that_says_done(looking):
    page = looking.get("/bench/MG-07")
    assert re.search(r'class="main" name="what" value="new_growth"[^>]*>New growth<', page.text)
    opened = looking.get("/bench/AV-04")
    assert re.search(r'class="main" name="what" value="cover_opened~0.7"[^>]*>Done<', opened.text)


def test_what_is_wrong_with_the_batch_is_said_first(looking):
    text = text_of(looking.get("/bench/MG-07"))
    assert "in danger" in text
    assert text.index("Mist inside and retie the bag.") < text.index("What do you see?")


def test_the_way_out_stands_day_by_day_on_the_page_of_the_batch(looking):
    page = looking.get("/batches/AV-04").text
    way = re.search(r'(?s)<ol class="log way">(.*?)</ol>', page)[1]
    days = re.findall(r'<span class="when">(.*?)</span>', way)
    assert len(days) > 5
    assert "Sun 15 November" in days[0]
    assert 'href="/bench/AV-04"' in page


def test_the_page_speaks_spanish(looking):
    page = looking.get("/bench/MG-07?lang=es")
    assert "¿Qué ve?" in page.text
    assert "What do you see?" not in page.text


def test_what_is_no_deed_or_no_batch_is_not_found_or_refused(client, tern_hollow):
    assert client.get("/bench/XX-99").status_code == 404
    assert client.post("/bench/MG-07", data={"what": "!", "by": "tobin"}).status_code == 422
    unknown = client.post("/bench/MG-07", data={"what": "flew", "by": "tobin"})
    assert unknown.status_code == 422
    nobody = client.post("/bench/MG-07", data={"what": "droop", "by": "nobody"})
    assert nobody.status_code == 422
    assert words_written(tern_hollow) == []


def test_going_back_stays_on_our_own_pages(client):
    form = {"what": "watered", "by": "tobin", "back": "//elsewhere.example/"}
    assert client.post("/bench/MG-07", data=form).headers["location"] == "/"


@pytest.mark.parametrize(
    ("value", "fields"),
    [
        ("droop", {"seen": "droop"}),
        ("checked.pots", {"seen": "checked", "check": "pots"}),
        ("stock_cut~0.5", {"seen": "stock_cut", "share": 0.5}),
        ("moved@b3", {"seen": "moved", "bench": "b3"}),
        ("~0.5", None),
        ("droop~2", None),
    ],
)
def test_a_deed_is_read_from_its_name(value, fields):
    assert deed_fields(value) == fields
    if fields is not None:
        given = {key: one for key, one in fields.items() if key != "seen"}
        assert deed_value(Seen(fields["seen"]), **given) == value


def test_both_languages_say_everything_at_the_bench():
    for field in dataclasses.fields(ENGLISH):
        english, spanish = getattr(ENGLISH, field.name), getattr(SPANISH, field.name)
        assert english != spanish, field.name
        names = re.findall(r"{\w+}", english)
        assert sorted(names) == sorted(re.findall(r"{\w+}", spanish)), field.name


def test_the_worker_may_keep_pages_under_b_and_nothing_else(looking):
    answer = looking.get("/bench-worker.js")
    assert answer.headers["service-worker-allowed"] == "/b"
    assert answer.headers["content-type"].startswith("text/javascript")
    assert "unsafe" not in answer.headers["content-security-policy"]
