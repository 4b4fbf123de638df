"""A season of bags with known endings, looked back on by the page, on paper, as a file, by the API.

The bags are made by demo_data.endings, which shares no line with what judges them.
"""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pypdfium2
import pytest

from api.book import Book, in_force_of
from api.cli.takes_told import exposures_told, take_lines, takes_told
from api.parts import Parts
from api.records.alarms import acknowledge, raise_alarm
from api.records.session import open_records, writing
from api.reviewing import Reviews, siblings_of
from api.settings import Settings
from api.site_files import read_nursery
from api.watch.clock import TurnedClock, milliseconds
from api.web.review_routes import alone
from api.web.telling import Telling
from api.web.words.languages import LANGUAGES
from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog
from collector.stores.sqlite import SqliteStore
from demo_data.ended_site import at, minute_reached, readings, written
from demo_data.endings import endings
from rules.model.alarm import Priority
from rules.model.reading import Reading
from rules.model.site import Site
from rules.review import OF_AIR, Cause, Weight

DEMO = Path(__file__).parents[2] / "demo_data"
SEED = 7
MADE = {"dried_at_night": 1, "sun_scald": 1, "air_fine": 1}
TAKEN = 5


@pytest.fixture(scope="module")
def made():
    return endings(MADE, taken=TAKEN, seed=SEED, days=18)


@pytest.fixture(scope="module")
def parts(made, tmp_path_factory):
    folder = tmp_path_factory.mktemp("ended")
    read = read_nursery(DEMO / "site.toml", DEMO / "plans")
    site = Site.model_validate(written(made, read.site.model_dump(mode="json", exclude_none=True)))
    store = SqliteStore(folder / "readings.db")
    store.keep([Reading(*one) for one in readings(made)])
    records = open_records(folder / "records.db")
    clock = TurnedClock(datetime.fromtimestamp(minute_reached(made) * 60, UTC))
    rejects = RejectLog(store.file)
    ingest = Ingest(
        Gate(site.sensor),
        store,
        rejects=rejects,
        together=store.file.writing,
        clock_ms=lambda: milliseconds(clock),
    )
    dried = code_of(made, "dried_at_night")
    opened = at(next(one for one in made if one.code == dried).died)
    with writing(records) as db:
        alarm = raise_alarm(
            db,
            batch=dried,
            condition="air-dry-danger",
            priority=Priority.HIGH,
            opened_at=opened,
            since=opened,
            value=61.0,
        )
    with writing(records) as db:
        acknowledge(db, alarm.alarm.id, by="wren", at=opened + timedelta(minutes=47))
    yield Parts(
        book=Book(in_force_of(site, read.versions)),
        store=store,
        rejects=rejects,
        ingest=ingest,
        records=records,
        clock=clock,
        settings=Settings(),
    )
    records.dispose()
    store.close()


@pytest.fixture(scope="module")
def reviews(parts):
    return Reviews(parts)


def code_of(made, cause: str) -> str:
    return next(one.code for one in made if one.cause == cause)


def telling(parts, code: str = "en", *, fahrenheit: bool = False) -> Telling:
    return Telling(LANGUAGES[code], parts.site, parts.clock.now(), fahrenheit=fahrenheit)


@pytest.mark.parametrize("cause", MADE)
def test_what_truly_ended_a_batch_comes_first(cause, made, reviews):
    review = reviews.of(code_of(made, cause)).review
    assert review.first.cause is Cause(cause)
    assert review.siblings.count == TAKEN
    assert review.failed


def test_where_the_air_was_fine_no_cause_of_the_air_has_more_than_little(made, reviews):
    review = reviews.of(code_of(made, "air_fine")).review
    weights = {one.cause: one.weight for one in review.candidates}
    assert {weights[cause] for cause in OF_AIR} == {Weight.LITTLE}


def test_what_came_after_the_first_sign_counts_for_nothing(made, reviews):
    for cause in MADE:
        found = reviews.of(code_of(made, cause))
        review = found.review
        assert review.end_minute * 60 <= review.sign.timestamp() + 60
        held = [one.minute for one in review.exposures.values() if one.minute is not None]
        assert max(held) < review.end_minute
        assert found.life.first_minute + found.life.minutes > review.end_minute


def test_a_review_is_worked_out_once(made, reviews):
    code = code_of(made, "sun_scald")
    assert reviews.of(code) is reviews.of(code)


def test_siblings_are_of_the_same_kind_and_period_and_took(made, parts):
    now = parts.book.now
    batch = next(one for one in now.site.batch if one.code == code_of(made, "air_fine"))
    taken = {one.code for one in made if one.cause == "taken"}
    assert {one.code for one in siblings_of(now, batch)} == taken
    late = batch.model_copy(update={"grafted_on": batch.grafted_on + timedelta(days=40)})
    assert siblings_of(now, late) == ()
    other = batch.model_copy(update={"plan": "leafless-film"})
    assert siblings_of(now, other) == ()


@pytest.fixture(scope="module")
def address(parts, pages_nursery):
    with pages_nursery.serving(parts) as served:
        yield served


def test_the_page_says_the_answer_the_evidence_and_who_answered(made, address):
    code = code_of(made, "dried_at_night")
    page = httpx.get(f"{address}/batches/{code}/review", timeout=60).text
    assert f"Why {code} may have failed" in page
    assert "Much speaks for one thing: the air dried it at night." in page
    assert re.search(r"The driest hour had \d+\.\d % humidity", page)
    assert "air too dry. Wren" in page
    assert "answered after 47 min" in page
    assert "What the record cannot tell" in page
    assert len(page) < 400_000
    assert page.count('class="chart"') >= 6
    assert f"/batches/{code}/review" in httpx.get(f"{address}/batches/{code}", timeout=60).text


def test_the_page_speaks_spanish(made, address):
    code = code_of(made, "sun_scald")
    page = httpx.get(f"{address}/batches/{code}/review?lang=es", timeout=60).text
    assert f"Por qué pudo fallar {code}" in page
    assert "le dio el sol directo" in page
    assert "{" not in page[page.index("<main") : page.index("</main>")]


def test_a_batch_that_is_not_there_has_no_review(address):
    assert httpx.get(f"{address}/batches/NO-99/review").status_code == 404
    answer = httpx.get(f"{address}/api/v1/batches/NO-99/review")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_the_api_tells_the_same_with_its_figures(made, address):
    code = code_of(made, "sun_scald")
    told = httpx.get(f"{address}/api/v1/batches/{code}/review", timeout=60).json()
    first = told["candidates"][0]
    assert (first["cause"], first["weight"]) == ("sun_scald", "much")
    assert [one["score"] for one in told["candidates"]] == sorted(
        (one["score"] for one in told["candidates"]), reverse=True
    )
    sun = told["exposures"]["direct_sun"]
    assert sun["unit"] == "min"
    assert sun["value"] > sun["siblings_median"]
    assert sun["percentile"] == 1.0
    assert told["take"]["outcome"] == "failed"


def test_on_paper_it_is_a4_with_the_pictures_in_it(made, address):
    code = code_of(made, "dried_at_night")
    answer = httpx.get(f"{address}/batches/{code}/review.pdf", timeout=120)
    assert answer.headers["content-type"] == "application/pdf"
    document = pypdfium2.PdfDocument(io.BytesIO(answer.content))
    width, height = document[0].get_size()
    assert (round(width), round(height)) == (595, 842)
    text = "\n".join(page.get_textpage().get_text_range() for page in document)
    assert f"Why {code} may have failed" in text
    assert "the air dried it at night" in text.lower()
    images = [
        one
        for page in document
        for one in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])
    ]
    assert len(images) >= 6
    assert len(answer.content) < 3_000_000


def test_as_a_file_it_needs_nothing_beside_it(made, parts, reviews):
    text = alone(parts, reviews.of(code_of(made, "air_fine")), telling(parts))
    assert len(text.encode()) < 3_000_000
    asked = re.findall(r'(?:src|href)="([^"]*)"', text)
    assert [one for one in asked if not one.startswith("#")] == []
    assert "<script" not in text
    assert "url(" not in re.sub(r"url\(#", "", text)
    assert "The air was fine as far as seen" in text or "the air was fine as far as seen" in text


def test_who_reads_fahrenheit_is_told_no_degree_celsius(made, parts, reviews):
    text = alone(parts, reviews.of(code_of(made, "sun_scald")), telling(parts, fahrenheit=True))
    assert re.search(r"The hottest hour had 1\d\d\.\d\s°F", text)
    assert "°F·h" in text
    assert "°C" not in re.sub(r"<style>.*?</style>", "", text, flags=re.S)


def test_nobody_is_named_as_a_cause(made, parts, reviews):
    grafter = parts.site.batch[0].grafter
    for code in ("en", "es"):
        text = alone(parts, reviews.of(code_of(made, "air_fine")), telling(parts, code))
        body = re.sub(r"<style>.*?</style>", "", text, flags=re.S)
        assert not re.search(rf"\b{grafter}\b", body)


def test_takes_are_told_by_what_stands_on_the_label(made, parts):
    told = takes_told(parts.site)
    assert told["whole"]["batches"] == len(made)
    assert 0 < told["whole"]["low"] < told["whole"]["share"] < told["whole"]["high"] < 1
    assert told["whole"]["counted_as"] < told["whole"]["of"]
    (kind,) = told["by"]["kind"]
    assert kind["name"] == "leafy-bag"
    failed = {one["batch"] for one in told["batches"] if one["outcome"] == "failed"}
    assert failed == {code_of(made, cause) for cause in MADE}


def test_three_failed_batches_are_too_few_to_hold_exposures_against(parts):
    told = exposures_told(parts)
    assert {one["cliffs_delta"] for one in told} == {None}
    lines = list(take_lines({**takes_told(parts.site), "exposures": told}))
    assert any("too few to say (at least 4 of each)" in line for line in lines)
