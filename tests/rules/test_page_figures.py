"""The figures on the pages that explain are those that the functions draw."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[2] / "docs"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@pytest.fixture
def maker(monkeypatch):
    """The maker of these figures, loaded from beside the pages on sums."""
    monkeypatch.syspath_prepend(DOCS / "sums")
    return importlib.import_module("make_figures_pages")


def test_the_figures_are_those_that_the_functions_draw(maker, tmp_path):
    maker.main(tmp_path)
    drawn = sorted(path.name for path in tmp_path.glob("*.svg"))
    assert drawn == ["night.svg", "shade.svg", "vpd.svg"]
    for name in drawn:
        kept = (DOCS / "pictures" / name).read_text(encoding="utf-8")
        new = (tmp_path / name).read_text(encoding="utf-8")
        assert NUMBER.sub("#", new) == NUMBER.sub("#", kept), name
        # Another processor may round the last figure another way, by a tenth of a pixel.
        was, now = (list(map(float, NUMBER.findall(text))) for text in (kept, new))
        assert now == pytest.approx(was, abs=0.11), name


def test_no_picture_that_is_drawn_is_heavy():
    heavy = [
        path.name for path in (DOCS / "pictures").glob("*.svg") if path.stat().st_size > 100_000
    ]
    assert heavy == []
