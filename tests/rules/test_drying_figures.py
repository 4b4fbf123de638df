"""The figures on cover heat and drying are those that the sums draw."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[2] / "docs"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def test_the_figures_on_cover_and_drying_are_those_that_the_sums_draw(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(DOCS / "sums")
    importlib.import_module("make_figures_drying").main(tmp_path)
    drawn = sorted(path.name for path in tmp_path.glob("*.svg"))
    assert drawn == ["cover.svg", "drying.svg"]
    for name in drawn:
        kept = (DOCS / "pictures" / name).read_text(encoding="utf-8")
        new = (tmp_path / name).read_text(encoding="utf-8")
        assert NUMBER.sub("#", new) == NUMBER.sub("#", kept), name
        # Another processor may round the last figure another way, by a tenth of a pixel.
        was, now = (list(map(float, NUMBER.findall(text))) for text in (kept, new))
        assert now == pytest.approx(was, abs=0.11), name
