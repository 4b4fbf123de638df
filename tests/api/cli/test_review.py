"""`graftvigil review` and `graftvigil takes`, on stores that another process may be using."""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path

import pytest

from api.cli.main import BAD_INPUT, GOOD, main

DEMO = Path(__file__).parents[3] / "demo_data"
NIGHT = "2026-11-15T02:10:00+11:00"
COUNTED = """
[[batch.observation]]
at = 2026-11-14T16:00:00+11:00
seen = "counted"
alive = {alive}
dead = {dead}
note = "{note}"
"""


@pytest.fixture(scope="module")
def played(filled: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return stores into which the recorded night was played until ten past two."""
    folder = tmp_path_factory.mktemp("played")
    for name in ("readings", "records"):
        shutil.copy(filled / f"{name}.db", folder / f"{name}.sqlite")
    return folder


def asked(played: Path, *words: str, site: Path = DEMO / "site.toml") -> int:
    return main(
        [*words, "--site", str(site), "--data", str(played), "--plans", str(DEMO / "plans")]
    )


@pytest.fixture
def counted_site(tmp_path: Path) -> Path:
    """The demo's site, with the plants of three batches counted."""
    text = (DEMO / "site.toml").read_text(encoding="utf-8")
    told = {"MG-07": (9, 15, "dry to the cut"), "AV-12": (20, 4, ""), "MG-09": (16, 2, "")}
    for code, (alive, dead, note) in told.items():
        begin = text.index(f'code = "{code}"')
        end = text.find("\n[[batch]]", begin)
        end = len(text) if end < 0 else end
        text = text[:end] + COUNTED.format(alive=alive, dead=dead, note=note) + text[end:]
    assert tomllib.loads(text)
    file = tmp_path / "site.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_batch_that_still_stands_is_told_what_it_has_been_through(played, capsys):
    assert asked(played, "review", "MG-07", "--at", NIGHT) == GOOD
    said = capsys.readouterr().out
    assert said.startswith("MG-07: what it has been through so far")
    assert "It still stands: this can change." in said
    assert "How it compares: there are only 0 siblings" in said


def test_it_is_written_as_a_page_and_on_paper(played, tmp_path, capsys):
    page, paper = tmp_path / "r.html", tmp_path / "r.pdf"
    more = ["--html", str(page), "--pdf", str(paper), "--language", "es"]
    assert asked(played, "review", "MG-07", "--at", NIGHT, *more) == GOOD
    assert "MG-07: lo que ha pasado hasta ahora" in capsys.readouterr().out
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert paper.read_bytes().startswith(b"%PDF-")


def test_as_json_hours_without_a_record_are_told_as_blind(played, capsys):
    assert asked(played, "review", "MG-07", "--at", NIGHT, "--json") == GOOD
    told = json.loads(capsys.readouterr().out)
    assert told["candidates"][0]["cause"] == "could_not_know"
    assert told["blind_h"] > 200
    assert "blind" in told["untold"]
    assert told["take"] == {"outcome": "unknown", "taken": None, "of": 24, "by_stage": False}


def test_a_batch_that_is_not_there_and_a_file_that_cannot_be_written_are_said(played, capsys):
    assert asked(played, "review", "NO-99", "--at", NIGHT) == BAD_INPUT
    assert "there is no batch NO-99" in capsys.readouterr().err
    nowhere = str(played / "none" / "r.html")
    assert asked(played, "review", "MG-07", "--at", NIGHT, "--html", nowhere) == BAD_INPUT
    assert "cannot be written" in capsys.readouterr().err


def test_where_nobody_has_counted_takes_say_so(played, capsys):
    assert asked(played, "takes") == GOOD
    assert capsys.readouterr().out.startswith("nobody has counted yet")


def test_takes_are_told_with_intervals_and_what_was_noted(played, counted_site, capsys):
    assert asked(played, "takes", site=counted_site) == GOOD
    said = capsys.readouterr().out
    assert said.splitlines()[0].startswith("all: 68% (")
    assert "45 of 66 plants, 3 batches, counted as" in said.splitlines()[0]
    assert "mango early yellow" in said
    assert "too few to say" in said
    assert "MG-07: took 9 of 24, 2026-11-14; counted: dry to the cut" in said
    assert "not counted yet: " in said


def test_takes_hold_exposures_against_each_other_where_there_are_enough(
    played, counted_site, capsys
):
    assert asked(played, "takes", "--exposures", "--json", site=counted_site) == GOOD
    told = json.loads(capsys.readouterr().out)
    assert {one["exposure"] for one in told["exposures"]} >= {"worst_night", "lowest_reserve"}
    assert told["by"]["grafter"]
