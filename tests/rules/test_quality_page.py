"""The page on quality: its example runs, its tables are the code's, its figure is what is drawn."""

from __future__ import annotations

import doctest
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

from rules.doubt import DEEP_SUN_DEG, DOUBTS, FIGURES, HIGH_SUN_DEG, Flag, QualityTest

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "quality.md"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@pytest.fixture(scope="module")
def text() -> str:
    return PAGE.read_text(encoding="utf-8")


def rows(text: str) -> list[list[str]]:
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("| ") and not line.startswith("| -")
    ]


@pytest.mark.parametrize("page", [PAGE, PAGE.with_name("salt_jars.md")], ids=lambda one: one.stem)
def test_the_examples_come_out_as_printed(page):
    result = doctest.testfile(str(page), module_relative=False, encoding="utf-8")
    assert result.attempted > 8
    assert result.failed == 0


def test_every_flag_and_test_has_its_row(text):
    first = [row[0] for row in rows(text)]
    assert [one for one in first if one.isdigit()] == [str(int(flag)) for flag in Flag]
    named = [one.strip("`") for one in first if re.fullmatch(r"`\w+`", one)]
    assert named == [test.word for test in QualityTest if test is not QualityTest.NONE]


def test_every_figure_of_a_quantity_is_the_one_in_use(text):
    told = {row[0].split("`")[1]: row[1:] for row in rows(text) if "`, " in row[0]}
    assert set(told) == {quantity.value for quantity in DOUBTS}
    for quantity, doubt in DOUBTS.items():
        bounds = (doubt.spike, doubt.step_a_min, doubt.apart, doubt.dark, doubt.glow)
        spike, step, stuck, *others = told[quantity.value]
        assert stuck == ("yes" if doubt.sticks else "")
        shown = [float(one) if one else None for one in (spike, step, *others)]
        assert shown == list(bounds), quantity


def test_every_other_figure_in_use_is_told(text):
    told = set(NUMBER.findall(text[text.index("## Tests") : text.index("## Why")]))
    for one in fields(FIGURES):
        assert f"{getattr(FIGURES, one.name):g}" in told, one.name
    assert {f"{HIGH_SUN_DEG:g}", f"{-DEEP_SUN_DEG:g}"} <= told


def test_the_figure_is_the_one_that_the_tests_draw(tmp_path):
    subprocess.run(
        [sys.executable, str(ROOT / "docs" / "sums" / "make_figures_quality.py"), str(tmp_path)],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
        check=True,
    )
    kept = (ROOT / "docs" / "pictures" / "quality.svg").read_text(encoding="utf-8")
    new = (tmp_path / "quality.svg").read_text(encoding="utf-8")
    assert NUMBER.sub("#", new) == NUMBER.sub("#", kept)
    # Another processor may round the last figure another way, by a tenth of a pixel.
    was, now = (list(map(float, NUMBER.findall(one))) for one in (kept, new))
    assert now == pytest.approx(was, abs=0.11)
