"""The figure of the page on tonight is the one that the sum draws."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@pytest.mark.slow
def test_the_figure_on_tonight_is_the_one_that_the_sum_draws(tmp_path):
    subprocess.run(
        [sys.executable, str(ROOT / "docs" / "sums" / "make_figures_tonight.py"), str(tmp_path)],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
        check=True,
    )
    kept = (ROOT / "docs" / "pictures" / "tonight.svg").read_text(encoding="utf-8")
    new = (tmp_path / "tonight.svg").read_text(encoding="utf-8")
    assert NUMBER.sub("#", new) == NUMBER.sub("#", kept)
    # Another processor may round the last figure another way, by a tenth of a pixel.
    was, now = (list(map(float, NUMBER.findall(text))) for text in (kept, new))
    assert now == pytest.approx(was, abs=0.11)
