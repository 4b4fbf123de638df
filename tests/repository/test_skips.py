"""The rules of tests/conftest.py do what they say: tried on small tests of their own."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

SETUP = """
[pytest]
markers = published(source): checks a value that others printed
addopts = --strict-markers
"""


def run_pytest(root, folder, text: str, *, ci: str) -> subprocess.CompletedProcess[str]:
    shutil.copy(root / "tests" / "conftest.py", folder)
    (folder / "pytest.ini").write_text(SETUP)
    (folder / "test_one.py").write_text("import pytest\n" + text)
    environment = {name: value for name, value in os.environ.items() if name != "CI"}
    if ci:
        environment["CI"] = ci
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(folder)],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_published_value_without_its_source_stops_everything(root, tmp_path):
    text = "@pytest.mark.published()\ndef test_value():\n    assert 1\n"
    said = run_pytest(root, tmp_path, text, ci="")
    assert said.returncode == 4
    assert "published() must name its source" in said.stderr + said.stdout


def test_a_published_value_with_its_source_is_checked(root, tmp_path):
    text = "@pytest.mark.published('FAO-56 (1998), eq. 11')\ndef test_value():\n    assert 1\n"
    assert run_pytest(root, tmp_path, text, ci="").returncode == 0


def test_a_skip_is_a_failure_in_ci_and_only_there(root, tmp_path):
    text = "def test_value():\n    pytest.skip('no broker here')\n"
    assert run_pytest(root, tmp_path, text, ci="").returncode == 0
    said = run_pytest(root, tmp_path, text, ci="true")
    assert said.returncode == 1
    assert "no broker here" in said.stdout


def test_a_skip_by_mark_is_a_failure_in_ci_too(root, tmp_path):
    text = "@pytest.mark.skipif(True, reason='no browser here')\ndef test_value():\n    assert 1\n"
    said = run_pytest(root, tmp_path, text, ci="true")
    assert said.returncode == 1
    assert "no browser here" in said.stdout


def test_ci_looks_harder_and_always_at_the_same_examples(root, tmp_path):
    text = (
        "from hypothesis import settings\n"
        "def test_value():\n"
        "    assert (settings().max_examples, settings().derandomize) == {}\n"
    )
    assert run_pytest(root, tmp_path, text.format((50, False)), ci="").returncode == 0
    assert run_pytest(root, tmp_path, text.format((30, True)), ci="true").returncode == 0
