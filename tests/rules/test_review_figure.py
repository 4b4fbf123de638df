"""The figure of the page on looking back is the one that the sums draw."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def test_the_figure_on_looking_back_is_the_one_that_the_sums_draw(tmp_path):
    subprocess.run(
        [sys.executable, str(ROOT / "docs" / "sums" / "make_figures_review.py"), str(tmp_path)],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
        check=True,
    )
    kept = (ROOT / "docs" / "pictures" / "review-score.svg").read_text(encoding="utf-8")
    new = (tmp_path / "review-score.svg").read_text(encoding="utf-8")
    assert NUMBER.sub("#", new) == NUMBER.sub("#", kept)
    was, now = (list(map(float, NUMBER.findall(text))) for text in (kept, new))
    assert now == pytest.approx(was, abs=0.11)
