"""Each file in `slips` is one slip made in the good site beside it, with what must be printed.

`file` is the file in which the slip is made, `was` and `now` the text before and after, `prints`
the exact lines of `graftvigil check`, without its summary.
"""

from __future__ import annotations

import shutil
import tomllib
from argparse import Namespace
from pathlib import Path

import pytest

from api.cli import check
from api.written.names import USED_ONCE

HERE = Path(__file__).parent
SLIPS = sorted((HERE / "slips").glob("*.toml"))


@pytest.fixture
def site(tmp_path, monkeypatch):
    """A copy of the good site to make slips in, as the current folder."""
    shutil.copytree(HERE / "good", tmp_path / "good")
    monkeypatch.chdir(tmp_path / "good")
    return Path("site.toml")


def checked(file: Path, capsys) -> tuple[int, list[str], str]:
    code = check.run(Namespace(file=file, plans=None, json=False))
    *lines, summary = capsys.readouterr().out.splitlines()
    return code, lines, summary


def test_the_good_site_has_neither_faults_nor_notes(site, capsys):
    code, lines, summary = checked(site, capsys)
    assert (code, lines) == (0, [])
    assert summary == (
        "No faults, 0 notes: 1 house, 1 bench, 1 sensor, 1 batch, 1 person, 1 care plan"
    )


@pytest.mark.parametrize("slip", SLIPS, ids=lambda path: path.stem)
def test_a_slip_prints_exactly_its_line(slip, site, capsys):
    told = tomllib.loads(slip.read_text())
    faulty = site.parent / told["file"]
    text = faulty.read_text()
    assert told["was"] in text, "the slip no longer fits the good file"
    faulty.write_text(text.replace(told["was"], told["now"], 1))
    code, lines, summary = checked(site, capsys)
    assert lines == told["prints"]
    faults = [line for line in lines if not line.startswith("note: ")]
    assert code == (2 if faults else 0)
    assert summary.startswith(f"{len(faults)} fault" if faults else "No faults")


def test_there_is_a_slip_for_every_kind_of_name_that_is_used_once():
    prints = [line for slip in SLIPS for line in tomllib.loads(slip.read_text())["prints"]]
    for kind, named_by in USED_ONCE:
        assert any(f"is already the {named_by} of the {kind} at line" in line for line in prints)


def test_no_secret_is_ever_printed(site, capsys):
    for slip in SLIPS:
        for line in tomllib.loads(slip.read_text())["prints"]:
            assert "hunter2" not in line
            assert "chat://" not in line
