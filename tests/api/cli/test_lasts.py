"""`graftvigil lasts`: how long a fresh scion lasts, as a grower asks at the shed's computer."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from api.cli.main import main

SITE = str(Path(__file__).parents[3] / "demo_data" / "site.toml")


def lasts(capsys, batch: str, *more: str) -> dict[str, float]:
    assert main(["lasts", "--site", SITE, "--batch", batch, *more, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_band_encloses_the_likely_figure(capsys):
    told = lasts(capsys, "MG-07", "--temperature", "30", "--humidity", "70")
    low, high = told["hours_to_critical_low"], told["hours_to_critical_high"]
    assert 0 < low < told["hours_to_critical"] < high


def test_dry_air_leaves_less_time_than_damp_air(capsys):
    dry = lasts(capsys, "MG-07", "--temperature", "30", "--humidity", "50")
    damp = lasts(capsys, "MG-07", "--temperature", "30", "--humidity", "90")
    assert dry["hours_to_critical"] < damp["hours_to_critical"]


def test_light_dries_a_leaf_even_in_damp_air(capsys):
    dark = lasts(capsys, "MG-07", "--temperature", "30", "--humidity", "98")
    lit = lasts(capsys, "MG-07", "--temperature", "30", "--humidity", "98", "--ppfd", "300")
    assert lit["hours_to_critical"] < dark["hours_to_critical"]
    assert lit["leaf_temperature_c"] > 30


def test_film_is_the_barrier_of_a_leafless_scion_and_not_the_air(capsys):
    air = ("--temperature", "30", "--humidity", "50")
    whole, split = lasts(capsys, "PE-03", *air), lasts(capsys, "PE-03", *air, "--film-open")
    assert split["hours_to_critical"] < whole["hours_to_critical"] / 5


def test_in_words_it_says_soonest_and_latest(capsys):
    line = ["lasts", "--site", SITE, "--batch", "MG-07", "--temperature", "30", "--humidity", "70"]
    assert main(line) == 0
    said = capsys.readouterr().out
    assert said.startswith("MG-07: a fresh scion lasts ")
    assert "at the soonest" in said
    assert "look at the plants" in said


@pytest.mark.parametrize(
    ("batch", "air", "said"),
    [
        ("XX-01", ("30", "50"), "--batch: XX-01 is not in the site file"),
        ("MG-07", ("30", "140"), "--humidity: 140 does not lie between 0 and 100"),
        ("MG-07", ("warm", "50"), "--temperature: "),
        ("MG-07", ("99", "50"), "--temperature: 99 does not lie between -20 and 60"),
    ],
)
def test_a_wrong_question_gets_one_line(batch, air, said, capsys):
    line = [
        "lasts",
        "--site",
        SITE,
        "--batch",
        batch,
        "--temperature",
        air[0],
        "--humidity",
        air[1],
    ]
    assert main(line) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1


def test_a_leafy_scion_has_no_film_to_open(capsys):
    line = ["lasts", "--site", SITE, "--batch", "MG-07", "--temperature", "30", "--humidity", "50"]
    assert main([*line, "--film-open"]) == 2
    assert "--film-open: MG-07 has a leafy scion" in capsys.readouterr().err
