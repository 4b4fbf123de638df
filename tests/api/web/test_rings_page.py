"""The page and the API of rings: which limit cries wolf, beside the published figures."""

from __future__ import annotations

import pytest

from api.records.alarms import acknowledge, standing_alarms
from api.records.session import writing
from api.web.words.rings import ENGLISH, SPANISH
from rules.benchmarks import BENCHMARKS, Figure, Verdict


def test_the_page_says_what_rang_and_where_the_figures_come_from(looking):
    page = looking.get("/rings").text
    assert "rings in" in page
    assert "air too dry" in page
    assert "leafy-bag" in page
    assert "too few to say" in page
    assert "ANSI/ISA-18.2-2016" in page
    assert "read in summaries of others" in page
    assert "the published figures ask for 30 days or more" in page
    assert page.count("<svg") >= 3


def test_the_page_says_it_in_spanish(looking):
    page = looking.get("/rings?lang=es").text
    assert "avisos en" in page
    assert "muy pocos para decirlo" in page
    assert "leído en resúmenes de otros" in page


def test_the_page_is_linked_from_alarms_and_back(looking):
    assert 'href="/rings"' in looking.get("/alarms").text
    assert 'href="/alarms"' in looking.get("/rings").text


def test_the_api_hands_out_every_figure_with_its_source(client, tern_hollow):
    body = client.get("/api/v1/rings").json()
    shown = {one["figure"]: one for one in body["figures"] + body["rings"]["figures"]}
    assert set(shown) == {figure.value for figure in Figure}
    for figure, benchmark in BENCHMARKS.items():
        assert shown[figure.value]["source"] == benchmark.source
    assert body["rings"]["count"] == sum(one["rings"] for one in body["limits"]) > 0
    with writing(tern_hollow.parts.records) as db:
        for one in standing_alarms(db):
            if one.acknowledged_at is None:
                acknowledge(db, one.id, by="tobin", at=tern_hollow.clock.now())
    tern_hollow.go_on(3)
    after = client.get("/api/v1/rings").json()
    assert after["rings"]["count"] >= body["rings"]["count"]


@pytest.mark.parametrize(
    "span", ["?start=2030-01-01T00:00:00Z", "?end=2020-01-01T00:00:00Z", "?start=yesterday"]
)
def test_a_time_that_nobody_watched_is_a_problem_with_a_reason(looking, span):
    answer = looking.get(f"/api/v1/rings{span}")
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_span_can_be_asked_for(looking):
    whole = looking.get("/api/v1/rings").json()
    part = looking.get("/api/v1/rings?start=2026-11-14T14:00:00Z").json()
    assert part["start"] == "2026-11-14T14:00:00Z"
    assert part["end"] == whole["end"]
    assert part["days"] < whole["days"]


def test_both_languages_name_every_figure_verdict_and_source():
    sources = {one.source for one in BENCHMARKS.values()}
    for words in (ENGLISH, SPANISH):
        assert set(words.figures) == set(Figure)
        assert set(words.verdicts) == set(Verdict)
        assert set(words.sources) == sources
    for name in ENGLISH.__dataclass_fields__:
        assert getattr(ENGLISH, name) != getattr(SPANISH, name), name
