"""`graftvigil tonight` prints the night sheet from stores that another process may be using."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from api.cli.main import BAD_INPUT, GOOD, main

DEMO = Path(__file__).parents[3] / "demo_data"
NIGHT = "2026-11-15T02:10:00+11:00"


@pytest.fixture(scope="module")
def played(filled: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return stores into which the recorded night was played until ten past two."""
    folder = tmp_path_factory.mktemp("played")
    for name in ("readings", "records"):
        shutil.copy(filled / f"{name}.db", folder / f"{name}.sqlite")
    return folder


def tonight(played: Path, *more: str) -> int:
    site = str(DEMO / "site.toml")
    return main(["tonight", "--site", site, "--data", str(played), "--at", NIGHT, *more])


def test_it_prints_the_night_ahead(played, capsys):
    assert tonight(played) == GOOD
    said = capsys.readouterr().out
    assert said.startswith("Tonight at Tern Hollow: 6 under cover; may need someone: MG-07")
    assert "WHO IS ON DUTY" in said


def test_it_prints_the_night_behind_in_spanish_and_fahrenheit(played, capsys):
    assert tonight(played, "--dawn", "--language", "es", "--unit", "degF") == GOOD
    said = capsys.readouterr().out
    assert said.startswith("La noche en Tern Hollow: en peligro: MG-07; sin ver: CI-15.")
    assert "°F" in said


def test_as_json_it_is_what_the_api_says(played, capsys):
    assert tonight(played, "--json") == GOOD
    said = json.loads(capsys.readouterr().out)
    assert said["sheet"] == "evening"
    assert {one["code"] for one in said["batches"]} >= {"MG-07", "CI-15"}


def test_without_stores_it_says_what_is_missing(tmp_path, capsys):
    assert tonight(tmp_path) == BAD_INPUT
    assert "is not there" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
