"""The recipes in deploy/ and the lists of exact versions that they install."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tomllib

import pytest

RECIPES = ("demo", "test", "bench", "check", "docs", "lock", "install", "common", "audit")
LISTED = re.compile(r"^([A-Za-z0-9._-]+)==\S+.*\\$", re.M)


def normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def wanted(root) -> tuple[set[str], set[str]]:
    """Return the names that pyproject asks for to run, and to develop."""
    project = tomllib.loads((root / "pyproject.toml").read_text())
    groups = project["dependency-groups"]
    first = re.compile(r"[A-Za-z0-9._-]+")
    run = [*project["project"]["dependencies"], *groups["build"]]
    every = [*run, *(one for group in groups.values() for one in group)]
    return (
        {normal(first.match(one)[0]) for one in run},
        {normal(first.match(one)[0]) for one in every},
    )


@pytest.mark.parametrize("recipe", RECIPES)
def test_a_recipe_is_plain_shell(recipe, root):
    subprocess.run(["sh", "-n", str(root / "deploy" / f"{recipe}.sh")], check=True)


@pytest.mark.parametrize("recipe", [name for name in RECIPES if name != "common"])
def test_a_recipe_can_be_run_and_stops_at_the_first_fault(recipe, root):
    path = root / "deploy" / f"{recipe}.sh"
    assert os.access(path, os.X_OK)
    text = path.read_text()
    assert text.startswith("#!/bin/sh\n")
    assert "\nset -eu\n" in text


@pytest.mark.parametrize("name", ["requirements.txt", "requirements-dev.txt"])
def test_a_list_of_versions_is_complete_hashed_and_without_addresses(name, root):
    text = (root / "deploy" / name).read_text()
    listed = {normal(found) for found in LISTED.findall(text)}
    run, every = wanted(root)
    assert (every if "dev" in name else run) - listed == set()
    assert "://" not in text
    assert "--index" not in text
    for entry in re.split(r"\n(?=[A-Za-z0-9])", text.strip()):
        assert "--hash=sha256:" in entry, f"{name}: no hash for {entry.splitlines()[0]}"


def test_what_runs_is_what_is_tested(root):
    run, every = (
        dict(re.findall(r"^([A-Za-z0-9._-]+)==(\S+)", (root / "deploy" / name).read_text(), re.M))
        for name in ("requirements.txt", "requirements-dev.txt")
    )
    assert run
    assert {name: every.get(name) for name in run} == run


def test_no_lock_file_with_addresses_is_kept(files):
    assert not [file for file in files if file.name in {"uv.lock", "poetry.lock", "Pipfile.lock"}]


def test_the_checks_before_a_change_is_taken_are_those_of_the_test_recipe(root):
    text = (root / ".ci" / "run").read_text()
    assert text.startswith("#!/usr/bin/env bash\n")
    assert text.rstrip().endswith("exec sh deploy/test.sh")
    assert "deploy/check.sh" in (root / "deploy" / "test.sh").read_text()
    assert "deploy/check.sh" in (root / ".pre-commit-config.yaml").read_text()


def test_the_bench_recipe_lists_what_can_be_measured(root, tmp_path):
    said = subprocess.run(
        ["sh", str(root / "deploy" / "bench.sh")],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    measured = sorted(path.stem for path in (root / "tests" / "bench").glob("*.py"))
    assert said.stdout.split() == measured
    assert measured


def test_the_bench_recipe_refuses_a_name_it_does_not_know(root):
    said = subprocess.run(
        ["sh", str(root / "deploy" / "bench.sh"), "no-such-thing"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode == 2
    assert "There is no benchmark no-such-thing." in said.stderr


def ask_common(root, question: str) -> subprocess.CompletedProcess[str]:
    """Run a line of shell with what the recipes share."""
    return subprocess.run(
        ["sh", "-c", f'set -eu; root=$1; . "$root/deploy/common.sh"; {question}', "sh", str(root)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_python_that_is_too_old_is_told_from_one_that_is_not(root):
    assert ask_common(root, "is_new_enough python3").returncode == 0
    assert ask_common(root, "lowest_python=3.99; is_new_enough python3").returncode != 0
    assert ask_common(root, "is_new_enough no-such-python").returncode != 0


def test_a_change_of_what_is_asked_for_changes_the_fingerprint(root, tmp_path):
    (tmp_path / "deploy").mkdir()
    for name in ("deploy/common.sh", "deploy/requirements.txt", "pyproject.toml"):
        shutil.copy(root / name, tmp_path / name)
    ask = f"venv={root}/.venv; fingerprint requirements.txt"
    if not (root / ".venv").is_dir():
        subprocess.run(["python3", "-m", "venv", "--without-pip", str(root / ".venv")], check=True)
    before = ask_common(tmp_path, ask).stdout
    again = ask_common(tmp_path, ask).stdout
    (tmp_path / "pyproject.toml").write_text("# changed\n")
    after = ask_common(tmp_path, ask).stdout
    assert re.fullmatch(r"[0-9a-f]{64}\n", before)
    assert before == again != after
