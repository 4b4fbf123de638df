"""What stands where in the repository, and what must not stand in it."""

from __future__ import annotations

import ast
import re

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml",
    "collector", "rules", "api", "tests", "demo_data", "docs", "deploy",
}  # fmt: skip
LONGEST_LINES = 400
REASON_FOR_LENGTH = "One file because"
LUMBER_ROOMS = re.compile(r"(utils?|helpers?|managers?|common|misc|stuff)\.py$")
# Put together here, so that this file does not hold what it looks for.
FORBIDDEN = re.compile(
    "|".join(
        [
            r"(?<![\w.])/" + r"work/",
            r"(?<![\w.])/" + r"root/",
            r"(?<![\w.])/" + r"home/\w",
            "pypi" + r"\.org",
            "python" + r"hosted\.org",
            "npm" + r"js\.",
            "trans" + r"cript\b",
            "seed " + "document",
            r"\.\./" + r"shared\b",
            "session " + "limit",
        ]
    ),
    re.IGNORECASE,
)
UNFINISHED = re.compile(
    "|".join(["TO" + "DO", "FIX" + "ME", "XX" + "X", "NotImplemented" + "Error"])
)
TRY_SKIPS = {"test_tree.py", "test_skips.py"}
"""Tests about skips, which must speak of them."""
LEFT_OUT = re.compile(
    r"pytest\.(?:skip|xfail|importorskip)\(|mark\.(?:skip|skipif|xfail)\b|assert True\b"
)


def test_nothing_else_stands_at_the_top_level(files):
    seen = {file.parts[0] for file in files if not file.parts[0].startswith(".")}
    assert seen - TOP_LEVEL == set()
    assert TOP_LEVEL - seen == set()


def text_of(root, file) -> str:
    try:
        return (root / file).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def test_no_file_names_a_machine_a_package_index_or_how_it_came_about(root, files):
    found = [
        f"{file}: {match[0]}" for file in files if (match := FORBIDDEN.search(text_of(root, file)))
    ]
    assert found == []


def test_the_search_for_forbidden_words_finds_them():
    for planted in ["see /" + "work/main", "https://pypi" + ".org/simple", "the Trans" + "cript"]:
        assert FORBIDDEN.search(planted)
    for innocent in ["/run/graftvigil", "network/room", "framework/x", "api/work/x"]:
        assert not FORBIDDEN.search(innocent)


def test_nothing_is_left_unfinished(root, files):
    python = [file for file in files if file.suffix in {".py", ".js", ".css", ".html", ".sh"}]
    assert [str(file) for file in python if UNFINISHED.search(text_of(root, file))] == []


def test_no_test_is_left_out(root, files):
    tests = [file for file in files if file.parts[0] == "tests" and file.suffix == ".py"]
    left_out = [
        str(file)
        for file in tests
        if file.name not in TRY_SKIPS and LEFT_OUT.search(text_of(root, file))
    ]
    assert left_out == []


def test_every_module_of_ours_says_what_it_is_for(root, files):
    ours = [file for file in files if file.suffix == ".py" and file.parts[0] != "tests"]
    silent = [
        str(file)
        for file in ours
        if not (ast.get_docstring(ast.parse(text_of(root, file))) or "").strip()
    ]
    assert silent == []


def test_every_package_has_an_init_of_docstring_only(root, files):
    folders = {file.parent for file in files if file.suffix == ".py"}
    for folder in folders:
        if folder.parts[0] not in {"rules", "collector", "api", "demo_data"}:
            continue
        init = root / folder / "__init__.py"
        assert init.is_file(), f"{folder} has no __init__.py"
        body = ast.parse(init.read_text(encoding="utf-8")).body
        assert len(body) == 1, f"{init} holds more than its docstring"


def test_a_long_file_gives_its_reason(root, files):
    too_long = []
    for file in files:
        text = text_of(root, file)
        if file.suffix not in {".py", ".js", ".css", ".sh"}:
            continue
        if text.count("\n") > LONGEST_LINES and REASON_FOR_LENGTH not in text[:2000]:
            too_long.append(str(file))
    assert too_long == []


def test_no_file_is_a_lumber_room(files):
    ours = [file for file in files if file.parts[0] in {"rules", "collector", "api", "demo_data"}]
    assert [str(file) for file in ours if LUMBER_ROOMS.search(file.name)] == []
