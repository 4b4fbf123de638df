"""The figures on cover heat and drying are those that the sums draw."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def test_the_figures_on_cover_and_drying_are_those_that_the_sums_draw(tmp_path):
    subprocess.run(
        [sys.executable, str(ROOT / "docs" / "sums" / "make_figures_drying.py"), str(tmp_path)],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
        check=True,
    )
    drawn = sorted(path.name for path in tmp_path.glob("*.svg"))
    assert drawn == ["cover.svg", "drying.svg"]
    for name in drawn:
        kept = (ROOT / "docs" / "pictures" / name).read_text(encoding="utf-8")
        new = (tmp_path / name).read_text(encoding="utf-8")
        assert NUMBER.sub("#", new) == NUMBER.sub("#", kept), name
        # Another processor may round the last figure another way, by a tenth of a pixel.
        was, now = (list(map(float, NUMBER.findall(text))) for text in (kept, new))
        assert now == pytest.approx(was, abs=0.11), name
