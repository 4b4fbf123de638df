"""The pages on the sums: their examples run, their figures are those the sums draw."""

from __future__ import annotations

import doctest
import importlib.util
import re
import sys
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[2] / "docs"
PAGES = sorted((DOCS / "sums").glob("*.md"))
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@pytest.fixture(scope="module")
def figures():
    """The maker of the figures, loaded from beside the pages."""
    path = DOCS / "sums" / "make_figures.py"
    spec = importlib.util.spec_from_file_location("make_figures", path)
    maker = importlib.util.module_from_spec(spec)
    sys.modules["make_figures"] = maker
    spec.loader.exec_module(maker)
    yield maker
    del sys.modules["make_figures"]


def test_there_is_a_page_for_air_light_and_sun():
    assert {"air", "light", "sun"} <= {page.stem for page in PAGES}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_example_of_a_page_comes_out_as_printed(page):
    said: list[str] = []
    tests = doctest.DocTestParser().get_doctest(
        page.read_text(encoding="utf-8"), {}, page.stem, str(page), 0
    )
    runner = doctest.DocTestRunner(verbose=False)
    runner.run(tests, out=said.append)
    assert runner.summarize(verbose=False).failed == 0, "".join(said)
    assert tests.examples, f"{page.name} has no example"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_page_shows_a_picture_that_is_there(page):
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", page.read_text(encoding="utf-8"))
    assert shown
    assert [one for one in shown if not (page.parent / one).is_file()] == []


def test_the_figures_are_those_that_the_sums_draw(figures, tmp_path):
    figures.main(tmp_path)
    drawn = sorted(tmp_path.glob("*.svg"))
    assert drawn
    for figure in drawn:
        kept = (DOCS / "pictures" / figure.name).read_text(encoding="utf-8")
        new = figure.read_text(encoding="utf-8")
        assert NUMBER.sub("#", new) == NUMBER.sub("#", kept), figure.name
        # Another processor may round the last figure another way, by a tenth of a pixel.
        was, now = (list(map(float, NUMBER.findall(text))) for text in (kept, new))
        assert now == pytest.approx(was, abs=0.11), figure.name
