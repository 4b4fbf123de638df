"""A care plan reads as a sheet, and what a version changed is said in words."""

from __future__ import annotations

import re
from html import unescape

import pytest


def text_of(answer) -> str:
    assert answer.status_code == 200, answer.text
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def test_every_plan_is_listed_with_the_batches_it_cares_for(client, tern_hollow):
    text = text_of(client.get("/plans"))
    for name, versions in tern_hollow.parts.plans.items():
        assert versions[-1].title.en in text
        for batch in tern_hollow.parts.site.batch:
            if batch.plan == name:
                assert batch.code in text


@pytest.mark.parametrize("language", ["en", "es"])
def test_sheet_says_every_limit_sum_and_check_of_every_stage(client, tern_hollow, language):
    for name, (plan,) in tern_hollow.parts.plans.items():
        text = text_of(client.get(f"/plans/{name}?lang={language}"))
        for needs in plan.stage.values():
            for asked in (*needs.limit, *needs.dose):
                assert re.sub(r"\s+", " ", asked.says.in_language(language)) in text
                assert re.sub(r"\s+", " ", asked.action.in_language(language)) in text
            for check in needs.check:
                assert re.sub(r"\s+", " ", check.says.in_language(language)) in text
        assert plan.source in text


def test_figures_of_drying_stand_with_their_range(client, tern_hollow):
    (plan,) = tern_hollow.parts.plans["leafy-bag"]
    share = plan.drying.critical_share
    said = f"{share.central * 100:g} ({share.low * 100:g}–{share.high * 100:g}) %"
    assert said in text_of(client.get("/plans/leafy-bag"))


def test_what_the_second_version_changed_is_said(season_client):
    text = text_of(season_client.get("/plans/leafy-bag"))
    assert "What version 2 changed" in text
    changed = season_client.get("/plans/leafy-bag").text
    lines = re.findall(r"<li>([^<]*)</li>", changed.split('id="changed"')[1].split("</ul>")[0])
    assert lines
    assert all("at most" in line and "air temperature" in line.lower() for line in lines)
    assert any("38.0" in line and "40.0" in line for line in lines)
    first = text_of(season_client.get("/plans/leafy-bag?version=1"))
    assert "This is the first version." in first
    assert "no longer in force" in first


def test_page_of_a_batch_leads_to_its_plan(client):
    assert 'href="/plans/leafy-bag"' in client.get("/batches/MG-07").text


def test_unknown_plan_and_version_are_not_found(client):
    assert client.get("/plans/none").status_code == 404
    assert client.get("/plans/leafy-bag?version=99").status_code == 404
