"""The checklist names tests that are there; an audit that saw nothing never passes for clean."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys

import pytest


def rows_of(text: str) -> list[list[str]]:
    lines = [line for line in text.splitlines() if re.match(r"\| \d", line)]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_every_point_of_the_checklist_that_is_met_names_tests_that_are_there(root, files):
    there = {
        one.name
        for file in files
        if file.parts[0] == "tests" and file.name.startswith("test_")
        for one in ast.walk(ast.parse((root / file).read_text(encoding="utf-8")))
        if isinstance(one, ast.FunctionDef)
    }
    rows = rows_of((root / "docs" / "asvs.md").read_text(encoding="utf-8"))
    assert len(rows) > 40
    for section, _, met, evidence in rows:
        named = re.findall(r"`(test_\w+)`", evidence)
        assert set(named) <= there, f"{section}: {sorted(set(named) - there)}"
        assert named or met != "yes", f"{section} is met by nothing"
        assert evidence or met == "n/a", f"{section} says nothing"


def package(name: str, **more: object) -> dict[str, object]:
    return {"name": name, "version": "1.0", "vulns": []} | more


KNOWN = [{"id": "PYSEC-0000-1", "fix_versions": ["1.1"], "aliases": [], "description": "x"}]
SKIPPED = {"name": "b", "skip_reason": "Dependency not found and could not be audited: b (1.0)"}


@pytest.mark.parametrize(
    ("found", "status", "code", "says"),
    [
        ([package("a"), package("b")], 0, 0, "Clean: nothing is known against any of 2 packages"),
        ([package("a", vulns=KNOWN), package("b")], 1, 1, "KNOWN: a 1.0: PYSEC-0000-1; fixed in 1"),
        ([package("a", vulns=KNOWN), SKIPPED], 1, 1, "1 of 1 packages looked up"),
        ([SKIPPED], 0, 3, "NOT AUDITED: 0 of 1"),
        ([package("a"), SKIPPED], 0, 3, "NOT AUDITED: 1 of 2"),
        ([], 0, 3, "NOT AUDITED"),
        ([package("a")], 2, 3, "NOT AUDITED"),
        (None, 1, 3, "the service does not answer"),
    ],
)
def test_an_audit_that_could_not_look_never_passes_for_clean(
    root, tmp_path, found, status, code, says
):
    told, said = tmp_path / "found.json", tmp_path / "said"
    if found is not None:
        told.write_text(json.dumps({"dependencies": found, "fixes": []}))
    said.write_text("ERROR: the service does not answer\n")
    audit = [sys.executable, str(root / "deploy" / "audit.py"), str(told), str(said), str(status)]
    ended = subprocess.run(audit, capture_output=True, text=True, check=False)
    assert ended.returncode == code
    assert says in ended.stdout
    assert ("Clean" in ended.stdout) == (code == 0)
