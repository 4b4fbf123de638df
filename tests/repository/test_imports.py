"""The import contracts are complete, and each kind of them fails when it is broken."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib

import pytest

PLANTED = {
    "arrows": ("collector/planted.py", "import api.settings\n"),
    "pure": ("rules/air.py", "import socket\n"),
    "words": ("rules/model/fault.py", "import numpy\n"),
    "judgement": ("collector/planted.py", "import rules.air\n"),
    "rules": ("rules/air.py", "import rules.evaluator\n"),
    "api": ("api/settings.py", "import api.site_files\n"),
    "demo": ("demo_data/planted.py", "import rules.air\n"),
    "no-demo": ("api/cli/planted.py", "import demo_data\n"),
    "no-cycles": ("collector/gate.py", "import collector.ingest\n"),
}


def contracts(root) -> list[dict]:
    project = tomllib.loads((root / "pyproject.toml").read_text())
    return project["tool"]["importlinter"]["contracts"]


@pytest.fixture(scope="module")
def copy(root, tmp_path_factory):
    """A copy of our packages with the contracts, to break."""
    folder = tmp_path_factory.mktemp("copy")
    for package in ("rules", "collector", "api", "demo_data"):
        ignored = shutil.ignore_patterns("__pycache__", "*.gz", "static", "templates")
        shutil.copytree(root / package, folder / package, ignore=ignored)
    shutil.copy(root / "pyproject.toml", folder)
    return folder


def lint(folder, contract: str) -> subprocess.CompletedProcess[str]:
    """Run one contract over a folder, whose packages come before the installed ones."""
    start = (
        "import sys; sys.path.insert(0, sys.argv[1]); from importlinter.cli import lint_imports;"
        "sys.exit(lint_imports(no_cache=True, limit_to_contracts=(sys.argv[2],)))"
    )
    return subprocess.run(
        [sys.executable, "-c", start, str(folder), contract],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def test_there_is_a_planted_fault_for_every_contract(root):
    assert {contract["id"] for contract in contracts(root)} == set(PLANTED)


@pytest.mark.parametrize("contract", PLANTED)
def test_a_contract_holds_and_fails_when_it_is_broken(contract, copy):
    held = lint(copy, contract)
    assert held.returncode == 0, held.stdout
    assert "1 kept, 0 broken" in held.stdout
    name, line = PLANTED[contract]
    file = copy / name
    before = file.read_text() if file.exists() else None
    try:
        file.write_text((before or '"""Planted."""\n') + "\n" + line)
        broken = lint(copy, contract)
    finally:
        if before is None:
            file.unlink()
        else:
            file.write_text(before)
    assert broken.returncode == 1, broken.stdout + broken.stderr
    assert "0 kept, 1 broken" in broken.stdout


def test_a_new_module_must_be_given_its_place(copy):
    for package, contract in (("rules", "rules"), ("api", "api")):
        file = copy / package / "planted.py"
        file.write_text('"""Planted."""\n')
        try:
            assert f"{package}.planted" in lint(copy, contract).stdout
        finally:
            file.unlink()


def test_all_of_rules_but_its_words_is_closed_to_the_collector(root):
    judgement = next(one for one in contracts(root) if one["id"] == "judgement")
    modules = {f"rules.{path.stem}" for path in (root / "rules").glob("*.py")}
    assert set(judgement["protected_modules"]) == modules - {"rules.__init__"}


def test_a_collector_alone_does_not_load_the_pages_or_the_sums(root):
    modules = sorted(
        ".".join(path.relative_to(root).with_suffix("").parts)
        for path in (root / "collector").rglob("*.py")
        if path.stem != "__init__"
    )
    script = "import sys; " + "; ".join(f"import {name}" for name in modules)
    script += "; print(*sorted({name.split('.')[0] for name in sys.modules}))"
    said = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=root
    )
    loaded = set(said.stdout.split())
    assert "collector" in loaded
    heavy = {"pandas", "pvlib", "sqlalchemy", "apprise", "scipy", "influxdb_client", "reactivex"}
    assert loaded & {"api", *heavy} == set()


def test_asking_for_help_loads_none_of_the_sums(root):
    script = (
        "import sys; from api.cli.main import main\n"
        "try:\n    main(['--help'])\n"
        "except SystemExit:\n    pass\n"
        "print(*sorted({name.split('.')[0] for name in sys.modules}), file=sys.stderr)"
    )
    said = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=root
    )
    assert "usage: graftvigil" in said.stdout
    assert set(said.stderr.split()) & {"pandas", "pvlib", "sqlalchemy", "apprise"} == set()
